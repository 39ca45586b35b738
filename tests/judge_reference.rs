//! Every row of the published tolerance tables that can be checked: a value on the limit
//! passes and one just beyond it fails, in plus and in minus writing of order and reading.
//! Each row names its source, and says where a figure is from memory.

use fociline::judge::verdict::{ItemOutcome, Outcome, Quantity, Side};
use fociline::judge::{RuleSet, judge};
use fociline::optics::SpheroCylinder;
use fociline::order::{LensKind, Order};
use fociline::parsers::reading::Reading;
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
struct Row {
    id: u32,
    band: String,
    /// The kinds of lens, mounted or not, for which the row holds.
    lens: Vec<LensKind>,
    mounted: Vec<bool>,
    order: Value,
    on_limit: Value,
    beyond: Value,
    eye: Side,
    quantity: Quantity,
    #[serde(with = "rust_decimal::serde::arbitrary_precision")]
    limit: Decimal,
    unit: String,
    source: String,
    status: String,
    /// Whether the whole verdict passes on the limit; a greatest cylinder error can be more
    /// than the meridians allow.
    whole: bool,
}

impl Row {
    fn order(&self, lens: LensKind, mounted: bool) -> Order {
        let mut order = json!({"job": "4471", "lens": lens, "mounted": mounted});
        for (eye, lens) in self.order.as_object().unwrap() {
            order[eye] = lens.clone();
        }
        serde_json::from_value(order).unwrap()
    }
}

fn reading(value: &Value) -> Reading {
    serde_json::from_value(value.clone()).unwrap()
}

macro_rules! transposed {
    ($lens:expr) => {
        if let Some((sphere, cylinder)) = $lens.sphere.zip($lens.cylinder) {
            let other = SpheroCylinder::new(sphere, cylinder, $lens.axis).transposed();
            ($lens.sphere, $lens.cylinder) = (Some(other.sphere()), Some(other.cylinder()));
            $lens.axis = other.axis();
        }
    };
}

fn in_plus(order: &Order) -> Order {
    let mut order = order.clone();
    for lens in [&mut order.right, &mut order.left].into_iter().flatten() {
        transposed!(lens);
    }
    order
}

fn reading_in_plus(reading: &Reading) -> Reading {
    let mut reading = reading.clone();
    for lens in reading.lenses_mut() {
        transposed!(lens);
    }
    reading
}

fn check(name: &str, text: &str, at_least: usize) {
    let rules = RuleSet::built_in(name).unwrap();
    let rows: Vec<Row> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert!(rows.len() >= at_least, "{} rows", rows.len());
    for row in &rows {
        for &lens in &row.lens {
            for &mounted in &row.mounted {
                let order = row.order(lens, mounted);
                check_row(&rules, row, &order, &row.on_limit, ItemOutcome::Pass);
                check_row(&rules, row, &order, &row.beyond, ItemOutcome::Fail);
            }
        }
    }
}

fn check_row(rules: &RuleSet, row: &Row, order: &Order, measured: &Value, expected: ItemOutcome) {
    let what = format!("{} row {} ({}; {}; {})", rules.name(), row.id, row.band, row.source, row.status);
    assert_eq!(order.validate(), [], "{what}");
    let measured = reading(measured);
    let verdict = judge(order, &measured, rules);
    let item = verdict
        .items
        .iter()
        .find(|item| item.eye == row.eye && item.quantity == row.quantity)
        .unwrap_or_else(|| panic!("{what}: no such item in {verdict:#?}"));
    assert_eq!(item.outcome, expected, "{what}: {item:#?}");
    assert_eq!(item.limit, Some(row.limit), "{what}");
    assert_eq!(item.unit, row.unit, "{what}");
    if expected == ItemOutcome::Fail {
        assert_eq!(verdict.outcome, Outcome::Fail, "{what}");
    } else if row.whole {
        assert_eq!(verdict.outcome, Outcome::Pass, "{what}: {verdict:#?}");
    }
    for (order, measured) in [
        (in_plus(order), measured.clone()),
        (order.clone(), reading_in_plus(&measured)),
        (in_plus(order), reading_in_plus(&measured)),
    ] {
        assert_eq!(judge(&order, &measured, rules), verdict, "{what}: in plus writing");
    }
}

#[test]
fn ansi_z80_1_2015() {
    let text = include_str!("../fixtures/reference/tolerance_checks_ansi-z80.1-2015.jsonl");
    check("ansi-z80.1-2015", text, 150);
}

#[test]
fn iso_21987_2017() {
    let text = include_str!("../fixtures/reference/tolerance_checks_iso-21987-2017.jsonl");
    check("iso-21987-2017", text, 250);
}

#[test]
fn njac_13_35_5_2() {
    let text = include_str!("../fixtures/reference/tolerance_checks_njac-13-35-5.2.jsonl");
    check("njac-13-35-5.2", text, 50);
}
