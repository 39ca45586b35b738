//! Gauge R&R: how much of the spread is the lenses, how much the measuring.
//!
//! Crossed study by analysis of variance: every person reads every lens equally often. AIAG,
//! Measurement Systems Analysis, 4th edition.

use super::Unfit;
use super::anova::{Crossed, Square};
use serde::Serialize;

/// What to judge a study with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Terms {
    /// The interaction is pooled into repeatability if its p is above this. AIAG's report pools
    /// above 0.25; with 1 it is never pooled, with 0 always.
    pub pool_above: f64,
    /// Standard deviations that count as the spread: 6 (AIAG, 4th edition).
    pub spread: f64,
    /// Full width of the tolerance, upper limit minus lower limit, in the readings' unit.
    pub tolerance: Option<f64>,
}

impl Default for Terms {
    fn default() -> Self {
        Terms { pool_above: 0.25, spread: 6.0, tolerance: None }
    }
}

/// Where spread comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// All measuring: repeatability and reproducibility.
    Measuring,
    /// The same person on the same lens again.
    Repeatability,
    /// One person or another, interaction included.
    Reproducibility,
    /// Persons reading higher or lower throughout.
    Person,
    /// Persons differing on some lenses only.
    Interaction,
    /// The lenses themselves.
    Lens,
    /// Everything.
    Total,
}

impl Source {
    /// The name for a table or plot.
    pub fn name(self) -> &'static str {
        match self {
            Source::Measuring => "measuring (R&R)",
            Source::Repeatability => "repeatability",
            Source::Reproducibility => "reproducibility",
            Source::Person => "person",
            Source::Interaction => "person by lens",
            Source::Lens => "lens to lens",
            Source::Total => "total",
        }
    }
}

/// One source's share.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Row {
    /// Which source.
    pub source: Source,
    /// Its variance.
    pub variance: f64,
    /// Its standard deviation, in the readings' unit.
    pub sd: f64,
    /// Percent of the total variance.
    pub percent_contribution: f64,
    /// Percent of the total standard deviation ("% study variation").
    pub percent_study: f64,
    /// Percent of the tolerance taken up by the source's spread.
    pub percent_tolerance: Option<f64>,
    /// The estimate came out below zero and is taken as zero.
    pub set_to_zero: bool,
}

/// One line of the study's ANOVA table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AnovaRow {
    /// Which source.
    pub source: Source,
    /// Sum of squares and degrees of freedom.
    pub square: Square,
    /// F ratio against the interaction, or against repeatability where that is pooled.
    pub f: Option<f64>,
    /// Chance of an F at least as large.
    pub p: Option<f64>,
}

/// A finished study.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Study {
    /// Lenses.
    pub lenses: usize,
    /// Persons or instruments, by name, each with the mean of all its readings.
    pub persons: Vec<(String, f64)>,
    /// Readings in each cell.
    pub repeats: usize,
    /// The ANOVA table as tested first, with the interaction on its own.
    pub anova: Vec<AnovaRow>,
    /// p of the interaction.
    pub interaction_p: f64,
    /// The interaction was pooled into repeatability.
    pub pooled: bool,
    /// The sources, from measuring to total.
    pub rows: Vec<Row>,
    /// Number of distinct categories: 1.41 times lens SD over measuring SD, cut to a whole number.
    pub distinct_categories: u64,
    /// What it was judged with.
    pub terms: Terms,
}

impl Study {
    /// The row of a source. Person and interaction have none of their own where they are pooled.
    pub fn row(&self, source: Source) -> Option<&Row> {
        self.rows.iter().find(|r| r.source == source)
    }
}

/// Analyses readings (lens, person, value).
///
/// # Errors
/// Fewer than two lenses, persons or repeats; a missing cell or unequal repeats; lenses that do
/// not differ; repeats that never differ; terms that make no sense.
pub fn study<'a>(
    readings: impl IntoIterator<Item = (&'a str, &'a str, f64)>,
    terms: Terms,
) -> Result<Study, Unfit> {
    Unfit::unless_positive(terms.spread, "spread")?;
    if let Some(width) = terms.tolerance {
        Unfit::unless_positive(width, "tolerance")?;
    }
    if !(0.0..=1.0).contains(&terms.pool_above) {
        let (what, value) = ("pooling level", terms.pool_above);
        return Err(Unfit::Setting { what, value, expected: "0 (always pool) to 1 (never)" });
    }
    let table = Crossed::new(readings)?;
    Unfit::unless_enough(table.repeats, 2, "readings by each person of each lens")?;
    let a = table.analyse();
    let rounding = (64.0 * f64::EPSILON * table.scale()).powi(2);
    if a.repeats.ms() <= rounding {
        return Err(Unfit::Constant { what: "repeats by the same person of the same lens" });
    }
    if a.rows.ms() <= rounding {
        return Err(Unfit::Constant { what: "the lenses" });
    }

    let interaction_p = a.interaction.p(&a.repeats);
    // A chance of exactly 1 is above every level but "never".
    let pooled = terms.pool_above < 1.0 && interaction_p > terms.pool_above || terms.pool_above == 0.0;
    let error = if pooled { a.repeats.pooled(&a.interaction) } else { a.interaction };
    let (r, c, k) = (table.rows.len() as f64, table.columns.len() as f64, table.repeats as f64);
    let repeatability = if pooled { error.ms() } else { a.repeats.ms() };
    let interaction = if pooled { 0.0 } else { (a.interaction.ms() - a.repeats.ms()) / k };
    let person = (a.columns.ms() - error.ms()) / (r * k);
    let lens = (a.rows.ms() - error.ms()) / (c * k);

    let zeroed = |v: f64| (v.max(0.0), v < 0.0);
    let reproducibility = zeroed(person).0 + zeroed(interaction).0;
    let measuring = repeatability + reproducibility;
    let total = measuring + zeroed(lens).0;
    let row = |source, raw: f64| {
        let (variance, set_to_zero) = zeroed(raw);
        let sd = variance.sqrt();
        Row {
            source,
            variance,
            sd,
            percent_contribution: 100.0 * variance / total,
            percent_study: 100.0 * sd / total.sqrt(),
            percent_tolerance: terms.tolerance.map(|width| 100.0 * terms.spread * sd / width),
            set_to_zero,
        }
    };
    let mut rows = vec![
        row(Source::Measuring, measuring),
        row(Source::Repeatability, repeatability),
        row(Source::Reproducibility, reproducibility),
        row(Source::Person, person),
    ];
    if !pooled {
        rows.push(row(Source::Interaction, interaction));
    }
    rows.push(row(Source::Lens, lens));
    rows.push(row(Source::Total, total));

    let tested = |source, square: Square, against: Option<Square>| AnovaRow {
        source,
        square,
        f: against.map(|against| square.f(&against)),
        p: against.map(|against| square.p(&against)),
    };
    Ok(Study {
        lenses: table.rows.len(),
        persons: table.columns.iter().cloned().zip(table.column_means()).collect(),
        repeats: table.repeats,
        anova: vec![
            tested(Source::Lens, a.rows, Some(error)),
            tested(Source::Person, a.columns, Some(error)),
            tested(Source::Interaction, a.interaction, Some(a.repeats)),
            tested(Source::Repeatability, a.repeats, None),
        ],
        interaction_p,
        pooled,
        rows,
        distinct_categories: (1.41 * zeroed(lens).0.sqrt() / measuring.sqrt()) as u64,
        terms,
    })
}
