//! One person's practice: repeatability and bias of each sitting, and where both are going.

use super::Unfit;
use super::precision::{Bias, Repeatability, bias, repeatability};
use super::trend::{Trend, trend};
use serde::Serialize;

/// One reading of a practice lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Take<'a> {
    /// Which lens.
    pub lens: &'a str,
    /// What was read.
    pub value: f64,
    /// What it should be (certified, or the instrument's), where that is known.
    pub reference: Option<f64>,
}

/// One sitting of one person.
#[derive(Debug, Clone, PartialEq)]
pub struct Sitting<'a> {
    /// Its name, such as its date.
    pub name: &'a str,
    /// When, in any unit in which the trend shall speak (days, or 1, 2, 3).
    pub at: f64,
    /// What was read.
    pub takes: Vec<Take<'a>>,
}

/// What one sitting comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// The sitting's name.
    pub name: String,
    /// When.
    pub at: f64,
    /// Repeatability, or why there is none.
    pub repeatability: Result<Repeatability, Unfit>,
    /// Bias, or why there is none.
    pub bias: Result<Bias, Unfit>,
}

/// A person's sittings and their trends.
#[derive(Debug, Clone, PartialEq)]
pub struct Practice {
    /// Each sitting, in the order given.
    pub sittings: Vec<Progress>,
    /// s_r over the sittings that have one.
    pub repeatability_trend: Result<Trend, Unfit>,
    /// Mean error over the sittings that have one.
    pub bias_trend: Result<Trend, Unfit>,
}

/// A direction in words, for a trend whose interval leaves no slope out or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// The values rise.
    Rising,
    /// The values fall.
    Falling,
    /// Neither can be said.
    NotShown,
}

/// The direction of a trend at its own confidence.
pub fn direction(trend: &Trend) -> Direction {
    match trend.slope_interval {
        i if i.low > 0.0 => Direction::Rising,
        i if i.high < 0.0 => Direction::Falling,
        _ => Direction::NotShown,
    }
}

/// Works through a person's sittings. A sitting that cannot carry a figure says so and is left out
/// of the trend; it stays in the list.
pub fn practice(sittings: &[Sitting], confidence: f64) -> Practice {
    let progress: Vec<Progress> = sittings
        .iter()
        .map(|sitting| {
            let values: Vec<(&str, f64)> = sitting.takes.iter().map(|t| (t.lens, t.value)).collect();
            let errors: Vec<(&str, f64)> =
                sitting.takes.iter().filter_map(|t| Some((t.lens, t.value - t.reference?))).collect();
            Progress {
                name: sitting.name.to_owned(),
                at: sitting.at,
                repeatability: repeatability(&values, confidence),
                bias: bias(&errors, confidence),
            }
        })
        .collect();
    let line = |value: fn(&Progress) -> Option<f64>| {
        let points: Vec<(f64, f64)> = progress.iter().filter_map(|p| Some((p.at, value(p)?))).collect();
        trend(&points, confidence)
    };
    Practice {
        repeatability_trend: line(|p| p.repeatability.as_ref().ok().map(|r| r.s_r)),
        bias_trend: line(|p| p.bias.as_ref().ok().map(|b| b.mean)),
        sittings: progress,
    }
}
