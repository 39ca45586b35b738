//! Exponentially weighted moving average: Roberts SW, Technometrics 1959; 1: 239-250.

use super::{Baseline, Latch, Side, Signal, Step, usable};
use crate::evidence::Unfit;
use crate::evidence::sample::Interval;
use serde::Serialize;

const RULE: &str = "weighted average beyond its limit";
const SOURCE: &str = "NIST/SEMATECH e-Handbook 6.3.2.4";

/// How wide the limits are while the chart is young.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub enum Width {
    /// As wide as the average's spread at that point: narrow at first, so that a shift at the
    /// start is seen.
    #[default]
    Growing,
    /// As wide from the first point as in the long run (the handbook's example).
    Steady,
}

/// One point on the chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EwmaPoint {
    /// Its number, from 0.
    pub index: usize,
    /// The weighted average.
    pub average: f64,
    /// The limits at this point.
    pub limits: Interval,
}

/// The chart's state.
#[derive(Debug, Clone, PartialEq)]
pub struct Ewma {
    baseline: Baseline,
    weight: f64,
    sigmas: f64,
    width: Width,
    average: f64,
    since: usize,
    next: usize,
    latch: Latch,
}

impl Ewma {
    /// A chart that starts at the baseline's centre. `weight` is that of the newest reading
    /// (lambda, 0.2 to 0.3 is usual); the limits lie `sigmas` (usually 3) of the average away.
    ///
    /// # Errors
    /// A weight outside 0 to 1 (1 included: then it is an individuals chart), sigmas not above 0.
    pub fn new(baseline: Baseline, weight: f64, sigmas: f64, width: Width) -> Result<Ewma, Unfit> {
        if !(weight > 0.0 && weight <= 1.0) {
            let expected = "above 0 and at most 1";
            return Err(Unfit::Setting { what: "weight of the newest reading", value: weight, expected });
        }
        Unfit::unless_positive(sigmas, "sigmas to the limits")?;
        let (average, latch) = (baseline.centre, Latch::default());
        Ok(Ewma { baseline, weight, sigmas, width, average, since: 0, next: 0, latch })
    }

    /// Takes the next reading. A signal's `since` is the point from which the average has stayed on
    /// that side of the centre.
    ///
    /// # Errors
    /// A reading that is not usable; the chart stays as it was.
    pub fn push(&mut self, value: f64) -> Result<Step<EwmaPoint>, Unfit> {
        let index = self.next;
        usable(value, index)?;
        self.next += 1;
        let before = self.average - self.baseline.centre;
        self.average = self.weight * value + (1.0 - self.weight) * self.average;
        let after = self.average - self.baseline.centre;
        if before * after <= 0.0 {
            self.since = index;
        }
        let left = (1.0 - self.weight).powf(2.0 * self.next as f64);
        let grown = match self.width {
            Width::Growing => 1.0 - left,
            Width::Steady => 1.0,
        };
        let half = self.sigmas * self.baseline.sigma * (self.weight / (2.0 - self.weight) * grown).sqrt();
        let limits = Interval::around(self.baseline.centre, half);
        let mut signals = Vec::new();
        if !limits.contains(self.average) {
            let side = if after > 0.0 { Side::Above } else { Side::Below };
            signals.push(Signal {
                point: index,
                since: self.since,
                rule: RULE,
                source: SOURCE,
                side,
                continues: false,
            });
        }
        Ok(Step {
            point: EwmaPoint { index, average: self.average, limits },
            signals: self.latch.mark(signals),
        })
    }
}
