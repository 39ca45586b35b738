//! The items of a verdict as they come in, and what they mean for the whole.

use super::band::{Band, Keys};
use super::rules::{RuleSet, Says, Scope, Subject, Table};
use super::verdict::{Item, ItemOutcome, Outcome, Quantity, Side};
use crate::order::Order;
use rust_decimal::Decimal;
use std::borrow::Cow;

pub(super) const DIOPTRE: &str = "D";
pub(super) const DEGREE: &str = "deg";
pub(super) const PRISM: &str = "prism-D";
pub(super) const MILLIMETRE: &str = "mm";

/// What is known of one quantity of one lens or pair, before it is judged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Values {
    pub side: Side,
    pub quantity: Quantity,
    pub unit: &'static str,
    pub ordered: Option<Decimal>,
    pub measured: Option<Decimal>,
}

impl Values {
    /// Measured less ordered, where both are known.
    fn deviation(&self) -> Option<Decimal> {
        Some(positive_zero(self.measured? - self.ordered?))
    }

    fn item(&self, outcome: ItemOutcome, clause: &str, notes: Vec<String>) -> Item {
        Item {
            eye: self.side,
            quantity: self.quantity,
            ordered: self.ordered,
            measured: self.measured,
            deviation: self.deviation(),
            limit: None,
            unit: Cow::Borrowed(self.unit),
            outcome,
            clause: clause.to_owned(),
            notes,
        }
    }
}

fn positive_zero(mut value: Decimal) -> Decimal {
    if value.is_zero() {
        value.set_sign_positive(true);
    }
    value
}

/// By what a band is chosen.
pub(super) struct Choice {
    pub keys: Keys,
    /// The ordered value, as written, that a percentage is taken of.
    pub share_of: Decimal,
    pub note: Option<String>,
}

/// A comparison with a limit.
pub(super) struct Comparison<'a> {
    pub values: Values,
    /// Measured less ordered; an axis deviates on a half circle.
    pub deviation: Decimal,
    pub limit: Decimal,
    /// Expanded uncertainty in the item's unit, where one is declared.
    pub uncertainty: Option<Decimal>,
    pub table: &'a Table,
    pub band: &'a Band,
    pub notes: Vec<String>,
}

impl Comparison<'_> {
    /// How the comparison comes out: simple acceptance, or guarded by U (JCGM 106).
    pub fn outcome(&self) -> ItemOutcome {
        let deviation = self.deviation.abs();
        let guard = self.uncertainty.unwrap_or_default();
        if deviation <= self.limit - guard {
            ItemOutcome::Pass
        } else if deviation > self.limit + guard {
            ItemOutcome::Fail
        } else {
            ItemOutcome::Borderline
        }
    }
}

/// The items so far.
pub(super) struct Sheet<'a> {
    pub rules: &'a RuleSet,
    pub order: &'a Order,
    items: Vec<Item>,
    incomplete: bool,
}

impl<'a> Sheet<'a> {
    pub fn new(rules: &'a RuleSet, order: &'a Order) -> Self {
        Self { rules, order, items: Vec::with_capacity(16), incomplete: false }
    }

    /// Every item, and the outcome of the whole.
    pub fn finish(self) -> (Vec<Item>, Outcome) {
        let any = |wanted| self.items.iter().any(|item| item.outcome == wanted);
        let outcome = if any(ItemOutcome::Fail) {
            Outcome::Fail
        } else if self.incomplete || !(any(ItemOutcome::Pass) || any(ItemOutcome::Borderline)) {
            Outcome::Incomplete
        } else if any(ItemOutcome::Borderline) {
            Outcome::Borderline
        } else {
            Outcome::Pass
        };
        (self.items, outcome)
    }

