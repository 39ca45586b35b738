//! What stands on a ticket: everything in words, nothing measured or judged again.
//!
//! Numbers are written with U+2212 as minus. Where words must not be parted, U+00A0 stands between.

use crate::bench::entry::{Entry, Numbered, Seq};
use crate::judge::verdict::{Item, ItemOutcome, Outcome, Quantity, Side, Verdict};
use crate::judge::words;
use crate::order::{LensKind, Order, OrderedLens};
use crate::parsers::notation::shown;
use crate::parsers::reading::{Eye, JobNumber};
use jiff::tz::TimeZone;
use rust_decimal::Decimal;
use std::collections::BTreeSet;

/// The line at the foot of every ticket.
pub const CAUTION: &str =
    "Measurements support inspection and do not replace it; the responsible licensed person decides.";

/// What stands on a ticket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ticket {
    /// The station's name.
    pub station: String,
    /// The job.
    pub job: JobNumber,
    /// What kind of lens was ordered, and whether it is mounted.
    pub kind: Option<String>,
    /// How it came out, in capitals.
    pub word: &'static str,
    /// Whether the lenses may go on: a pass.
    pub is_pass: bool,
    /// Who overrode it and why, in two parts.
    pub overridden: Option<[String; 2]>,
    /// Why the verdict is held back.
    pub held: Option<String>,
    /// What is out of its limit or missing.
    pub findings: Vec<Finding>,
    /// What was ordered and measured: right, left, pair.
    pub tables: Vec<Table>,
    /// The rule set's name.
    pub rules: String,
    /// The instruments that a value came from; empty where none is on record.
    pub instruments: String,
    /// When it was judged, in the station's time.
    pub judged: String,
    /// The verdict's entry in the ledger.
    pub entry: Seq,
}

/// One quantity that keeps a job from passing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Which lens and quantity.
    pub what: String,
    /// How far off, and its limit; or what is missing.
    pub how: String,
    /// Measured for ordered.
    pub values: Option<String>,
    /// The clause that was applied.
    pub clause: Option<String>,
}

impl Finding {
    /// Measured for ordered, and the clause.
    pub fn by(&self) -> Option<String> {
        let parts: Vec<&str> = self.values.iter().chain(&self.clause).map(String::as_str).collect();
        (!parts.is_empty()).then(|| parts.join("; "))
    }
}

/// The quantities of one lens, or of the pair.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Which.
    pub side: Side,
    /// How the power was written in the order, where that is another form.
    pub written: Option<String>,
    /// The quantities, in the trade's order.
    pub rows: Vec<Row>,
}

/// A quantity of a lens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// What.
    pub quantity: Quantity,
    /// Its name, at most 12 characters.
    pub name: &'static str,
    /// What was ordered; empty where nothing was.
    pub ordered: String,
    /// What was measured; empty where nothing was.
    pub measured: String,
    /// Whether it is out of its limit.
    pub is_out: bool,
}

impl Ticket {
    /// The ticket of a verdict, with what the job's history says of it.
    pub fn new(
        station: &str,
        timezone: &TimeZone,
        numbered: &Numbered,
        verdict: &Verdict,
        history: &[Numbered],
    ) -> Self {
        let find = |seq: u64| history.iter().find(|other| other.seq.0 == seq).map(|other| &other.entry);
        let basis = verdict.basis.as_ref();
        let order = basis.and_then(|basis| match find(basis.order)? {
            Entry::Order(order) => Some(&order.order),
            _ => None,
        });
        let readings = basis.into_iter().flat_map(|basis| &basis.readings).filter_map(|seq| find(*seq));
        let instruments: BTreeSet<&str> = readings
            .filter_map(|entry| match entry {
                Entry::Reading(reading) => Some(reading.instrument.as_str()),
                _ => None,
            })
            .collect();
        let instruments: Vec<_> = instruments.into_iter().map(shown).collect();
        let overridden = history.iter().rev().find_map(|other| match &other.entry {
            Entry::Override(signed) if signed.about == numbered.seq => {
                let who = format!("OVERRIDDEN by {} ({})", shown(&signed.by), signed.role);
                Some([who, shown(&signed.reason).into_owned()])
            }
            _ => None,
        });
        let judged = numbered.time.to_zoned_datetime(timezone.clone());
        let judged = judged.strftime("%Y-%m-%d %H:%M:%S").to_string();
        let is_held = verdict.held.is_some();
        Self {
            station: shown(station).into_owned(),
            job: verdict.job.clone(),
            kind: order.map(kind),
            word: word(verdict),
            is_pass: !is_held && verdict.outcome == Outcome::Pass,
            overridden,
            held: verdict.held.as_deref().map(|why| shown(why).into_owned()),
            // Nobody may act on how a held verdict came out.
            findings: if is_held { Vec::new() } else { findings(verdict) },
            tables: tables(verdict, order),
            rules: shown(&verdict.rules).into_owned(),
            instruments: instruments.join(", "),
            judged,
            entry: numbered.seq,
        }
    }

