//! The numbers as pictures: SVG text, made to be looked at on a page or on paper.
//!
//! Ink is `currentColor`, so a plot takes the page's text colour, light or dark. The few other
//! colours hold on white and on near black, and a page may set its own as CSS variables:
//! `--plot-data`, `--plot-second`, `--plot-alarm`, and `--plot-paper` for a halo around marks in the
//! page's background colour. Meaning never rests on colour alone: alarms are
//! squares and carry a letter, lines are dashed or labelled. Every plot has a title and a
//! description for readers who cannot see it. A picture holds no style of its own: whoever shows one
//! brings [`LOOK`], once for all of them.
//!
//! - [`agreement`](agreement()): difference against mean
//! - [`individuals`], [`ewma`], [`cusum`]: control charts
//! - [`gauge`](gauge()): shares of each source of spread
//! - [`capability`](capability()): histogram with limits
//! - [`pareto`](pareto()): causes by frequency
//! - [`axis_errors`]: errors around the protractor
//! - [`double_angle`]: astigmatic differences in the plane of J0 and J45

mod agreement;
mod axes;
mod capability;
mod control;
mod double_angle;
mod gauge;
mod pareto;
mod protractor;
mod svg;

pub use agreement::agreement;
pub use capability::capability;
pub use control::{Checks, cusum, ewma, individuals};
pub use double_angle::double_angle;
pub use gauge::gauge;
pub use pareto::pareto;
pub use protractor::axis_errors;
pub(crate) use svg::escape;

/// The style sheet of every plot.
pub const LOOK: &str = include_str!("look.css");

/// The words on a plot.
#[derive(Debug, Clone, Copy)]
pub struct Words<'a> {
    /// Heading.
    pub title: &'a str,
    /// The quantity that is plotted, such as "sphere".
    pub quantity: &'a str,
    /// Its unit, such as "D".
    pub unit: &'a str,
}

impl Words<'_> {
    fn axis(&self) -> String {
        format!("{} ({})", self.quantity, self.unit)
    }
}
