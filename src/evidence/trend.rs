//! A straight line through points, and whether its slope is more than chance.

use super::sample::{Interval, Sample, finite};
use super::{Unfit, quantile};
use serde::Serialize;

/// A least-squares line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// How many points.
    pub n: usize,
    /// Degrees of freedom: n - 2.
    pub df: f64,
    /// Rise of y for each unit of x.
    pub slope: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Confidence interval of the slope.
    pub slope_interval: Interval,
    /// Chance of a slope at least this steep if there were none (both directions).
    pub p: f64,
    /// Standard deviation of the points about the line (n - 2).
    pub residual_sd: f64,
}

/// Fits a line to points (x, y), with the slope's interval at `confidence` (0 to 1).
///
/// # Errors
/// Fewer than three points, all x the same, a value that is not usable.
pub fn trend(points: &[(f64, f64)], confidence: f64) -> Result<Trend, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    finite(points.iter().flat_map(|p| [p.0, p.1]), "points of a trend")?;
    Unfit::unless_enough(points.len(), 3, "points of a trend")?;
    let xs: Vec<f64> = points.iter().map(|p| p.0).collect();
    let x = Sample::of(&xs);
    let y = Sample::of(&points.iter().map(|p| p.1).collect::<Vec<_>>());
    if x.is_constant(super::sample::scale(xs)) {
        return Err(Unfit::Constant { what: "the places of the points" });
    }
    let slope = points.iter().map(|p| (p.0 - x.mean) * (p.1 - y.mean)).sum::<f64>() / x.squares;
    let intercept = y.mean - slope * x.mean;
    let left: f64 = points.iter().map(|p| (p.1 - y.mean - slope * (p.0 - x.mean)).powi(2)).sum();
    let df = points.len() as f64 - 2.0;
    let residual_sd = (left / df).sqrt();
    let error = residual_sd / x.squares.sqrt();
    let p = match (slope == 0.0, error == 0.0) {
        (true, _) => 1.0,
        (false, true) => 0.0,
        _ => quantile::t_tails(slope / error, df),
    };
    Ok(Trend {
        n: points.len(),
        df,
        slope,
        intercept,
        slope_interval: Interval::around(slope, quantile::t_two_sided(confidence, df) * error),
        p,
        residual_sd,
    })
}
