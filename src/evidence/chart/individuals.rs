//! Individuals and moving range.

use super::rules::{MOVING_RANGE, RunRule};
use super::{Latch, Side, Signal, Step, usable};
use crate::evidence::Unfit;
use crate::evidence::sample::{Interval, Sample, scale};
use serde::Serialize;
use std::collections::VecDeque;

/// Mean range of two normal values, in sigmas: 2 / sqrt(pi), tabled as 1.128
/// (NIST/SEMATECH e-Handbook 6.3.2.2).
pub const D2: f64 = 1.128;
/// Upper limit of a moving range of two, in mean moving ranges (same source).
pub const D4: f64 = 3.267;

/// Centre and sigma that points are held against, in the points' unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Baseline {
    /// Centre line.
    pub centre: f64,
    /// Standard deviation of a single point.
    pub sigma: f64,
}

impl Baseline {
    /// A given centre (such as a certified value) and sigma.
    ///
    /// # Errors
    /// A centre that is not finite, a sigma that is not above 0.
    pub fn new(centre: f64, sigma: f64) -> Result<Baseline, Unfit> {
        Unfit::unless_positive(sigma, "sigma")?;
        if !centre.is_finite() {
            return Err(Unfit::Setting { what: "centre", value: centre, expected: "a finite number" });
        }
        Ok(Baseline { centre, sigma })
    }

    /// From readings in order: their mean, and sigma from the mean moving range over [`D2`].
    ///
    /// # Errors
    /// Fewer than two readings, readings that do not differ.
    pub fn from_readings(readings: &[f64]) -> Result<Baseline, Unfit> {
        let sample = Sample::checked(readings, 2, "readings for a baseline")?;
        if sample.is_constant(scale(readings.iter().copied())) {
            return Err(Unfit::Constant { what: "the readings for a baseline" });
        }
        let ranges: f64 = readings.windows(2).map(|w| (w[1] - w[0]).abs()).sum();
        Ok(Baseline { centre: sample.mean, sigma: ranges / (sample.df() * D2) })
    }

    /// Centre plus and minus `sigmas`.
    pub fn limits(&self, sigmas: f64) -> Interval {
        Interval::around(self.centre, sigmas * self.sigma)
    }

    /// Upper limit of the moving range.
    pub fn moving_range_limit(&self) -> f64 {
        D4 * D2 * self.sigma
    }
}

/// One point on the chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct IndividualsPoint {
    /// Its number, from 0.
    pub index: usize,
    /// The reading.
    pub value: f64,
    /// Distance from the reading before.
    pub moving_range: Option<MovingRange>,
}

/// A moving range and whether it is beyond its limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MovingRange {
    /// The range.
    pub range: f64,
    /// Beyond the limit.
    pub beyond: bool,
}

/// The chart's state: the last few points and what fired at the last one.
#[derive(Debug, Clone, PartialEq)]
pub struct Individuals {
    baseline: Baseline,
    rules: &'static [RunRule],
    recent: VecDeque<f64>,
    last: Option<f64>,
    next: usize,
    latch: Latch,
}

impl Individuals {
    /// An empty chart with its baseline and rules.
    pub fn new(baseline: Baseline, rules: &'static [RunRule]) -> Individuals {
        Individuals { baseline, rules, recent: VecDeque::new(), last: None, next: 0, latch: Latch::default() }
    }

    /// Takes the next reading.
    ///
    /// # Errors
    /// A reading that is not usable; the chart stays as it was.
    pub fn push(&mut self, value: f64) -> Result<Step<IndividualsPoint>, Unfit> {
        let index = self.next;
        usable(value, index)?;
        self.next += 1;
        let reach = self.rules.iter().map(|r| r.pattern.reach()).max().unwrap_or(0);
        self.recent.push_back((value - self.baseline.centre) / self.baseline.sigma);
        while self.recent.len() > reach.max(1) {
            self.recent.pop_front();
        }
        let points = self.recent.make_contiguous();
        let mut signals: Vec<Signal> = self
            .rules
            .iter()
            .filter_map(|rule| {
                let (side, run) = rule.pattern.seen(points)?;
                let (since, continues) = (index + 1 - run, false);
                Some(Signal { point: index, since, rule: rule.name, source: rule.source, side, continues })
            })
            .collect();
        let moving_range = self.last.replace(value).map(|before| {
            let range = (value - before).abs();
            MovingRange { range, beyond: range > self.baseline.moving_range_limit() }
        });
        if moving_range.is_some_and(|m| m.beyond) {
            signals.push(Signal {
                point: index,
                since: index - 1,
                rule: MOVING_RANGE.0,
                source: MOVING_RANGE.1,
                side: Side::Both,
                continues: false,
            });
        }
        Ok(Step { point: IndividualsPoint { index, value, moving_range }, signals: self.latch.mark(signals) })
    }
}
