//! Count, mean and spread of one list of values.

use super::Unfit;
use super::quantile;
use serde::Serialize;

/// A range, in the unit of the values it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// `middle` plus and minus `half`.
    pub fn around(middle: f64, half: f64) -> Interval {
        Interval { low: middle - half, high: middle + half }
    }

    /// Whether `value` lies inside, ends included.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// What one list of values comes to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sample {
    /// How many values.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Sum of squared deviations from the mean.
    pub squares: f64,
}

impl Sample {
    /// Sums `values` up. An empty list is the caller's mistake and gives a mean of 0.
    ///
    /// Two passes, the first about the first value, so that values which share their leading digits
    /// keep the rest.
    pub fn of(values: &[f64]) -> Sample {
        let n = values.len();
        let Some(&origin) = values.first() else { return Sample { n, mean: 0.0, squares: 0.0 } };
        let mean = origin + values.iter().map(|v| v - origin).sum::<f64>() / n as f64;
        Sample { n, mean, squares: values.iter().map(|v| (v - mean) * (v - mean)).sum() }
    }

    /// Sums `values` up, or says that there are fewer than `need` or one is not a number.
    pub fn checked(values: &[f64], need: usize, what: &'static str) -> Result<Sample, Unfit> {
        finite(values.iter().copied(), what)?;
        Unfit::unless_enough(values.len(), need, what)?;
        Ok(Sample::of(values))
    }

    /// Degrees of freedom: n - 1.
    pub fn df(&self) -> f64 {
        self.n as f64 - 1.0
    }

    /// Variance with n - 1.
    pub fn variance(&self) -> f64 {
        self.squares / self.df()
    }

    /// Standard deviation with n - 1.
    pub fn sd(&self) -> f64 {
        self.variance().sqrt()
    }

    /// Confidence interval of the mean (Student's t).
    pub fn mean_interval(&self, confidence: f64) -> Interval {
        let half = quantile::t_two_sided(confidence, self.df()) * self.sd() / (self.n as f64).sqrt();
        Interval::around(self.mean, half)
    }

    /// Whether the spread is no more than the rounding of values as large as `scale`.
    pub fn is_constant(&self, scale: f64) -> bool {
        (self.squares / self.n.max(1) as f64).sqrt() <= 64.0 * f64::EPSILON * scale.abs()
    }
}

/// The largest magnitude among `values`.
pub(crate) fn scale(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().fold(0.0, |m, v| m.max(v.abs()))
}

/// Beyond this, squares of squares could overflow and no measurement lies.
const LARGEST: f64 = 1e12;

/// `Ok` where every value is a number of bearable size.
pub(crate) fn finite(values: impl IntoIterator<Item = f64>, what: &'static str) -> Result<(), Unfit> {
    match values.into_iter().position(|v| v.is_nan() || v.abs() > LARGEST) {
        Some(index) => Err(Unfit::NotUsable { what, index }),
        None => Ok(()),
    }
}

/// Sorts values under their names, names in the order in which they first appear.
pub(crate) fn grouped<'a>(items: impl IntoIterator<Item = (&'a str, f64)>) -> Vec<(&'a str, Vec<f64>)> {
    let mut place = std::collections::HashMap::new();
    let mut groups: Vec<(&str, Vec<f64>)> = Vec::new();
    for (name, value) in items {
        let at = *place.entry(name).or_insert_with(|| {
            groups.push((name, Vec::new()));
            groups.len() - 1
        });
        groups[at].1.push(value);
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leading_digits_in_common_do_not_cost_the_others() {
        let near = Sample::of(&[1.0, 2.0, 4.0]);
        let far = Sample::of(&[1e9 + 1.0, 1e9 + 2.0, 1e9 + 4.0]);
        assert!((near.squares - far.squares).abs() < 1e-6);
        assert!((near.sd() - 1.527_525_231_651_946_6).abs() < 1e-15);
    }

    #[test]
    fn rounding_is_not_spread() {
        let differences = [5.12 - 5.00, 3.12 - 3.00, 0.12 - 0.0];
        assert!(Sample::of(&differences).squares > 0.0);
        assert!(Sample::of(&differences).is_constant(5.12));
        assert!(!Sample::of(&[0.12, 0.13]).is_constant(5.12));
    }

    #[test]
    fn too_few_and_not_a_number_are_said() {
        let few = Sample::checked(&[1.0], 2, "readings").unwrap_err();
        assert_eq!(few.to_string(), "not enough: have 1, need 2 (readings)");
        let odd = Sample::checked(&[1.0, f64::NAN], 2, "readings").unwrap_err();
        assert_eq!(odd.to_string(), "readings: value 2 is not a number, or far too large for one");
    }
}
