//! How far two instruments or persons differ on the same lenses.
//!
//! Bland JM, Altman DG. Lancet 1986; 327: 307-310, and Stat Methods Med Res 1999; 8: 135-160.
//! Lenses read more than once: Bland and Altman, J Biopharm Stat 2007; 17: 571-582. Confidence
//! limits there: Zou GY, Stat Methods Med Res 2013; 22: 630-642 (recovery of variance estimates).

use super::sample::{Interval, Sample, finite, grouped, scale};
use super::{Unfit, anova, quantile};
use serde::Serialize;
use std::collections::HashMap;

/// One lens read by both, in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair<'a> {
    /// Which lens. The same name again is the same lens again.
    pub lens: &'a str,
    /// The one's reading.
    pub first: f64,
    /// The other's reading.
    pub second: f64,
}

impl Pair<'_> {
    /// First minus second.
    pub fn difference(&self) -> f64 {
        self.first - self.second
    }

    /// Mean of the two.
    pub fn mean(&self) -> f64 {
        (self.first + self.second) / 2.0
    }
}

/// How the standard error of a limit is reckoned where each lens was read once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub enum LimitError {
    /// s sqrt(1/n + z^2 / (2 (n - 1))): Bland and Altman 1999.
    #[default]
    Multiplier,
    /// s sqrt(3/n): the paper of 1986, close to the other for a multiplier of 2.
    Root3,
}

/// What to work the limits out with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Terms {
    /// Standard deviations from the bias to a limit (1.96 for 95 % of differences).
    pub multiplier: f64,
    /// Confidence of the intervals, 0 to 1.
    pub confidence: f64,
    /// Standard error of a limit.
    pub limit_error: LimitError,
}

impl Default for Terms {
    fn default() -> Self {
        Terms { multiplier: 1.96, confidence: 0.95, limit_error: LimitError::Multiplier }
    }
}

/// One source of the differences' spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Component {
    /// What it is.
    pub what: &'static str,
    /// Its variance, in the squared unit.
    pub variance: f64,
    /// Degrees of freedom of the mean square it comes from.
    pub df: f64,
    /// The estimate came out below zero and is taken as zero.
    pub set_to_zero: bool,
}

/// Bias and limits of agreement, in the unit of the readings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Agreement {
    /// Readings that went in: pairs, or single readings where the two sides are not paired.
    pub n: usize,
    /// Different lenses.
    pub lenses: usize,
    /// Degrees of freedom of the bias: lenses - 1.
    pub df: f64,
    /// Mean difference, first minus second.
    pub bias: f64,
    /// Standard deviation of a single difference.
    pub sd: f64,
    /// Bias plus and minus multiplier times SD.
    pub limits: Interval,
    /// Confidence interval of the bias.
    pub bias_interval: Interval,
    /// Confidence interval of the lower limit.
    pub lower_interval: Interval,
    /// Confidence interval of the upper limit.
    pub upper_interval: Interval,
    /// Where the spread comes from, if lenses were read more than once.
    pub components: Vec<Component>,
    /// What the limits were worked out with.
    pub terms: Terms,
}

/// A mean square with its share in the variance of one difference.
struct Part {
    share: f64,
    square: f64,
    df: f64,
}

/// Agreement of pairs. A lens that comes more than once makes it the repeated-measures form in
/// which the true value may vary between the pairs of one lens (2007): differences of
/// one lens are not independent, so their spread is split into between and within lenses.
///
/// # Errors
/// Fewer than two lenses, differences that are all the same, values that are not usable, terms
/// that make no sense.
pub fn agreement(pairs: &[Pair], terms: Terms) -> Result<Agreement, Unfit> {
    check(terms)?;
    finite(pairs.iter().flat_map(|p| [p.first, p.second]), "readings of a pair")?;
    let by_lens = grouped(pairs.iter().map(|p| (p.lens, p.difference())));
    Unfit::unless_enough(by_lens.len(), 2, "lenses read by both")?;
    let all = Sample::of(&pairs.iter().map(Pair::difference).collect::<Vec<_>>());
    if all.is_constant(scale(pairs.iter().flat_map(|p| [p.first, p.second]))) {
        return Err(Unfit::Constant { what: "the differences between first and second" });
    }
    if by_lens.len() == pairs.len() { Ok(once(all, terms)) } else { repeated(pairs, terms) }
}

fn check(terms: Terms) -> Result<(), Unfit> {
    Unfit::unless_positive(terms.multiplier, "multiplier")?;
    Unfit::unless_share(terms.confidence, "confidence")
}

fn once(all: Sample, terms: Terms) -> Agreement {
    let (n, z) = (all.n as f64, terms.multiplier);
    let sd = all.sd();
    let error = sd
        * match terms.limit_error {
            LimitError::Multiplier => (1.0 / n + z * z / (2.0 * all.df())).sqrt(),
            LimitError::Root3 => (3.0 / n).sqrt(),
        };
    let half = quantile::t_two_sided(terms.confidence, all.df()) * error;
    let limits = Interval::around(all.mean, z * sd);
    Agreement {
        n: all.n,
        lenses: all.n,
        df: all.df(),
        bias: all.mean,
        sd,
        limits,
        bias_interval: all.mean_interval(terms.confidence),
        lower_interval: Interval::around(limits.low, half),
        upper_interval: Interval::around(limits.high, half),
        components: Vec::new(),
        terms,
    }
}

