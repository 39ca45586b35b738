//! A rule set: the tolerances of one standard, one local code or one lab, as data.

use super::band::{Band, Key, Keys};
use super::file;
use super::verdict::Quantity;
use crate::order::LensKind;
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

/// What a table judges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// The principal powers that the power scheme judges.
    Power,
    /// Cylinder.
    Cylinder,
    /// Cylinder axis.
    Axis,
    /// Near addition.
    Addition,
    /// Intermediate or second addition.
    SecondAddition,
    /// Horizontal prism of one lens.
    PrismHorizontal,
    /// Vertical prism of one lens.
    PrismVertical,
    /// Horizontal prism imbalance of a pair.
    PrismImbalanceHorizontal,
    /// Vertical prism imbalance of a pair.
    PrismImbalanceVertical,
    /// Monocular distance PD.
    Pd,
    /// Monocular near PD.
    NearPd,
    /// Segment height.
    SegmentHeight,
    /// Height of the prism reference point.
    ReferenceHeight,
}

/// Which principal power carries the power limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PowerScheme {
    /// The most plus meridian: the sphere of the minus-cylinder form.
    SphereMeridian,
    /// The ordered meridian of highest absolute power.
    HighestMeridian,
    /// Both, by the limit of the ordered meridian of higher absolute power.
    BothMeridians,
}

impl fmt::Display for PowerScheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            PowerScheme::SphereMeridian => "of the sphere meridian, in minus-cylinder form",
            PowerScheme::HighestMeridian => "of the meridian of highest absolute power",
            PowerScheme::BothMeridians => {
                "of both principal meridians, by the row of the higher absolute power"
            }
        })
    }
}

/// Of which lenses a table of places speaks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scope {
    /// Each lens by itself.
    #[default]
    Each,
    /// The difference between right and left.
    PairDifference,
    /// The sum of right and left.
    PairTotal,
}

/// Which power a prism table of one lens takes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PowerOf {
    /// The power in the horizontal or vertical meridian, as the prism is.
    #[default]
    MeridianConcerned,
    /// The principal power of greatest magnitude.
    StrongestMeridian,
}

/// What a table says of its quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Says {
    /// Limits by bands.
    Bands(Arc<[Band]>),
    /// The quantity is judged as another one; by itself it is only recorded.
    JudgedAs(Quantity),
    /// The quantity is not judged, and why; it is not missed either.
    NotJudged(String),
}

/// One table of a rule set, for one subject.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What it judges.
    pub subject: Subject,
    /// For which kinds of lens.
    pub lenses: Vec<LensKind>,
    /// For mounted lenses, uncut ones, or both.
    pub mounted: Option<bool>,
    /// Of which lenses it speaks.
    pub scope: Scope,
    /// Which power its bands take.
    pub power_of: PowerOf,
    /// The clause, in words.
    pub clause: String,
    /// Where the figures were taken from.
    pub figures: String,
    /// What every item judged by this table says.
    pub note: Option<String>,
    /// Its limits.
    pub says: Says,
}

impl Table {
    /// Whether the table speaks of such lenses.
    pub fn covers(&self, lens: LensKind, mounted: bool) -> bool {
        self.mounted.is_none_or(|only| only == mounted) && self.lenses.contains(&lens)
    }

    /// The band that holds for these ordered values.
    pub fn band(&self, keys: &Keys) -> Option<&Band> {
        match &self.says {
            Says::Bands(bands) => bands.iter().find(|band| band.holds(keys)),
            _ => None,
        }
    }

    /// Whether every band begins above this magnitude.
    pub fn starts_above(&self, key: Key, magnitude: Decimal) -> bool {
        let begins_above = |band: &Band| {
            let low = band.range(key).and_then(|range| range.low);
            low.is_some_and(|end| magnitude < end.at || (magnitude == end.at && !end.closed))
        };
        matches!(&self.says, Says::Bands(bands) if bands.iter().all(begins_above))
    }
}

