//! Quantiles and tail areas of the distributions the other files need (from statrs).
//!
//! Degrees of freedom are above 0 and shares strictly between 0 and 1: the callers check both
//! before they come here.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Standard normal quantile.
pub fn normal(share: f64) -> f64 {
    polished(&Normal::standard(), share)
}

/// Student's t quantile.
pub fn t(share: f64, df: f64) -> f64 {
    polished(&student(df), share)
}

/// The t that leaves `confidence` between minus t and t.
pub fn t_two_sided(confidence: f64, df: f64) -> f64 {
    t(0.5 + confidence / 2.0, df)
}

/// Chance of a t at least as far from 0 as this one, both sides.
pub fn t_tails(t: f64, df: f64) -> f64 {
    2.0 * student(df).sf(t.abs())
}

/// Chi-square quantile.
pub fn chi_square(share: f64, df: f64) -> f64 {
    polished(&ChiSquared::new(df).expect("degrees of freedom are above 0"), share)
}

/// F quantile.
pub fn f(share: f64, df1: f64, df2: f64) -> f64 {
    polished(&fisher(df1, df2), share)
}

/// Chance of an F at least this large.
pub fn f_tail(f: f64, df1: f64, df2: f64) -> f64 {
    if f.is_finite() { fisher(df1, df2).sf(f) } else { 0.0 }
}

/// The library's inverse with one Newton step. With a million degrees of freedom the inverse of the
/// beta function behind t has seven digits left; the step brings the others back.
fn polished<D: ContinuousCDF<f64, f64> + Continuous<f64, f64>>(distribution: &D, share: f64) -> f64 {
    let x = distribution.inverse_cdf(share);
    let step = (distribution.cdf(x) - share) / distribution.pdf(x);
    if step.is_finite() { x - step } else { x }
}

fn student(df: f64) -> StudentsT {
    StudentsT::new(0.0, 1.0, df).expect("degrees of freedom are above 0")
}

fn fisher(df1: f64, df2: f64) -> FisherSnedecor {
    FisherSnedecor::new(df1, df2).expect("degrees of freedom are above 0")
}
