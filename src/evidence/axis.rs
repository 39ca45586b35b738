//! Axes live on a half circle: 178 and 2 degrees are 4 apart.
//!
//! Angles are doubled, averaged as directions, and halved again (Fisher NI, Statistical Analysis of
//! Circular Data, 1993, 2.3).

use super::Unfit;
use super::sample::finite;
use serde::Serialize;

/// What axis errors come to, in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AxisErrors {
    /// How many.
    pub n: usize,
    /// Mean direction of the error, above -90 to 90. Positive: measured anti-clockwise of the reference.
    pub mean: f64,
    /// Length of the mean direction, 0 (no direction) to 1 (all the same).
    pub concentration: f64,
    /// Circular standard deviation.
    pub sd: f64,
    /// The largest error, 0 to 90.
    pub largest: f64,
}

/// The error of `measured` against `reference`, above -90 to 90 degrees.
pub fn error(measured: f64, reference: f64) -> f64 {
    let turn = (measured - reference).rem_euclid(180.0);
    if turn > 90.0 { turn - 180.0 } else { turn }
}

/// Mean and spread of axis errors in degrees (any values; they are taken modulo 180).
///
/// # Errors
/// Fewer than two errors, a value that is not usable, errors that cancel each other out.
pub fn axis_errors(errors: &[f64]) -> Result<AxisErrors, Unfit> {
    finite(errors.iter().copied(), "axis errors")?;
    Unfit::unless_enough(errors.len(), 2, "axis errors")?;
    let n = errors.len() as f64;
    let (sin, cos) = errors.iter().fold((0.0, 0.0), |(s, c), e| {
        let doubled = (2.0 * e).to_radians();
        (s + doubled.sin(), c + doubled.cos())
    });
    let concentration = (sin.hypot(cos) / n).min(1.0);
    if concentration < 1e-12 {
        return Err(Unfit::NoDirection { n: errors.len() });
    }
    Ok(AxisErrors {
        n: errors.len(),
        mean: error(sin.atan2(cos).to_degrees() / 2.0, 0.0),
        concentration,
        sd: (-2.0 * concentration.ln()).max(0.0).sqrt().to_degrees() / 2.0,
        largest: errors.iter().fold(0.0, |m, e| f64::max(m, error(*e, 0.0).abs())),
    })
}
