//! What the numbers say: agreement, gauge studies, precision, drift, capability.
//!
//! Pure: no I/O, no SQL, no clock. Values come in as plain slices in dioptres or degrees, with the
//! names of lens, person or instrument beside them; what comes out are numbers with the counts and
//! degrees of freedom they rest on, or an [`Unfit`] that says why there is no number.
//!
//! - [`agreement`]: two instruments or persons on the same lenses (Bland and Altman)
//! - [`gauge`]: where a measurement's spread comes from (gauge R&R, crossed, by ANOVA)
//! - [`precision`]: repeatability and reproducibility (ISO 5725-2), bias against a reference
//! - [`practice`]: one person's repeatability and bias, sitting by sitting
//! - [`icc`]: intraclass correlation (Shrout and Fleiss)
//! - [`chart`]: individuals, EWMA and CUSUM charts that take one point at a time
//! - [`capability`]: process bias, Cp to Ppk, shares with their uncertainty, Pareto counts
//! - [`axis`]: averages on the half circle, where 178 and 2 degrees are neighbours
//! - [`astigmatism`]: differences of two cylinders as points in the double-angle plane
//! - [`plot`]: the same as pictures (SVG)
//! - [`anova`], [`trend`], [`sample`], [`quantile`]: the arithmetic underneath

pub mod agreement;
pub mod anova;
pub mod astigmatism;
pub mod axis;
pub mod capability;
pub mod chart;
pub mod gauge;
pub mod icc;
pub mod plot;
pub mod practice;
pub mod precision;
pub mod quantile;
pub mod sample;
pub mod trend;
mod unfit;

pub use sample::Interval;
pub use unfit::Unfit;
