//! Lenses on a page: what was ordered and measured, in lines and in tables.

use super::language::Language;
use crate::judge::verdict::{Item, ItemOutcome, Outcome, Quantity, Side, Verdict};
use crate::order::{Order, OrderedLens};
use crate::parsers::reading::{Base, Eye, Lens, Mode, PrismPart, Reading, ReferenceLine, Vertex};
use crate::parsers::units::{Degree, Dioptre};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Where the limit stands in a bar, in the units of its drawing.
const LIMIT_AT: u64 = 90;
/// Where a bar ends.
const BAR_ENDS: u64 = 120;

/// How much of a limit is used, drawn from the left. What is beyond the limit is drawn apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bar {
    /// How long the part within the limit is.
    pub within: u64,
    /// How long the part beyond it is.
    pub beyond: u64,
}

/// One quantity in a table.
#[derive(Debug, Clone)]
pub struct Row {
    /// What.
    pub name: &'static str,
    /// What was ordered.
    pub ordered: String,
    /// What was measured.
    pub measured: String,
    /// Measured less ordered.
    pub off: String,
    /// The limit, with its unit.
    pub limit: String,
    /// How much of the limit is used, in percent.
    pub used: String,
    /// The same as a bar.
    pub bar: Option<Bar>,
    /// How it came out, as its mark and class are called.
    pub mark: &'static str,
    /// How it came out, in words.
    pub outcome: &'static str,
    /// By which clause.
    pub clause: String,
    /// What a reader has to know to follow it.
    pub notes: Vec<String>,
}

/// The quantities of one lens, or of the pair.
#[derive(Debug, Clone)]
pub struct Table {
    /// Which, for ids.
    pub side: Side,
    /// Which, in words.
    pub name: &'static str,
    /// What was ordered, as it was written.
    pub ordered: String,
    /// The quantities.
    pub rows: Vec<Row>,
}

/// How a job stands.
#[derive(Debug, Clone)]
pub struct Stand {
    /// The outcome, as its mark and class are called.
    pub mark: &'static str,
    /// The outcome in one word.
    pub word: &'static str,
    /// Why, in one line.
    pub why: String,
    /// What is still missing, a line for each lens.
    pub missing: Vec<String>,
}

impl Stand {
    /// Why, or what is missing, in one line.
    pub fn in_short(&self) -> String {
        if self.why.is_empty() { self.missing.join("; ") } else { self.why.clone() }
    }
}

