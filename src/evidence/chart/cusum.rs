//! Cumulative sums, tabular form: Page ES, Biometrika 1954; 41: 100-115.

use super::{Baseline, Latch, Side, Signal, Step, usable};
use crate::evidence::Unfit;
use serde::Serialize;

const RULE: &str = "cumulative sum beyond its limit";
const SOURCE: &str = "NIST/SEMATECH e-Handbook 6.3.2.3";

/// One point on the chart, in the readings' unit. Both sums are 0 or more.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CusumPoint {
    /// Its number, from 0.
    pub index: usize,
    /// Sum of what lay above the centre by more than the allowance.
    pub above: f64,
    /// Sum of what lay below.
    pub below: f64,
}

/// The chart's state.
#[derive(Debug, Clone, PartialEq)]
pub struct Cusum {
    baseline: Baseline,
    allowance: f64,
    decision: f64,
    above: Run,
    below: Run,
    next: usize,
    latch: Latch,
}

/// A one-sided sum and the point at which it last left 0.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Run {
    sum: f64,
    since: usize,
}

impl Run {
    fn add(&mut self, excess: f64, index: usize) {
        if self.sum == 0.0 {
            self.since = index;
        }
        self.sum = (self.sum + excess).max(0.0);
    }
}

impl Cusum {
    /// A chart with `allowance` (k, half the shift looked for; usually 0.5) and `decision` limit
    /// (h, usually 4 or 5), both in sigmas of the baseline.
    ///
    /// # Errors
    /// An allowance below 0, a limit that is not above 0.
    pub fn new(baseline: Baseline, allowance: f64, decision: f64) -> Result<Cusum, Unfit> {
        if !(allowance >= 0.0 && allowance.is_finite()) {
            return Err(Unfit::Setting { what: "allowance", value: allowance, expected: "0 or more" });
        }
        Unfit::unless_positive(decision, "decision limit")?;
        Ok(Cusum {
            baseline,
            allowance: allowance * baseline.sigma,
            decision: decision * baseline.sigma,
            above: Run::default(),
            below: Run::default(),
            next: 0,
            latch: Latch::default(),
        })
    }

    /// The decision limit in the readings' unit.
    pub fn decision(&self) -> f64 {
        self.decision
    }

    /// Takes the next reading. A signal's `since` is the point from which the sum has grown: the
    /// likely start of the shift.
    ///
    /// # Errors
    /// A reading that is not usable; the chart stays as it was.
    pub fn push(&mut self, value: f64) -> Result<Step<CusumPoint>, Unfit> {
        let index = self.next;
        usable(value, index)?;
        self.next += 1;
        let off = value - self.baseline.centre;
        self.above.add(off - self.allowance, index);
        self.below.add(-off - self.allowance, index);
        let signals = [(self.above, Side::Above), (self.below, Side::Below)]
            .into_iter()
            .filter(|(run, _)| run.sum > self.decision)
            .map(|(run, side)| Signal {
                point: index,
                since: run.since,
                rule: RULE,
                source: SOURCE,
                side,
                continues: false,
            })
            .collect();
        Ok(Step {
            point: CusumPoint { index, above: self.above.sum, below: self.below.sum },
            signals: self.latch.mark(signals),
        })
    }
}