fn repeated(pairs: &[Pair], terms: Terms) -> Result<Agreement, Unfit> {
    let table = anova::one_way(pairs.iter().map(|p| (p.lens, p.difference())), "lenses")?;
    let (between, within) = (table.between.ms(), table.within.ms());
    let raw = (between - within) / table.size;
    let set_to_zero = raw < 0.0;
    let share = if set_to_zero { 0.0 } else { 1.0 / table.size };
    let parts = [
        Part { share, square: between, df: table.between.df },
        Part { share: 1.0 - share, square: within, df: table.within.df },
    ];
    let components = vec![
        Component { what: "between lenses", variance: raw.max(0.0), df: table.between.df, set_to_zero },
        Component { what: "within a lens", variance: within, df: table.within.df, set_to_zero: false },
    ];
    // Var(mean) of all pairs = s_b^2 sum(n_i^2) / N^2 + s_w^2 / N (one-way random effects; Searle SR,
    // Casella G, McCulloch CE, Variance Components, 1992, from memory). Lenses read equally often:
    // MS(between) / N.
    let n = table.n as f64;
    let crowded = table.groups.iter().map(|(_, sample)| (sample.n as f64).powi(2)).sum::<f64>() / (n * n);
    let mean_variance = raw.max(0.0) * crowded + within / n;
    Ok(recovered(table.n, table.groups.len(), table.mean, mean_variance, &parts, components, terms))
}

/// Agreement of two sides that read the same lenses, each as often as it liked, without pairing:
/// the repeated-measures form in which a lens's true value stays the same (2007).
///
/// The bias is the mean over lenses of the difference of the two sides' means.
///
/// # Errors
/// As [`agreement`]; also a lens that one side did not read, and a side that read no lens twice.
pub fn agreement_unpaired(
    first: &[(&str, f64)],
    second: &[(&str, f64)],
    terms: Terms,
) -> Result<Agreement, Unfit> {
    check(terms)?;
    let one = anova::one_way(first.iter().copied(), "lenses read by the first")?;
    let other = anova::one_way(second.iter().copied(), "lenses read by the second")?;
    let mut theirs: HashMap<&str, Sample> = other.groups.iter().map(|(l, s)| (l.as_str(), *s)).collect();
    let mut differences = Vec::with_capacity(one.groups.len());
    for (lens, mine) in &one.groups {
        let Some(second) = theirs.remove(lens.as_str()) else {
            return Err(Unfit::OneSided { lens: lens.clone(), read_by: "the first" });
        };
        differences.push(mine.mean - second.mean);
    }
    if let Some((lens, _)) = other.groups.iter().find(|(lens, _)| theirs.contains_key(lens.as_str())) {
        return Err(Unfit::OneSided { lens: lens.clone(), read_by: "the second" });
    }
    let means = Sample::of(&differences);
    let spread = one.scale.max(other.scale);
    if means.is_constant(spread) && one.within.ss == 0.0 && other.within.ss == 0.0 {
        return Err(Unfit::Constant { what: "the differences between first and second" });
    }
    // Averages over m readings hide (1 - 1/m) of the spread of single ones.
    let hidden = |table: &anova::OneWay| {
        1.0 - table.groups.iter().map(|(_, s)| 1.0 / s.n as f64).sum::<f64>() / table.groups.len() as f64
    };
    let part =
        |table: &anova::OneWay| Part { share: hidden(table), square: table.within.ms(), df: table.within.df };
    let parts = [Part { share: 1.0, square: means.variance(), df: means.df() }, part(&one), part(&other)];
    let component = |what, p: &Part| Component { what, variance: p.square, df: p.df, set_to_zero: false };
    let components = vec![
        component("between lens means", &parts[0]),
        component("within a lens, the first", &parts[1]),
        component("within a lens, the second", &parts[2]),
    ];
    let mean_variance = means.variance() / means.n as f64;
    Ok(recovered(one.n + other.n, means.n, means.mean, mean_variance, &parts, components, terms))
}

/// Limits and their intervals from mean squares, by Zou's recovery of variance estimates. The
/// mean's part uses Student's t instead of the normal quantile, so that few lenses look like few.
fn recovered(
    n: usize,
    lenses: usize,
    bias: f64,
    mean_variance: f64,
    parts: &[Part],
    components: Vec<Component>,
    terms: Terms,
) -> Agreement {
    let df = lenses as f64 - 1.0;
    let tail = (1.0 - terms.confidence) / 2.0;
    let (mut variance, mut below, mut above) = (0.0, 0.0, 0.0);
    for p in parts {
        let v = p.share * p.square;
        variance += v;
        below += (v * (1.0 - p.df / quantile::chi_square(1.0 - tail, p.df))).powi(2);
        above += (v * (p.df / quantile::chi_square(tail, p.df) - 1.0)).powi(2);
    }
    let sd = variance.sqrt();
    let sd_low = (variance - below.sqrt()).max(0.0).sqrt();
    let sd_high = (variance + above.sqrt()).sqrt();
    let mean_half = quantile::t_two_sided(terms.confidence, df) * mean_variance.sqrt();
    let z = terms.multiplier;
    let outward = mean_half.hypot(z * (sd_high - sd));
    let inward = mean_half.hypot(z * (sd - sd_low));
    let limits = Interval::around(bias, z * sd);
    Agreement {
        n,
        lenses,
        df,
        bias,
        sd,
        limits,
        bias_interval: Interval::around(bias, mean_half),
        lower_interval: Interval { low: limits.low - outward, high: limits.low + inward },
        upper_interval: Interval { low: limits.high - inward, high: limits.high + outward },
        components,
        terms,
    }
}