impl Language {
    /// A quantity in words.
    pub fn quantity(&self, quantity: Quantity) -> &'static str {
        match quantity {
            Quantity::SphereMeridian => self.sphere_meridian,
            Quantity::SecondMeridian => self.second_meridian,
            Quantity::Cylinder => self.cylinder,
            Quantity::Axis => self.axis,
            Quantity::Addition => self.addition,
            Quantity::SecondAddition => self.second_addition,
            Quantity::PrismHorizontal => self.prism_horizontal,
            Quantity::PrismVertical => self.prism_vertical,
            Quantity::Prism => self.prism,
            Quantity::PrismImbalanceHorizontal => self.imbalance_horizontal,
            Quantity::PrismImbalanceVertical => self.imbalance_vertical,
            Quantity::Pd => self.pd,
            Quantity::NearPd => self.near_pd,
            Quantity::SegmentHeight => self.segment_height,
            Quantity::ReferenceHeight => self.reference_height,
        }
    }

    /// A lens, or the pair, in a word.
    pub fn side(&self, side: Side) -> &'static str {
        match side {
            Side::Right => self.right,
            Side::Left => self.left,
            Side::Pair => self.pair,
        }
    }

    /// An outcome in one word.
    pub fn outcome(&self, outcome: Outcome) -> &'static str {
        match outcome {
            Outcome::Pass => self.pass,
            Outcome::Fail => self.fail,
            Outcome::Borderline => self.borderline,
            Outcome::Incomplete => self.incomplete,
        }
    }

    /// How a verdict stands in a few words: a held one shows no outcome, for nobody may act on it.
    pub fn standing(&self, outcome: Outcome, held: Option<&str>) -> &'static str {
        if held.is_some() { self.not_in_order } else { self.outcome(outcome) }
    }

    fn item_outcome(&self, outcome: ItemOutcome) -> &'static str {
        match outcome {
            ItemOutcome::Pass => self.pass,
            ItemOutcome::Fail => self.fail,
            ItemOutcome::Borderline => self.borderline,
            ItemOutcome::NotMeasured => self.not_measured,
            ItemOutcome::NotJudged => self.not_judged,
        }
    }

    /// A unit as people write it.
    pub fn unit<'u>(&self, unit: &'u str) -> &'u str {
        match unit {
            "deg" => "\u{b0}",
            "prism-D" => "\u{394}",
            other => other,
        }
    }

    pub(super) fn with_unit(&self, number: String, unit: &str) -> String {
        let gap = if unit == "deg" { "" } else { "\u{a0}" };
        format!("{number}{gap}{}", self.unit(unit))
    }

    /// A value of an item. A prism's sign is said as its base.
    fn value(&self, item: &Item, value: Option<Decimal>) -> String {
        let Some(value) = value else { return "\u{2013}".to_owned() };
        let (positive, negative) = match item.quantity {
            Quantity::PrismHorizontal => (self.base_in, self.base_out),
            Quantity::PrismVertical => (self.base_up, self.base_down),
            _ if item.unit == "D" => return self.signed(value, &item.unit),
            _ => return self.number(value, &item.unit),
        };
        let base = if value.is_zero() {
            ""
        } else if value.is_sign_positive() {
            positive
        } else {
            negative
        };
        format!("{} {base}", self.number(value.abs(), &item.unit)).trim_end().to_owned()
    }

    fn row(&self, item: &Item) -> Row {
        let used = match (item.deviation, item.limit) {
            (Some(deviation), Some(limit)) if !limit.is_zero() => Some(deviation.abs() / limit),
            _ => None,
        };
        Row {
            name: self.quantity(item.quantity),
            ordered: self.value(item, item.ordered),
            measured: self.value(item, item.measured),
            off: item.deviation.map_or_else(String::new, |off| self.signed(off, &item.unit)),
            limit: item
                .limit
                .map_or_else(String::new, |limit| self.with_unit(self.number(limit, &item.unit), &item.unit)),
            used: used
                .map_or_else(String::new, |used| format!("{}\u{a0}%", (used * Decimal::ONE_HUNDRED).round())),
            bar: used.map(bar),
            mark: mark(item.outcome),
            outcome: self.item_outcome(item.outcome),
            clause: item.clause.clone(),
            notes: item.notes.clone(),
        }
    }

    /// A verdict as tables: right, left, pair; those of which it says something.
    pub fn tables(&self, order: Option<&Order>, verdict: &Verdict) -> Vec<Table> {
        let table = |side: Side| {
            let rows: Vec<Row> =
                verdict.items.iter().filter(|item| item.eye == side).map(|item| self.row(item)).collect();
            let eye = match side {
                Side::Right => Some(Eye::Right),
                Side::Left => Some(Eye::Left),
                Side::Pair => None,
            };
            let ordered = order.zip(eye).and_then(|(order, eye)| order.lens_for(eye));
            let ordered = ordered.map_or_else(String::new, |lens| self.ordered_lens(lens));
            Table { side, name: self.side(side), ordered, rows }
        };
        [Side::Right, Side::Left, Side::Pair]
            .map(table)
            .into_iter()
            .filter(|table| !table.rows.is_empty())
            .collect()
    }

    /// How a job stands by a verdict.
    pub fn stand(&self, verdict: &Verdict) -> Stand {
        let of = |outcome: ItemOutcome| verdict.items.iter().filter(move |item| item.outcome == outcome);
        let beyond = |outcome| of(outcome).map(|item| self.beyond(item)).collect::<Vec<_>>().join("; ");
        let why = match verdict.outcome {
            _ if verdict.held.is_some() => verdict.held.clone().unwrap_or_default(),
            Outcome::Pass => self.all_within.to_owned(),
            Outcome::Fail => beyond(ItemOutcome::Fail),
            Outcome::Borderline => beyond(ItemOutcome::Borderline),
            Outcome::Incomplete => {
                let uncovered: Vec<String> = of(ItemOutcome::NotJudged)
                    .filter(|item| item.ordered.is_some() && item.measured.is_some())
                    .map(|item| format!("{} {}", self.side(item.eye), self.quantity(item.quantity)))
                    .collect();
                match uncovered.is_empty() {
                    true => String::new(),
                    false => format!("{}: {}", self.not_covered, uncovered.join(", ")),
                }
            }
        };
        Stand {
            mark: mark_of(verdict.outcome, verdict.held.as_deref()),
            word: self.standing(verdict.outcome, verdict.held.as_deref()),
            why,
            missing: self.missing(verdict),
        }
    }

    fn beyond(&self, item: &Item) -> String {
        let row = self.row(item);
        let side = self.side(item.eye);
        let off = item
            .deviation
            .map_or_else(String::new, |off| self.with_unit(self.signed(off, &item.unit), &item.unit));
        format!("{side} {}: {} {off}, {} {}", row.name, self.off_by, self.limit_word, row.limit)
    }

    /// What was ordered and not measured. What a pair lacks follows from a lens that is missing.
    fn missing(&self, verdict: &Verdict) -> Vec<String> {
        let lacks = |item: &Item| item.ordered.is_some() && item.outcome == ItemOutcome::NotMeasured;
        // No prism ordered is zero ordered, which nobody has to measure unless the rules say so.
        let has_to_be = |item: &Item| {
            lacks(item) && item.ordered.is_some_and(|ordered| !ordered.is_zero() || !is_prism(item))
        };
        let named = |is_missing: &dyn Fn(&Item) -> bool| {
            let of = |side: Side| {
                let items = verdict.items.iter().filter(|item| item.eye == side && is_missing(item));
                let names: Vec<&str> = items.map(|item| self.quantity(item.quantity)).collect();
                (!names.is_empty()).then(|| format!("{}: {}", self.side(side), names.join(", ")))
            };
            let lines: Vec<String> = [Side::Right, Side::Left].into_iter().filter_map(of).collect();
            if lines.is_empty() { of(Side::Pair).into_iter().collect() } else { lines }
        };
        let missing = named(&has_to_be);
        if missing.is_empty() && verdict.outcome == Outcome::Incomplete { named(&lacks) } else { missing }
    }

    /// A lens as it was ordered, in one line.
    pub fn ordered_lens(&self, lens: &OrderedLens) -> String {
        self.measured_lens(&Lens::from(lens))
    }

    /// A lens as it was measured, in one line.
    pub fn measured_lens(&self, lens: &Lens) -> String {
        let mut words = self.power(lens.sphere, lens.cylinder, lens.axis);
        let mut word = |name: &str, value: Option<Decimal>, unit: &str| {
            words.extend(value.map(|value| self.named(name, value, unit)));
        };
        word(self.addition_short, lens.addition.map(Dioptre::value), "D");
        word(self.second_addition_short, lens.second_addition.map(Dioptre::value), "D");
        word(self.pd, lens.pd.map(|v| v.value()), "mm");
        word(self.near_pd, lens.near_pd.map(|v| v.value()), "mm");
        word(self.segment_short, lens.segment_height.map(|v| v.value()), "mm");
        word(self.reference_short, lens.reference_height.map(|v| v.value()), "mm");
        word(self.transmittance, lens.transmittance.map(|v| v.value()), "%");
        words.extend(lens.prism.as_deref().map(|prism| self.prism_of(prism)));
        words.extend(lens.mode.map(|mode| self.mode(mode).to_owned()));
        words.extend(
            lens.vertex.filter(|vertex| *vertex == Vertex::Front).map(|_| self.front_vertex.to_owned()),
        );
        words.join("  ")
    }

    /// Every lens of a reading, each with its eye in words.
    pub fn measured(&self, reading: &Reading) -> Vec<(&'static str, String)> {
        let lenses =
            [(self.right, &reading.right), (self.left, &reading.left), (self.no_eye, &reading.unspecified)];
        let there = lenses.into_iter().filter_map(|(name, lens)| lens.as_ref().map(|lens| (name, lens)));
        there.map(|(name, lens)| (name, self.measured_lens(lens))).collect()
    }

    /// The same in one line.
    pub fn measured_line(&self, reading: &Reading) -> String {
        let lenses = self.measured(reading).into_iter().map(|(name, lens)| format!("{name} {lens}"));
        let faults = reading.faults.iter().map(|fault| format!("{} {fault}", self.fault));
        lenses.chain(faults).collect::<Vec<_>>().join("; ")
    }

    /// Everything that a reading says, a line each: what it is called and what it is.
    pub fn reading_in_full(&self, reading: &Reading) -> Vec<(String, String)> {
        let mut lines: Vec<(String, String)> = Vec::new();
        let mut line =
            |name: &str, value: Option<String>| lines.extend(value.map(|value| (name.to_owned(), value)));
        line(self.job, reading.job.as_ref().map(ToString::to_string));
        for (name, lens) in self.measured(reading) {
            line(name, Some(lens));
        }
        for (name, lens) in
            [(self.right, &reading.right), (self.left, &reading.left), (self.no_eye, &reading.unspecified)]
        {
            let sent = lens.as_ref().and_then(|lens| lens.as_sent);
            let sent = sent.map(|sent| self.power(sent.sphere, sent.cylinder, sent.axis).join("  "));
            line(&format!("{name}, {}", self.as_sent), sent);
        }
        line(self.operator, reading.operator.clone());
        line(self.serial, reading.serial.clone());
        line(self.instrument_time, reading.instrument_time.clone());
        line(
            self.reference_line,
            reading.reference_line.map(|line| match line {
                ReferenceLine::D => "d".to_owned(),
                ReferenceLine::E => "e".to_owned(),
            }),
        );
        line(self.fault, (!reading.faults.is_empty()).then(|| reading.faults.join(", ")));
        line(self.part_checksum, reading.checksum_verified.then(|| self.checksum_right.to_owned()));
        for (name, value) in &reading.kept {
            line(name, Some(value.clone()));
        }
        lines
    }

    fn mode(&self, mode: Mode) -> &'static str {
        match mode {
            Mode::Distance => self.mode_distance,
            Mode::Near => self.mode_near,
            Mode::Progressive => self.mode_progressive,
        }
    }

    fn named(&self, name: &str, value: Decimal, unit: &str) -> String {
        match unit {
            "D" => format!("{name} {}", self.signed(value, unit)),
            _ => format!("{name} {}", self.number(value, unit)),
        }
    }

    /// Sphere, cylinder and axis as the trade writes them.
    fn power(&self, sphere: Option<Dioptre>, cylinder: Option<Dioptre>, axis: Option<Degree>) -> Vec<String> {
        let mut words = Vec::new();
        words.extend(sphere.map(|sphere| self.signed(sphere.value(), "D")));
        words.extend(cylinder.map(|cylinder| self.signed(cylinder.value(), "D")));
        words.extend(axis.map(|axis| format!("\u{d7} {}", self.number(axis.value(), "deg"))));
        words
    }

    fn prism_of(&self, parts: &[PrismPart]) -> String {
        let part = |part: &PrismPart| {
            let amount = self.number(part.amount.value(), "prism-D");
            let base = match part.base {
                Base::In => self.base_in.to_owned(),
                Base::Out => self.base_out.to_owned(),
                Base::Up => self.base_up.to_owned(),
                Base::Down => self.base_down.to_owned(),
                Base::Towards(angle) => format!("{}\u{b0}", self.number(angle.value(), "deg")),
            };
            format!("{amount} {base}")
        };
        let none =
            if parts.is_empty() { self.none.to_owned() } else { self.number(Decimal::ZERO, "prism-D") };
        let parts: Vec<String> = parts.iter().filter(|part| !part.amount.is_zero()).map(part).collect();
        format!("\u{394} {}", if parts.is_empty() { none } else { parts.join(" + ") })
    }
}