/// Why a text is not a rule set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{origin}:{line}: {message}")]
pub struct RuleError {
    /// Where the text comes from: a file name or a built-in name.
    pub origin: String,
    /// The line, counted from 1.
    pub line: usize,
    /// What is wrong and what was expected.
    pub message: String,
}

/// A rule set, ready to judge by.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleSet {
    pub(super) text: String,
    pub(super) name: String,
    pub(super) title: String,
    pub(super) edition: String,
    pub(super) source: String,
    pub(super) applies_to: String,
    pub(super) scheme: PowerScheme,
    /// The lab's own tables before the base's: the first that covers a lens holds.
    pub(super) tables: Vec<Table>,
    pub(super) required: Vec<Quantity>,
    pub(super) uncertainty: BTreeMap<Quantity, Decimal>,
    /// What every verdict says.
    pub(super) notes: Vec<String>,
    pub(super) decision: String,
}

const BUILT_IN: [(&str, &str); 3] = [
    ("ansi-z80.1-2015", include_str!("rules/ansi-z80.1-2015.toml")),
    ("iso-21987-2017", include_str!("rules/iso-21987-2017.toml")),
    ("njac-13-35-5.2", include_str!("rules/njac-13-35-5.2.toml")),
];

impl RuleSet {
    /// The names of the built-in rule sets.
    pub fn built_in_names() -> impl Iterator<Item = &'static str> {
        BUILT_IN.iter().map(|(name, _)| *name)
    }

    /// A built-in rule set; none has another name than [`Self::built_in_names`] gives.
    pub fn built_in(name: &str) -> Option<Self> {
        let text = Self::built_in_text(name)?;
        Some(Self::from_toml(text, name).expect("every built-in rule set is read by a test"))
    }

    pub(super) fn built_in_text(name: &str) -> Option<&'static str> {
        BUILT_IN.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
    }

    /// Reads a rule set; `origin` names the text in errors.
    ///
    /// # Errors
    /// The first thing that is wrong, with its line: TOML that cannot be read, a key that is
    /// not known, a range with its ends inverted, bands or tables that overlap.
    pub fn from_toml(text: &str, origin: &str) -> Result<Self, RuleError> {
        file::read(text, origin)
    }

    /// The whole text: [`Self::from_toml`] gives the same rule set again. For a lab's own
    /// rule set the text of its base follows its own, so that a later version's base cannot
    /// change what it says.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The name by which stations and verdicts know it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The standard's or the lab's title.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The edition.
    pub fn edition(&self) -> &str {
        &self.edition
    }

    /// Where the figures come from as a whole.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// What it applies to, in words.
    pub fn applies_to(&self) -> &str {
        &self.applies_to
    }

    /// Which principal power carries the power limit.
    pub fn power_scheme(&self) -> PowerScheme {
        self.scheme
    }

    /// Every table, in the order in which they are searched.
    pub fn tables(&self) -> &[Table] {
        &self.tables
    }

    /// What every verdict by this rule set says.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The decision rule in words.
    pub fn decision(&self) -> &str {
        &self.decision
    }

    /// Whether a quantity has to be measured even where it was not ordered. `prism` requires
    /// every prism item.
    pub fn requires(&self, quantity: Quantity) -> bool {
        use Quantity::*;
        !self.required.is_empty()
            && (self.required.contains(&quantity)
                || (matches!(
                    quantity,
                    PrismHorizontal | PrismVertical | PrismImbalanceHorizontal | PrismImbalanceVertical
                ) && self.required.contains(&Prism)))
    }

    /// The expanded uncertainty (k = 2) declared for a quantity, in its unit.
    pub fn uncertainty(&self, quantity: Quantity) -> Option<Decimal> {
        if self.uncertainty.is_empty() { None } else { self.uncertainty.get(&quantity).copied() }
    }

    /// The table that judges `subject` for such a lens.
    pub fn table(&self, subject: Subject, lens: LensKind, mounted: bool, scope: Scope) -> Option<&Table> {
        self.tables
            .iter()
            .find(|table| table.subject == subject && table.scope == scope && table.covers(lens, mounted))
    }
}