    /// How the verdict is found again and what it rests on, each with its name.
    pub fn facts(&self) -> Vec<(&'static str, String)> {
        let mut facts = vec![("Rules", self.rules.clone())];
        if !self.instruments.is_empty() {
            facts.push(("Instrument", self.instruments.clone()));
        }
        facts.push(("Judged", self.judged.clone()));
        facts.push(("Entry", format!("{} of the ledger", self.entry)));
        facts
    }
}

fn word(verdict: &Verdict) -> &'static str {
    match verdict.outcome {
        _ if verdict.held.is_some() => "INSTRUMENT NOT IN ORDER",
        Outcome::Pass => "PASS",
        Outcome::Fail => "FAIL",
        Outcome::Borderline => "BORDERLINE",
        Outcome::Incomplete => "INCOMPLETE",
    }
}

fn kind(order: &Order) -> String {
    let lens = match order.lens {
        LensKind::SingleVision => "single vision",
        LensKind::Multifocal => "multifocal",
        LensKind::Progressive => "progressive",
    };
    format!("{lens}, {}", if order.mounted { "mounted" } else { "uncut" })
}

/// A number with its sign, as powers and deviations are written.
fn signed(value: Decimal, unit: &str) -> String {
    let sign = if value.is_sign_negative() && !value.is_zero() { '\u{2212}' } else { '+' };
    format!("{sign}{}", words::number(value.abs(), unit))
}

fn with_unit(number: String, unit: &str) -> String {
    match unit {
        "deg" => format!("{number}\u{b0}"),
        unit => format!("{number}\u{a0}{}", words::unit(unit)),
    }
}

/// A value as it stands in a table, where a unit goes without saying unless it is not the usual one.
fn value(quantity: Quantity, value: Decimal, unit: &str) -> String {
    let is_usual = is_prism(quantity) == (unit == "prism-D");
    let number = match unit {
        "D" => signed(value, unit),
        _ => words::number(value, unit).replace('-', "\u{2212}"),
    };
    match base(quantity, value) {
        Some(base) => format!("{}\u{a0}{base}", words::number(value.abs(), unit)),
        None if is_usual => number,
        None => with_unit(number, unit),
    }
}

/// The same with its unit.
fn value_with_unit(quantity: Quantity, value: Decimal, unit: &str) -> String {
    match base(quantity, value) {
        Some(base) => format!("{}\u{a0}{base}", with_unit(words::number(value.abs(), unit), unit)),
        None if unit == "D" => with_unit(signed(value, unit), unit),
        None => with_unit(words::number(value, unit).replace('-', "\u{2212}"), unit),
    }
}

/// Where the base of a prism of one lens lies.
fn base(quantity: Quantity, value: Decimal) -> Option<&'static str> {
    match quantity {
        _ if value.is_zero() => None,
        Quantity::PrismHorizontal => Some(if value.is_sign_positive() { "in" } else { "out" }),
        Quantity::PrismVertical => Some(if value.is_sign_positive() { "up" } else { "down" }),
        _ => None,
    }
}

/// A name of at most 12 characters.
fn name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::SphereMeridian => "sphere",
        Quantity::SecondMeridian => "2nd meridian",
        Quantity::Cylinder => "cylinder",
        Quantity::Axis => "axis",
        Quantity::Addition => "addition",
        Quantity::SecondAddition => "2nd addition",
        Quantity::Prism => "prism",
        Quantity::PrismHorizontal => "prism horiz.",
        Quantity::PrismVertical => "prism vert.",
        Quantity::PrismImbalanceHorizontal => "imbalance H",
        Quantity::PrismImbalanceVertical => "imbalance V",
        Quantity::Pd => "PD",
        Quantity::NearPd => "near PD",
        Quantity::SegmentHeight => "segment ht",
        Quantity::ReferenceHeight => "reference ht",
    }
}

fn is_prism(quantity: Quantity) -> bool {
    use Quantity::*;
    matches!(
        quantity,
        Prism | PrismHorizontal | PrismVertical | PrismImbalanceHorizontal | PrismImbalanceVertical
    )
}

/// No prism ordered is zero ordered, of which nothing need be said where nothing was measured.
fn goes_without_saying(item: &Item) -> bool {
    item.measured.is_none() && item.ordered.is_none_or(|ordered| ordered.is_zero() && is_prism(item.quantity))
}