fn is_prism(item: &Item) -> bool {
    use Quantity::{Prism, PrismHorizontal, PrismImbalanceHorizontal, PrismImbalanceVertical, PrismVertical};
    let prism = [Prism, PrismHorizontal, PrismVertical, PrismImbalanceHorizontal, PrismImbalanceVertical];
    prism.contains(&item.quantity)
}

/// The mark of an item's outcome.
fn mark(outcome: ItemOutcome) -> &'static str {
    match outcome {
        ItemOutcome::Pass => "pass",
        ItemOutcome::Fail => "fail",
        ItemOutcome::Borderline => "near",
        ItemOutcome::NotMeasured => "open",
        ItemOutcome::NotJudged => "none",
    }
}

/// The mark of an outcome.
pub fn mark_of(outcome: Outcome, held: Option<&str>) -> &'static str {
    match outcome {
        _ if held.is_some() => "none",
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
        Outcome::Borderline => "near",
        Outcome::Incomplete => "open",
    }
}

fn bar(used: Decimal) -> Bar {
    // Rounded down within the limit and up beyond it: a bar never shows a fail as a pass.
    let length = used * Decimal::from(LIMIT_AT);
    if used <= Decimal::ONE {
        return Bar { within: length.to_u64().unwrap_or(LIMIT_AT).min(LIMIT_AT), beyond: 0 };
    }
    let beyond = (length.ceil().to_u64().unwrap_or(BAR_ENDS)).saturating_sub(LIMIT_AT);
    Bar { within: LIMIT_AT, beyond: beyond.clamp(3, BAR_ENDS - LIMIT_AT) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{RuleSet, judge};
    use jiff::tz::TimeZone;

    fn english() -> Language {
        Language::new("en", TimeZone::UTC)
    }

    fn verdict(measured: &str) -> (Order, Verdict) {
        let order: Order = serde_json::from_str(
            r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#,
        )
        .unwrap();
        let verdict = judge(
            &order,
            &serde_json::from_str(measured).unwrap(),
            &RuleSet::built_in("ansi-z80.1-2015").unwrap(),
        );
        (order, verdict)
    }

    #[test]
    fn bars_end_at_the_limit_and_show_what_is_beyond_it() {
        let d = |text: &str| text.parse::<Decimal>().unwrap();
        assert_eq!(bar(d("0")), Bar { within: 0, beyond: 0 });
        assert_eq!(bar(d("1")), Bar { within: 90, beyond: 0 });
        assert_eq!(bar(d("1.0001")), Bar { within: 90, beyond: 3 });
        assert_eq!(bar(d("1.2")), Bar { within: 90, beyond: 18 });
        assert_eq!(bar(d("1000000000")), Bar { within: 90, beyond: 30 });
    }

    #[test]
    fn a_verdict_becomes_tables_and_a_reason() {
        let (order, failed) = verdict(r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":110}}"#);
        let tables = english().tables(Some(&order), &failed);
        assert_eq!((tables.len(), tables[0].ordered.as_str()), (1, "\u{2212}1.25  \u{2212}0.50  \u{d7} 90"));
        let axis = tables[0].rows.iter().find(|row| row.name == "axis").unwrap();
        assert_eq!((axis.ordered.as_str(), axis.measured.as_str(), axis.off.as_str()), ("90", "110", "+20"));
        assert_eq!((axis.mark, axis.limit.as_str()), ("fail", "7\u{b0}"));
        assert_eq!(english().stand(&failed).why, "Right axis: off by +20\u{b0}, limit 7\u{b0}");
    }

    #[test]
    fn what_is_missing_is_named() {
        let (_, open) = verdict(r#"{"right":{"sphere":-1.25}}"#);
        let stand = english().stand(&open);
        assert_eq!(stand.mark, "open");
        assert_eq!(stand.missing, ["Right: sphere meridian, cylinder, axis"]);
        let (_, whole) = verdict(r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#);
        assert_eq!((english().stand(&whole).mark, english().stand(&whole).missing), ("pass", Vec::new()));
    }

    #[test]
    fn a_held_verdict_shows_no_outcome() {
        let (_, mut passed) = verdict(r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#);
        assert_eq!(passed.outcome, Outcome::Pass);
        passed.held = Some("focimeter-1 was never checked".to_owned());
        let stand = english().stand(&passed);
        assert_eq!((stand.mark, stand.word), ("none", "Instrument not in order"));
        assert_eq!(stand.why, "focimeter-1 was never checked");
    }
}
