//! Charts of an instrument's checks: one for each instrument, reference lens and quantity, since
//! what one lens is off by says nothing of another.

use super::checks::ChartKind;
use super::entry::Seq;
use crate::check::limits::DriftTerms;
use crate::check::reference::{CheckItem, CheckOutcome};
use crate::evidence::chart::{
    Baseline, Cusum, CusumPoint, Ewma, EwmaPoint, Individuals, IndividualsPoint, Signal, Step,
    WESTERN_ELECTRIC, Width,
};
use crate::judge::verdict::Quantity;
use crate::optics::float;

/// The three charts of one instrument, lens and quantity. Points are deviations from the
/// certificate.
#[derive(Debug, Clone)]
pub struct Charts {
    terms: DriftTerms,
    first: Vec<f64>,
    running: Option<Running>,
}

#[derive(Debug, Clone)]
struct Running {
    baseline: Baseline,
    individuals: Individuals,
    ewma: Ewma,
    cusum: Cusum,
    checks: Vec<Seq>,
}

/// What one check comes to on each chart.
#[derive(Debug, Clone)]
pub struct Point {
    /// On the individuals chart.
    pub individuals: Step<IndividualsPoint>,
    /// On the weighted average's.
    pub ewma: Step<EwmaPoint>,
    /// On the cumulative sums'.
    pub cusum: Step<CusumPoint>,
}

impl Point {
    /// Every rule that fires, with its chart.
    pub fn signals(&self) -> impl Iterator<Item = (ChartKind, &Signal)> {
        self.individuals
            .signals
            .iter()
            .map(|signal| (ChartKind::Individuals, signal))
            .chain(self.ewma.signals.iter().map(|signal| (ChartKind::Ewma, signal)))
            .chain(self.cusum.signals.iter().map(|signal| (ChartKind::Cusum, signal)))
    }
}

impl Charts {
    /// Charts that wait for their baseline.
    pub fn new(terms: DriftTerms) -> Self {
        Self { terms, first: Vec::new(), running: None }
    }

    /// Takes in a check's item; nothing where it has no deviation, is not to be used, or goes into
    /// the baseline. Only good checks make the baseline.
    pub fn push(&mut self, check: Seq, outcome: CheckOutcome, item: &CheckItem) -> Option<Point> {
        if !matches!(outcome, CheckOutcome::Good | CheckOutcome::Bad) {
            return None;
        }
        let value = float(item.deviation?);
        let Some(running) = &mut self.running else {
            if outcome == CheckOutcome::Good {
                self.first.push(value);
            }
            if self.first.len() >= self.terms.baseline {
                self.running = begin(&self.first, item.quantity, self.terms);
            }
            return None;
        };
        let point = Point {
            individuals: running.individuals.push(value).ok()?,
            ewma: running.ewma.push(value).ok()?,
            cusum: running.cusum.push(value).ok()?,
        };
        running.checks.push(check);
        Some(point)
    }

    /// Centre and sigma, once there are enough checks.
    pub fn baseline(&self) -> Option<Baseline> {
        self.running.as_ref().map(|running| running.baseline)
    }

    /// How many checks the baseline has so far, and how many it needs.
    pub fn progress(&self) -> (usize, usize) {
        (self.first.len(), self.terms.baseline)
    }

    /// The check of a point, counted from 0 after the baseline.
    pub fn check_at(&self, point: usize) -> Option<Seq> {
        self.running.as_ref()?.checks.get(point).copied()
    }

    /// The decision limit of the cumulative sums, in the points' unit.
    pub fn decision(&self) -> Option<f64> {
        self.running.as_ref().map(|running| running.cusum.decision())
    }
}

/// The charts on a baseline. Readings that come in steps may not differ at all: the spread is
/// taken to be at least that of the step's rounding, step / sqrt(12) (JCGM 100:2008, F.2.2.1).
fn begin(first: &[f64], quantity: Quantity, terms: DriftTerms) -> Option<Running> {
    let step = match quantity {
        Quantity::Axis => terms.axis_step,
        Quantity::PrismHorizontal | Quantity::PrismVertical => terms.prism_step,
        _ => terms.power_step,
    };
    let least = step / 12f64.sqrt();
    let (centre, sigma) = match Baseline::from_readings(first) {
        Ok(found) => (found.centre, found.sigma),
        Err(_) => (first.first().copied()?, 0.0),
    };
    let baseline = Baseline::new(centre, sigma.max(least)).ok()?;
    Some(Running {
        baseline,
        individuals: Individuals::new(baseline, WESTERN_ELECTRIC),
        ewma: Ewma::new(baseline, terms.ewma_weight, terms.ewma_sigmas, Width::Growing).ok()?,
        cusum: Cusum::new(baseline, terms.cusum_allowance, terms.cusum_decision).ok()?,
        checks: Vec::new(),
    })
}