    /// An item that was compared with its limit.
    pub fn compared(&mut self, comparison: Comparison) {
        let outcome = comparison.outcome();
        let Comparison { values, deviation, limit, uncertainty, table, band, mut notes } = comparison;
        notes.extend(table.note.iter().chain(&band.note).cloned());
        notes.extend(uncertainty.map(|u| format!("guarded by U = {u} {}", values.unit)));
        let mut item = values.item(outcome, &table.clause, notes);
        item.deviation = Some(positive_zero(deviation));
        item.limit = Some(limit);
        self.items.push(item);
    }

    /// An item that was not measured; `missed` where that leaves the verdict incomplete.
    pub fn not_measured(&mut self, values: Values, table: Option<&Table>, missed: bool, note: Option<&str>) {
        let missed = missed || self.rules.requires(values.quantity);
        self.incomplete |= missed;
        let notes = note.map(str::to_owned).into_iter().collect();
        self.items.push(values.item(ItemOutcome::NotMeasured, clause(table), notes));
    }

    /// An item that is recorded and not judged, and leaves the verdict as it is.
    pub fn recorded(&mut self, values: Values, table: Option<&Table>, why: &str) {
        self.items.push(values.item(ItemOutcome::NotJudged, clause(table), vec![why.to_owned()]));
    }

    /// An item that the rule set does not cover: the verdict is at best incomplete.
    pub fn not_covered(&mut self, values: Values, table: Option<&Table>, notes: Vec<String>) {
        self.incomplete = true;
        let mut item = values.item(ItemOutcome::NotJudged, clause(table), notes);
        item.notes.push("not covered by this rule set".to_owned());
        self.items.push(item);
    }

    /// The table that judges `subject` for the lenses of the order.
    pub fn table(&self, subject: Subject, scope: Scope) -> Option<&'a Table> {
        self.rules.table(subject, self.order.lens, self.order.mounted, scope)
    }

    /// Judges one quantity in the plain way: what was ordered must be measured, and lie
    /// within the limit of its band.
    pub fn plain(&mut self, values: Values, table: Option<&Table>, choice: impl FnOnce() -> Choice) {
        match values.deviation() {
            Some(deviation) => self.by_band(values, deviation, table, choice()),
            None => self.one_sided(values, table),
        }
    }

    /// Judges a deviation by the band that holds, if the table judges it at all.
    pub fn by_band(&mut self, values: Values, deviation: Decimal, table: Option<&Table>, choice: Choice) {
        match table.map(|table| &table.says) {
            Some(Says::NotJudged(why)) => return self.recorded(values, table, why),
            Some(Says::JudgedAs(other)) => {
                return self.recorded(values, table, &format!("no limit of its own: see {other}"));
            }
            _ => {}
        }
        let notes = choice.note.into_iter().collect();
        let band = table.and_then(|table| table.band(&choice.keys));
        let limit = band.and_then(|band| band.limit.amount(choice.share_of, Decimal::ZERO));
        match (table, band, limit) {
            (Some(table), Some(band), Some(limit)) => {
                let uncertainty = self.rules.uncertainty(values.quantity);
                self.compared(Comparison { values, deviation, limit, uncertainty, table, band, notes });
            }
            _ => self.not_covered(values, table, notes),
        }
    }

    /// What was only ordered, only measured, or neither.
    pub fn one_sided(&mut self, values: Values, table: Option<&Table>) {
        match (values.ordered, values.measured) {
            (Some(_), _) => match table.map(|table| &table.says) {
                Some(Says::NotJudged(why)) => self.recorded(values, table, why),
                _ => self.not_measured(values, table, true, None),
            },
            (None, Some(_)) => self.recorded(values, table, "not ordered"),
            (None, None) if self.rules.requires(values.quantity) => {
                self.not_measured(values, table, true, Some("required by the rule set"));
            }
            (None, None) => {}
        }
    }
}

fn clause(table: Option<&Table>) -> &str {
    table.map_or("none", |table| &table.clause)
}

/// The note of an item whose band was chosen by the eighth that a cut value stands for.
pub(super) fn taken_as(written: Decimal, taken: Decimal) -> Option<String> {
    (written != taken).then(|| format!("ordered {written} is taken as {taken} to choose the band"))
}
