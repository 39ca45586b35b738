//! Payloads of manual readings, cross-checks, reference lenses, instrument checks and drift.

use super::entry::{Seq, TextHash};
use crate::check::crosscheck::{Outcome, Suspect};
use crate::check::difference::Difference;
use crate::check::reference::{CheckItem, CheckOutcome, ReferenceLens};
use crate::check::{AsRead, Comparison};
use crate::evidence::chart::Side;
use crate::judge::verdict::Quantity;
use crate::parsers::reading::{Eye, JobNumber, Lens};
use crate::parsers::units::Dioptre;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::borrow::Cow;

/// What a manual reading is taken for. Practice never enters the statistics of production.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// To check a lens.
    #[default]
    Production,
    /// To learn.
    Practice,
}

/// What the person confirmed before the first reading of a sitting (common practice).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SittingStart {
    /// The eyepiece was focused for the person's own eye.
    pub eyepiece_focused: bool,
    /// Where the drum stood with the target sharp and no lens in place, dioptres. Readings are not
    /// corrected for it.
    pub zero: Dioptre,
}

/// A person's reading of one lens.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ManualEntry {
    /// Who read.
    pub by: String,
    /// The manual focimeter's name.
    pub focimeter: String,
    /// The sitting, such as a date: readings without a break, with one focus of the eyepiece.
    pub sitting: String,
    /// At the first reading of a sitting.
    pub start: Option<SittingStart>,
    /// What it is for.
    #[serde(default)]
    pub purpose: Purpose,
    /// The job whose lens it is, or the name of a reference or practice lens.
    pub job: JobNumber,
    /// For which eye the lens is, in a job.
    pub eye: Option<Eye>,
    /// The instrument's value was not shown before this was committed.
    pub blind: bool,
    /// What was read, as it was read.
    pub read: AsRead,
    /// The lens that it means, in normal form.
    pub lens: Lens,
}

/// A manual reading compared with the instrument's.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CrossCheckEntry {
    /// The job.
    pub job: JobNumber,
    /// For which eye the lens is.
    pub eye: Eye,
    /// Who read by hand.
    pub by: String,
    /// The instrument it is compared with.
    pub instrument: String,
    /// The manual reading's entry.
    pub manual: Seq,
    /// The latest of the instrument's readings that a value was taken from.
    pub reading: Seq,
    /// All of them, ascending.
    pub readings: Vec<Seq>,
    /// Manual less instrument.
    pub difference: Difference,
    /// What it comes to.
    pub outcome: Outcome,
    /// What most likely happened, where the outcome is a different lens.
    pub suspect: Option<Suspect>,
    /// How the outcome was reached.
    pub reasons: Vec<String>,
    /// The hash of the limits in force.
    pub limits: TextHash,
}

/// What of a job a manual reading is compared with.
#[derive(Debug, Clone, PartialEq)]
pub struct Against {
    /// The instrument of the latest value.
    pub instrument: String,
    /// The entries that a value of this lens was taken from, ascending; not empty.
    pub readings: Vec<Seq>,
}

impl CrossCheckEntry {
    /// The entry that says what a comparison came to; nothing where there is no reading.
    pub fn new(
        (seq, manual): (Seq, &ManualEntry),
        eye: Eye,
        against: Against,
        comparison: Comparison,
        limits: &TextHash,
    ) -> Option<Self> {
        Some(Self {
            job: manual.job.clone(),
            eye,
            by: manual.by.clone(),
            instrument: against.instrument,
            manual: seq,
            reading: *against.readings.last()?,
            readings: against.readings,
            difference: comparison.difference,
            outcome: comparison.outcome,
            suspect: comparison.suspect,
            reasons: comparison.reasons,
            limits: limits.clone(),
        })
    }
}

/// One revision of a reference lens in the register.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReferenceLensEntry {
    /// 1 for the first, then counting up.
    pub revision: u32,
    /// Who entered it.
    pub by: String,
    /// The lens as it stands from here on.
    pub lens: ReferenceLens,
}

/// An instrument checked against a reference lens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InstrumentCheckEntry {
    /// The instrument.
    pub instrument: String,
    /// Who checked: the operator in the frame, or who said so.
    pub by: String,
    /// The reference lens.
    pub lens: JobNumber,
    /// The entry of the register that holds its certified values.
    pub lens_entry: Seq,
    /// The reading taken of it.
    pub reading: Seq,
    /// What it comes to.
    pub outcome: CheckOutcome,
    /// Each quantity.
    pub items: Vec<CheckItem>,
    /// What a reader has to know to follow it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// The hash of the limits in force.
    pub limits: TextHash,
}

/// Which chart speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ChartKind {
    /// Individuals and moving range.
    Individuals,
    /// Exponentially weighted moving average.
    Ewma,
    /// Cumulative sums.
    Cusum,
}

/// A rule of a chart fired: the instrument may be drifting. Written once, when it begins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DriftEntry {
    /// The instrument.
    pub instrument: String,
    /// The reference lens of the chart.
    pub lens: JobNumber,
    /// The quantity of the chart.
    pub quantity: Quantity,
    /// Which chart.
    pub chart: ChartKind,
    /// The rule, in words.
    pub rule: Cow<'static, str>,
    /// Where the rule was published.
    pub source: Cow<'static, str>,
    /// On which side: `above`, `below`, or `both`.
    pub side: Cow<'static, str>,
    /// The check at which it fired.
    pub check: Seq,
    /// The first check that belongs to the pattern.
    pub since: Seq,
    /// The deviation then, in `unit`.
    #[serde(with = "rust_decimal::serde::arbitrary_precision")]
    pub deviation: Decimal,
    /// The chart's centre, in `unit`.
    pub centre: f64,
    /// The chart's sigma, in `unit`.
    pub sigma: f64,
    /// `D`, `deg` or `prism-D`.
    pub unit: Cow<'static, str>,
    /// The hash of the limits in force, which say how the charts are drawn.
    pub limits: TextHash,
}

/// A side as it is written.
pub(super) fn side_name(side: Side) -> &'static str {
    match side {
        Side::Above => "above",
        Side::Below => "below",
        Side::Both => "both",
    }
}
