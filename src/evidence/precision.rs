//! Repeatability, reproducibility and bias (ISO 5725-2, ISO 5725-4; their formulas from memory).
//!
//! Two single results under repeatability conditions differ by more than r = 2.77 s_r in one case
//! out of twenty: r = 1.96 sqrt(2) s_r, since a difference has twice the variance of one result.

use super::sample::{Interval, Sample, scale};
use super::{Unfit, anova, quantile};
use serde::Serialize;

/// 1.96 sqrt(2), printed as 2.77 (ISO 5725-6 uses 2.8).
pub const LIMIT_FACTOR: f64 = 1.96 * std::f64::consts::SQRT_2;

/// How closely the same person repeats a reading of the same lens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Repeatability {
    /// Readings that went in.
    pub n: usize,
    /// Different lenses.
    pub lenses: usize,
    /// Degrees of freedom: readings minus lenses.
    pub df: f64,
    /// Repeatability standard deviation, pooled over the lenses.
    pub s_r: f64,
    /// Repeatability limit, [`LIMIT_FACTOR`] times s_r.
    pub r: f64,
    /// Confidence interval of s_r (chi-square).
    pub s_r_interval: Interval,
}

/// Repeatability from readings (lens, value) by one person, or one instrument, in one sitting.
///
/// # Errors
/// No lens read twice; readings of each lens that never differ; a value that is not usable.
pub fn repeatability(readings: &[(&str, f64)], confidence: f64) -> Result<Repeatability, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    super::sample::finite(readings.iter().map(|r| r.1), "readings")?;
    let groups = super::sample::grouped(readings.iter().copied());
    let (n, lenses) = (readings.len(), groups.len());
    Unfit::unless_enough(n.saturating_sub(lenses), 1, "second readings of a lens")?;
    let squares: f64 = groups.iter().map(|(_, v)| Sample::of(v).squares).sum();
    let pooled = Sample { n: n - lenses + 1, mean: 0.0, squares };
    if pooled.is_constant(scale(readings.iter().map(|r| r.1))) {
        return Err(Unfit::Constant { what: "the readings of each lens" });
    }
    let (df, s_r, tail) = (pooled.df(), pooled.sd(), (1.0 - confidence) / 2.0);
    Ok(Repeatability {
        n,
        lenses,
        df,
        s_r,
        r: LIMIT_FACTOR * s_r,
        s_r_interval: Interval {
            low: (squares / quantile::chi_square(1.0 - tail, df)).sqrt(),
            high: (squares / quantile::chi_square(tail, df)).sqrt(),
        },
    })
}

/// One person or instrument in a reproducibility study.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Taker {
    /// Its name.
    pub name: String,
    /// Readings, mean and sum of squares.
    pub sample: Sample,
    /// Mandel's h: how far its mean lies from the others' (ISO 5725-2).
    pub h: f64,
    /// Mandel's k: its spread against the pooled one. None where it read the lens once.
    pub k: Option<f64>,
}

/// Repeatability and reproducibility for one lens or level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reproducibility {
    /// Readings that went in.
    pub n: usize,
    /// Mean of all readings.
    pub mean: f64,
    /// Each person or instrument.
    pub takers: Vec<Taker>,
    /// Degrees of freedom of s_r.
    pub df: f64,
    /// Repeatability standard deviation.
    pub s_r: f64,
    /// Standard deviation between persons or instruments.
    pub s_l: f64,
    /// The estimate of s_l squared came out below zero and is taken as zero.
    pub s_l_set_to_zero: bool,
    /// Reproducibility standard deviation.
    pub s_big_r: f64,
    /// Repeatability limit.
    pub r: f64,
    /// Reproducibility limit.
    pub big_r: f64,
}

