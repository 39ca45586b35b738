//! What judging says, in the JSON form that files, ledger, HTTP API and feeds share.

use crate::parsers::reading::{Eye, JobNumber};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::borrow::Cow;
use std::fmt;

/// Which lens an item is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The right lens.
    Right,
    /// The left lens.
    Left,
    /// Both lenses together.
    Pair,
}

impl From<Eye> for Side {
    fn from(eye: Eye) -> Self {
        match eye {
            Eye::Right => Side::Right,
            Eye::Left => Side::Left,
        }
    }
}

/// What is judged. Items are named after the minus-cylinder form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// The most plus principal power.
    SphereMeridian,
    /// The least plus principal power.
    SecondMeridian,
    /// Cylinder.
    Cylinder,
    /// Cylinder axis.
    Axis,
    /// Near addition.
    Addition,
    /// Intermediate or second addition.
    SecondAddition,
    /// Horizontal prism of one lens, in positive.
    PrismHorizontal,
    /// Vertical prism of one lens, up positive.
    PrismVertical,
    /// Prism of one lens as one amount.
    Prism,
    /// Horizontal prism imbalance of a pair.
    PrismImbalanceHorizontal,
    /// Vertical prism imbalance of a pair.
    PrismImbalanceVertical,
    /// Monocular distance PD; of the pair, their sum.
    Pd,
    /// Monocular near PD; of the pair, their sum.
    NearPd,
    /// Segment height; of the pair, the difference right less left.
    SegmentHeight,
    /// Height of the prism reference point; of the pair, the difference right less left.
    ReferenceHeight,
}

/// How one item came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ItemOutcome {
    /// Within the limit.
    Pass,
    /// Beyond the limit.
    Fail,
    /// Too near the limit for the instrument's uncertainty to decide.
    Borderline,
    /// Ordered, but not measured.
    NotMeasured,
    /// Measured, but the rule set does not judge it.
    NotJudged,
}

/// How a job came out as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Everything ordered was measured and is within its limit.
    Pass,
    /// Something is beyond its limit.
    Fail,
    /// Something is too near its limit to decide.
    Borderline,
    /// Something ordered is missing or not covered by the rule set.
    Incomplete,
}

macro_rules! shown_as_in_json {
    ($($name:ident),*) => {$(
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let value = serde_json::to_value(self).map_err(|_| fmt::Error)?;
                f.pad(value.as_str().ok_or(fmt::Error)?)
            }
        }
    )*};
}
shown_as_in_json!(Side, Quantity, ItemOutcome, Outcome);

/// One quantity of one lens or pair, judged.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Item {
    /// Which lens.
    pub eye: Side,
    /// What.
    pub quantity: Quantity,
    /// What was ordered, in `unit`.
    #[serde(default, with = "rust_decimal::serde::arbitrary_precision_option")]
    pub ordered: Option<Decimal>,
    /// What was measured, in `unit`.
    #[serde(default, with = "rust_decimal::serde::arbitrary_precision_option")]
    pub measured: Option<Decimal>,
    /// Measured less ordered, in `unit`.
    #[serde(default, with = "rust_decimal::serde::arbitrary_precision_option")]
    pub deviation: Option<Decimal>,
    /// The greatest magnitude of `deviation` that passes, in `unit`.
    #[serde(default, with = "rust_decimal::serde::arbitrary_precision_option")]
    pub limit: Option<Decimal>,
    /// `D`, `deg`, `prism-D` or `mm`.
    pub unit: Cow<'static, str>,
    /// How it came out.
    pub outcome: ItemOutcome,
    /// The clause of the rule set that was applied.
    pub clause: String,
    /// What a reader has to know to follow it.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub notes: Vec<String>,
}

/// A reading judged against an order by a rule set.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// The job.
    pub job: JobNumber,
    /// The name of the rule set.
    pub rules: String,
    /// How it came out. Where `held` says something, nobody may act on it yet.
    pub outcome: Outcome,
    /// Each quantity.
    pub items: Vec<Item>,
    /// The decision rule in words: simple acceptance, or guarded by the instrument's uncertainty.
    pub decision: String,
    /// What a verdict on record was derived from; absent when judged from files.
    pub basis: Option<Basis>,
    /// What holds for the whole verdict: the power scheme applied, loosened limits, and the like.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub notes: Vec<String>,
    /// Why the verdict is held back, where it is: an instrument is not in order. It is shown instead
    /// of the outcome.
    pub held: Option<String>,
}

/// When verdicts are held back, as the station's settings say.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    /// For how many hours a good check of an instrument holds.
    pub every_hours: u32,
    /// The reference lenses that each instrument is checked with; where none is named, any one will
    /// do.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub lenses: Vec<JobNumber>,
}

/// What a verdict on record was derived from, so that it can be derived again.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Basis {
    /// The number of the order's entry.
    pub order: u64,
    /// The numbers of the reading entries that a value was taken from, ascending.
    pub readings: Vec<u64>,
    /// The hash of the rule set's text, as in its `in-force` entry.
    pub rules: String,
    /// The version of the program that judged.
    pub software: String,
    /// The numbers of the checks in force, ascending: the latest with each reference lens, of each
    /// instrument that a value came from.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub checks: Vec<u64>,
    /// When the station held verdicts back; absent where it never did.
    pub hold: Option<Hold>,
}