fn tables(verdict: &Verdict, order: Option<&Order>) -> Vec<Table> {
    let row = |item: &Item| Row {
        quantity: item.quantity,
        name: name(item.quantity),
        ordered: item.ordered.map_or_else(String::new, |it| value(item.quantity, it, &item.unit)),
        measured: item.measured.map_or_else(String::new, |it| value(item.quantity, it, &item.unit)),
        is_out: verdict.held.is_none() && item.outcome == ItemOutcome::Fail,
    };
    let table = |side: Side| {
        let eye = match side {
            Side::Right => Some(Eye::Right),
            Side::Left => Some(Eye::Left),
            Side::Pair => None,
        };
        let lens = order.zip(eye).and_then(|(order, eye)| order.lens_for(eye));
        let items = verdict.items.iter().filter(|item| item.eye == side && !goes_without_saying(item));
        Table { side, written: lens.and_then(written), rows: items.map(row).collect() }
    };
    [Side::Right, Side::Left, Side::Pair].map(table).into_iter().filter(|it| !it.rows.is_empty()).collect()
}

/// The power as it was written, where it was in plus cylinder: what is judged is in minus.
fn written(lens: &OrderedLens) -> Option<String> {
    let cylinder = lens.cylinder?.value();
    if cylinder.is_zero() || cylinder.is_sign_negative() {
        return None;
    }
    let sphere = lens.sphere.map(|sphere| signed(sphere.value(), "D"));
    let axis = lens.axis.map(|axis| format!("\u{d7}\u{a0}{}", words::number(axis.value(), "deg")));
    let parts = sphere.into_iter().chain([signed(cylinder, "D")]).chain(axis);
    Some(parts.collect::<Vec<_>>().join("\u{a0}"))
}

fn findings(verdict: &Verdict) -> Vec<Finding> {
    let of = |outcome: ItemOutcome| verdict.items.iter().filter(move |item| item.outcome == outcome);
    let beyond = of(ItemOutcome::Fail).map(|item| (item.eye, off(item, ""))).chain(
        // Of a fail, what is only near a limit is not the reason.
        of(ItemOutcome::Borderline)
            .filter(|_| verdict.outcome != Outcome::Fail)
            .map(|item| (item.eye, off(item, "borderline: "))),
    );
    let mut found: Vec<(Side, Finding)> = beyond.collect();
    // Whoever looks for a lens finds all of it in one place.
    found.sort_by_key(|(side, _)| *side);
    let mut found: Vec<Finding> = found.into_iter().map(|(_, finding)| finding).collect();
    if verdict.outcome == Outcome::Incomplete {
        let missing = |item: &&Item| item.outcome == ItemOutcome::NotMeasured && item.ordered.is_some();
        let mut lacking = lacking(verdict, "not measured", |item| {
            missing(item) && item.eye != Side::Pair && !goes_without_saying(item)
        });
        if lacking.is_empty() {
            // What a pair lacks follows from a lens that is missing, and goes without saying.
            lacking = self::lacking(verdict, "not measured", missing);
        }
        found.extend(lacking);
        found.extend(self::lacking(verdict, "not covered by this rule set", |item| {
            item.outcome == ItemOutcome::NotJudged && item.ordered.is_some() && item.measured.is_some()
        }));
    }
    found
}

/// What is missing, a line for each lens.
fn lacking(verdict: &Verdict, how: &str, is_lacking: impl Fn(&&Item) -> bool) -> Vec<Finding> {
    let of = |side: Side| {
        let items = verdict.items.iter().filter(|item| item.eye == side).filter(&is_lacking);
        let names: Vec<&str> = items.map(|item| words::quantity(item.quantity)).collect();
        let how = format!("{} {how}", names.join(", "));
        (!names.is_empty()).then(|| Finding {
            what: words::side(side).to_owned(),
            how,
            values: None,
            clause: None,
        })
    };
    [Side::Right, Side::Left, Side::Pair].into_iter().filter_map(of).collect()
}

fn what(item: &Item) -> String {
    format!("{} {}", words::side(item.eye), words::quantity(item.quantity))
}

fn off(item: &Item, how: &str) -> Finding {
    let number = |it: Option<Decimal>| {
        it.map_or_else(|| "?".to_owned(), |it| value_with_unit(item.quantity, it, &item.unit))
    };
    let deviation =
        item.deviation.map_or_else(String::new, |it| with_unit(signed(it, &item.unit), &item.unit));
    let limit =
        item.limit.map_or_else(String::new, |it| with_unit(words::number(it, &item.unit), &item.unit));
    Finding {
        what: what(item),
        how: format!("{how}off\u{a0}by\u{a0}{deviation}, limit\u{a0}{limit}"),
        values: Some(format!("{} for {}", number(item.measured), number(item.ordered))),
        clause: Some(shown(&item.clause).into_owned()),
    }
}