/// Reproducibility from readings (person or instrument, value) of one lens (ISO 5725-2).
/// Numbers of readings may differ.
///
/// # Errors
/// Fewer than two persons, nobody with a second reading, readings that do not differ at all.
pub fn reproducibility(readings: &[(&str, f64)]) -> Result<Reproducibility, Unfit> {
    let a = anova::one_way(readings.iter().copied(), "persons or instruments")?;
    let rounding = (64.0 * f64::EPSILON * a.scale).powi(2);
    if a.within.ms() <= rounding {
        return Err(Unfit::Constant { what: "the readings of each person or instrument" });
    }
    let between = (a.between.ms() - a.within.ms()) / a.size;
    let s_l2 = between.max(0.0);
    let p = a.groups.len() as f64;
    let mean_spread =
        (a.groups.iter().map(|(_, s)| (s.mean - a.mean).powi(2)).sum::<f64>() / (p - 1.0)).sqrt();
    let repeated: Vec<f64> = a.groups.iter().filter(|(_, s)| s.n > 1).map(|(_, s)| s.variance()).collect();
    let typical = (repeated.iter().sum::<f64>() / repeated.len() as f64).sqrt();
    let s_r = a.within.ms().sqrt();
    let s_big_r = (a.within.ms() + s_l2).sqrt();
    Ok(Reproducibility {
        n: a.n,
        mean: a.mean,
        takers: a
            .groups
            .iter()
            .map(|(name, sample)| Taker {
                name: name.clone(),
                sample: *sample,
                h: if mean_spread > 0.0 { (sample.mean - a.mean) / mean_spread } else { 0.0 },
                k: (sample.n > 1).then(|| sample.sd() / typical),
            })
            .collect(),
        df: a.within.df,
        s_r,
        s_l: s_l2.sqrt(),
        s_l_set_to_zero: between < 0.0,
        s_big_r,
        r: LIMIT_FACTOR * s_r,
        big_r: LIMIT_FACTOR * s_big_r,
    })
}

/// The |h| that one out of `p` is not expected to pass at `level` (0.01 or 0.05; ISO 5725-2).
///
/// # Errors
/// Fewer than three persons or instruments.
pub fn h_limit(p: usize, level: f64) -> Result<f64, Unfit> {
    Unfit::unless_share(level, "level")?;
    Unfit::unless_enough(p, 3, "persons or instruments")?;
    let p = p as f64;
    let t = quantile::t_two_sided(1.0 - level, p - 2.0);
    Ok((p - 1.0) * t / (p * (t * t + p - 2.0)).sqrt())
}

/// The k that one out of `p`, each with `n` readings, is not expected to pass at `level`.
///
/// # Errors
/// Fewer than two persons or instruments, fewer than two readings each.
pub fn k_limit(p: usize, n: usize, level: f64) -> Result<f64, Unfit> {
    Unfit::unless_share(level, "level")?;
    Unfit::unless_enough(p, 2, "persons or instruments")?;
    Unfit::unless_enough(n, 2, "readings each")?;
    let (p, df) = (p as f64, n as f64 - 1.0);
    let f = quantile::f(1.0 - level, df, (p - 1.0) * df);
    Ok((p / (1.0 + (p - 1.0) / f)).sqrt())
}

/// How far readings lie from what they should be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bias {
    /// Errors that went in.
    pub n: usize,
    /// Different lenses.
    pub lenses: usize,
    /// Degrees of freedom of the interval: lenses - 1, or n - 1 where it rests on single errors.
    pub df: f64,
    /// Mean error, reading minus reference.
    pub mean: f64,
    /// Standard deviation of what the interval rests on: the lenses' mean errors, or the errors.
    pub sd: f64,
    /// Confidence interval of the mean error.
    pub interval: Interval,
    /// Whether the interval leaves 0 out.
    pub shown: bool,
}

/// Bias from errors (lens, reading minus reference value).
///
/// Errors on one lens share that lens's own error, so with several lenses the interval rests on
/// their mean errors; where these differ by no more than single errors do, and with one lens, it
/// rests on the single errors. Errors that do not differ at all show no bias: they hide their spread.
///
/// # Errors
/// Fewer than two errors, a value that is not usable.
pub fn bias(errors: &[(&str, f64)], confidence: f64) -> Result<Bias, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    super::sample::finite(errors.iter().map(|e| e.1), "errors against the reference")?;
    Unfit::unless_enough(errors.len(), 2, "errors against the reference")?;
    let groups = super::sample::grouped(errors.iter().copied());
    let all = Sample::of(&errors.iter().map(|error| error.1).collect::<Vec<_>>());
    let means = Sample::of(&groups.iter().map(|(_, v)| Sample::of(v).mean).collect::<Vec<_>>());
    let error = |sample: &Sample| sample.variance() / sample.n as f64;
    let lenses_tell = groups.len() > 1 && error(&means) >= error(&all);
    let base = if lenses_tell { means } else { all };
    let interval = base.mean_interval(confidence);
    Ok(Bias {
        n: errors.len(),
        lenses: groups.len(),
        df: base.df(),
        mean: base.mean,
        sd: base.sd(),
        interval,
        shown: base.sd() > 0.0 && !interval.contains(0.0),
    })
}
