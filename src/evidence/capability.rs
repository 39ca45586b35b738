//! What the process can hold, and where its results fall.

use super::chart::Baseline;
use super::sample::{Interval, Sample, scale};
use super::{Unfit, quantile};
use serde::Serialize;
use std::collections::HashMap;

/// How a process lies within two limits. Values are deviations from the order, or any quantity
/// that has one lower and one upper limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Capability {
    /// Values that went in.
    pub n: usize,
    /// The limits.
    pub limits: Interval,
    /// Mean, in the values' unit. Of deviations: the process bias.
    pub mean: f64,
    /// Confidence interval of the mean.
    pub mean_interval: Interval,
    /// Standard deviation of all values (n - 1).
    pub sd_overall: f64,
    /// Standard deviation from one value to the next (mean moving range over 1.128).
    pub sd_within: f64,
    /// Width of the limits over 6 sd_within.
    pub cp: f64,
    /// Distance from the mean to the nearer limit over 3 sd_within.
    pub cpk: f64,
    /// Width of the limits over 6 sd_overall.
    pub pp: f64,
    /// Distance from the mean to the nearer limit over 3 sd_overall.
    pub ppk: f64,
    /// Values within the limits, ends included.
    pub inside: Share,
}

/// Works out the indices from values in the order in which they were made
/// (NIST/SEMATECH e-Handbook 6.1.6; Pp and Ppk: ISO 22514-2).
///
/// Counts of passes are better taken from the verdicts, which compare exact decimals; `inside`
/// compares floating-point values, a billionth of the limits' width being taken as rounding.
///
/// # Errors
/// Fewer than two values, values that do not differ, limits the wrong way round.
pub fn capability(values: &[f64], limits: Interval, confidence: f64) -> Result<Capability, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    Unfit::unless_positive(limits.high - limits.low, "upper limit minus lower limit")?;
    let sample = Sample::checked(values, 2, "values of the process")?;
    if sample.is_constant(scale(values.iter().copied())) {
        return Err(Unfit::Constant { what: "the values of the process" });
    }
    let sd_within = Baseline::from_readings(values)?.sigma;
    let sd_overall = sample.sd();
    let nearer = (limits.high - sample.mean).min(sample.mean - limits.low);
    let width = limits.high - limits.low;
    // A value on its limit, but for the rounding of a difference, is inside.
    let hair = 1e-9 * width;
    let edges = Interval { low: limits.low - hair, high: limits.high + hair };
    let inside = values.iter().filter(|v| edges.contains(**v)).count();
    Ok(Capability {
        n: sample.n,
        limits,
        mean: sample.mean,
        mean_interval: sample.mean_interval(confidence),
        sd_overall,
        sd_within,
        cp: width / (6.0 * sd_within),
        cpk: nearer / (3.0 * sd_within),
        pp: width / (6.0 * sd_overall),
        ppk: nearer / (3.0 * sd_overall),
        inside: share(inside, sample.n, confidence)?,
    })
}

/// A count out of a total, with Wilson's interval: a yield, or a share of borderline decisions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    /// How many.
    pub count: usize,
    /// Out of how many.
    pub of: usize,
    /// The share, 0 to 1.
    pub share: f64,
    /// Its confidence interval: Wilson EB, J Am Stat Assoc 1927; 22: 209-212.
    pub interval: Interval,
}

/// Works out a share.
///
/// # Errors
/// Nothing to count, a count above the total.
pub fn share(count: usize, of: usize, confidence: f64) -> Result<Share, Unfit> {
    Unfit::unless_share(confidence, "confidence")?;
    Unfit::unless_enough(of, 1, "decisions")?;
    if count > of {
        let (what, value) = ("count of a share", count as f64);
        return Err(Unfit::Setting { what, value, expected: "at most the total" });
    }
    let (n, p) = (of as f64, count as f64 / of as f64);
    let z2 = quantile::normal(0.5 + confidence / 2.0).powi(2);
    let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = (z2 * (p * (1.0 - p) / n + z2 / (4.0 * n * n))).sqrt() / (1.0 + z2 / n);
    // With no failure, or nothing else, the end is 0 or 1 and not rounding beside it.
    let low = if count == 0 { 0.0 } else { middle - half };
    let high = if count == of { 1.0 } else { middle + half };
    Ok(Share { count, of, share: p, interval: Interval { low, high } })
}

/// Shares by group, such as yield by power band or borderline decisions by quantity: each decision
/// says its group and whether it counts. Groups come in the order in which they first appear.
///
/// # Errors
/// No decisions.
pub fn shares<'a>(
    decisions: impl IntoIterator<Item = (&'a str, bool)>,
    confidence: f64,
) -> Result<Vec<(String, Share)>, Unfit> {
    let groups =
        super::sample::grouped(decisions.into_iter().map(|(g, yes)| (g, if yes { 1.0 } else { 0.0 })));
    Unfit::unless_enough(groups.len(), 1, "decisions")?;
    groups
        .into_iter()
        .map(|(name, v)| {
            let count = v.iter().filter(|yes| **yes > 0.0).count();
            Ok((name.to_owned(), share(count, v.len(), confidence)?))
        })
        .collect()
}

/// One bar of a Pareto chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// What it is.
    pub name: String,
    /// How often.
    pub count: usize,
    /// Share of this cause and all before it, 0 to 1.
    pub cumulative: f64,
}

/// Counts causes, the most frequent first, equals by name.
///
/// # Errors
/// Nothing to count.
pub fn pareto<'a>(causes: impl IntoIterator<Item = &'a str>) -> Result<Vec<Cause>, Unfit> {
    let mut counts: HashMap<&str, usize> = HashMap::new();
    for cause in causes {
        *counts.entry(cause).or_default() += 1;
    }
    Unfit::unless_enough(counts.len(), 1, "causes")?;
    let total: usize = counts.values().sum();
    let mut sorted: Vec<_> = counts.into_iter().collect();
    sorted.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    let mut so_far = 0;
    Ok(sorted
        .into_iter()
        .map(|(name, count)| {
            so_far += count;
            Cause { name: name.to_owned(), count, cumulative: so_far as f64 / total as f64 }
        })
        .collect())
}
