//! Control charts that take one point at a time: state and new point in, signals out.
//!
//! - [`Baseline`]: the centre and sigma that a chart holds points against
//! - [`Individuals`]: the points themselves and their moving range, with run rules
//! - [`Ewma`]: a weighted average that remembers; sees small shifts
//! - [`Cusum`]: sums of what exceeds an allowance; sees small shifts and when they began
//!
//! Points are counted from 0. A chart fed point by point and one fed all at once say the same.

mod cusum;
mod ewma;
mod individuals;
mod rules;

pub use cusum::{Cusum, CusumPoint};
pub use ewma::{Ewma, EwmaPoint, Width};
pub use individuals::{Baseline, D2, D4, Individuals, IndividualsPoint, MovingRange};
pub use rules::{MOVING_RANGE, NELSON, Pattern, RunRule, WESTERN_ELECTRIC};

use super::Unfit;
use serde::Serialize;

/// Which side of the centre a signal speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Above the centre, or rising.
    Above,
    /// Below the centre, or falling.
    Below,
    /// Both: too regular or too spread.
    Both,
}

/// A rule that fired.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Signal {
    /// The point at which it fired.
    pub point: usize,
    /// The first point that belongs to the pattern.
    pub since: usize,
    /// The rule's name.
    pub rule: &'static str,
    /// The published source of the rule.
    pub source: &'static str,
    /// The side.
    pub side: Side,
    /// The same rule fired on the same side at the point before: nothing new, still so.
    pub continues: bool,
}

/// What one new point comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step<P> {
    /// The point as the chart draws it.
    pub point: P,
    /// The rules that it fires.
    pub signals: Vec<Signal>,
}

/// Remembers what fired at the point before.
#[derive(Debug, Clone, Default, PartialEq)]
struct Latch {
    held: Vec<(&'static str, Side)>,
}

impl Latch {
    /// Marks the signals that only go on, and keeps them for the next point.
    fn mark(&mut self, mut signals: Vec<Signal>) -> Vec<Signal> {
        for signal in &mut signals {
            signal.continues = self.held.contains(&(signal.rule, signal.side));
        }
        self.held = signals.iter().map(|s| (s.rule, s.side)).collect();
        signals
    }
}

/// `Ok` where the chart can take the point.
fn usable(value: f64, index: usize) -> Result<(), Unfit> {
    super::sample::finite([value], "").map_err(|_| Unfit::NotUsable { what: "points of a chart", index })
}
