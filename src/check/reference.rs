//! Reference lenses (ISO 9342-1), and an instrument checked against one.

use super::difference::power;
use super::digits;
use super::limits::{Limits, Row};
use crate::judge::verdict::{ItemOutcome, Quantity};
use crate::optics::lens::axis_difference;
use crate::optics::normal::is_within_reach;
use crate::optics::{Prism, SpheroCylinder, rounded};
use crate::order::OrderedLens;
use crate::order::validate::Range;
use crate::parsers::reading::{Eye, JobNumber, Lens, PrismPart, Reading};
use crate::parsers::units::{Degree, Dioptre, PrismDioptre};
use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize};
use serde_with::skip_serializing_none;
use std::borrow::Cow;
use std::fmt;

/// How well certified powers may be known: no lens of which less is known checks an instrument (this
/// project's own figure).
const UNCERTAINTY: Range = Range::new(0, 1, "D");

/// A lens of known power. Its name is written like a job number, and is scanned like one: a
/// reading that belongs to it is a check of the instrument.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceLens {
    /// Its name at the bench, as on its barcode.
    pub name: JobNumber,
    /// Its maker's serial number.
    pub serial: String,
    /// Certified sphere, dioptres.
    pub sphere: Dioptre,
    /// Certified cylinder, dioptres, of either sign.
    pub cylinder: Option<Dioptre>,
    /// Certified axis, degrees; needed beside a cylinder.
    pub axis: Option<Degree>,
    /// Certified prism; absent where prism is not checked with this lens.
    pub prism: Option<Vec<PrismPart>>,
    /// Expanded uncertainty (k = 2) of the certified powers, dioptres.
    pub uncertainty: Option<Dioptre>,
    /// The certificate's number or file.
    pub certificate: Option<String>,
    /// The last day on which the certificate holds.
    #[serde(deserialize_with = "written_day")]
    pub due: Date,
}

/// A day as people write it for a certificate.
///
/// # Errors
/// What was expected.
pub fn day(text: &str) -> Result<Date, String> {
    text.trim().parse().map_err(|_| format!("{text:?}: a date such as 2026-11-25 is expected"))
}

fn written_day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Date, D::Error> {
    let text = Cow::<'de, str>::deserialize(deserializer)?;
    day(&text).map_err(D::Error::custom)
}

impl ReferenceLens {
    /// The certified power in minus-cylinder form.
    pub fn power(&self) -> SpheroCylinder {
        SpheroCylinder::new(self.sphere, self.cylinder.unwrap_or(Dioptre::ZERO), self.axis).minus_form()
    }

    /// The certified values as a lens in normal form.
    pub fn lens(&self) -> Lens {
        let power = self.power();
        Lens {
            sphere: Some(power.sphere()),
            cylinder: Some(power.cylinder()),
            axis: power.axis(),
            prism: self.prism.clone(),
            ..Lens::default()
        }
    }

    /// What makes it unusable as a reference, if anything does. Its values have to be within the ranges
    /// of orders.
    pub fn fault(&self) -> Option<String> {
        if self.serial.trim().is_empty() {
            return Some(
                "the serial number is missing: without it the certificate cannot be found".to_owned(),
            );
        }
        if self.axis.is_some() && self.cylinder.is_none_or(Dioptre::is_zero) {
            return Some("an axis without a cylinder".to_owned());
        }
        let (sphere, cylinder, axis, prism) =
            (Some(self.sphere), self.cylinder, self.axis, self.prism.clone());
        let values = OrderedLens { sphere, cylinder, axis, prism, ..OrderedLens::default() };
        let uncertainty = || UNCERTAINTY.outside("uncertainty", self.uncertainty?.value());
        values.validate().into_iter().next().or_else(uncertainty).map(|invalid| invalid.to_string())
    }
}

/// What a check of an instrument comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckOutcome {
    /// Everything certified was measured and is within its limit.
    Good,
    /// Something is beyond its limit.
    Bad,
    /// Something certified was not measured, or has no limit.
    Incomplete,
    /// The lens's certificate was out of date on that day.
    LensOverdue,
}

impl fmt::Display for CheckOutcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            CheckOutcome::Good => "good",
            CheckOutcome::Bad => "bad",
            CheckOutcome::Incomplete => "incomplete",
            CheckOutcome::LensOverdue => "lens overdue",
        })
    }
}

/// One quantity of a reference lens, as certified and as measured.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckItem {
    /// What.
    pub quantity: Quantity,
    /// The certified value, in `unit`.
    #[serde(with = "rust_decimal::serde::arbitrary_precision")]
    pub expected: Decimal,
    /// What the instrument measured, in `unit`.
    #[serde(default, with = "digits::optional")]
    pub measured: Option<Decimal>,
    /// Measured less expected, in `unit`.
    #[serde(default, with = "digits::optional")]
    pub deviation: Option<Decimal>,
    /// The greatest magnitude of `deviation` that is good, in `unit`.
    #[serde(default, with = "digits::optional")]
    pub limit: Option<Decimal>,
    /// `D`, `deg` or `prism-D`.
    pub unit: Cow<'static, str>,
    /// How it came out.
    pub outcome: ItemOutcome,
    /// Where the limit comes from.
    pub figures: String,
}

/// An instrument's reading of a reference lens, held against its certificate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// What it comes to.
    pub outcome: CheckOutcome,
    /// Each quantity.
    pub items: Vec<CheckItem>,
    /// What a reader has to know to follow it.
    pub notes: Vec<String>,
}

/// Holds a reading against the reference lens that it was taken of, on the day `today` (UTC). The
/// deviation is compared with the limit directly; the lens's uncertainty is on record beside it.
pub fn check(lens: &ReferenceLens, reading: &Reading, limits: &Limits, today: Date) -> Checked {
    let mut notes = Vec::new();
    let sides =
        [(Eye::Right, &reading.unspecified), (Eye::Right, &reading.right), (Eye::Left, &reading.left)];
    let mut taken = sides.into_iter().filter_map(|(eye, lens)| lens.as_ref().map(|lens| (eye, lens)));
    let nothing = Lens::default();
    let (eye, measured) = match (taken.next(), taken.next()) {
        (Some(only), None) if is_within_reach(only.1) => only,
        (None, _) => (Eye::Right, &nothing),
        (Some(_), None) => {
            notes.push("the reading has an impossible number".to_owned());
            (Eye::Right, &nothing)
        }
        (Some(_), Some(_)) => {
            notes.push("the reading holds two lenses: measure the reference lens alone".to_owned());
            (Eye::Right, &nothing)
        }
    };
    let mut items = Vec::new();
    powers(lens, measured, limits, &mut items);
    prisms(lens, measured, eye, limits, &mut items);
    let any = |wanted| items.iter().any(|item| item.outcome == wanted);
    let outcome = if any(ItemOutcome::Fail) {
        CheckOutcome::Bad
    } else if any(ItemOutcome::NotMeasured) || any(ItemOutcome::NotJudged) {
        CheckOutcome::Incomplete
    } else if today > lens.due {
        CheckOutcome::LensOverdue
    } else {
        CheckOutcome::Good
    };
    if today > lens.due {
        notes.push(format!("the certificate of {} held until {}", lens.name, lens.due));
    }
    notes.extend(lens.uncertainty.map(|u| format!("the certified powers are known to {u} D (k = 2)")));
    Checked { outcome, items, notes }
}

fn powers(lens: &ReferenceLens, measured: &Lens, limits: &Limits, items: &mut Vec<CheckItem>) {
    let (certified, found) = (lens.power(), power_or_principal(measured));
    let (plus, minus) = certified.principal_powers();
    let principal = found.map(|found| found.principal_powers());
    let mut push = |quantity, expected: Dioptre, measured: Option<Dioptre>| {
        let (expected, measured) = (expected.value(), measured.map(Dioptre::value));
        let deviation = measured.map(|measured| measured - expected);
        items.push(item(quantity, Dioptre::UNIT, expected, measured, deviation, limits.power(expected)));
    };
    push(Quantity::SphereMeridian, plus, principal.map(|powers| powers.0));
    push(Quantity::SecondMeridian, minus, principal.map(|powers| powers.1));
    if let Some(axis) = certified.axis() {
        let measured = found.and_then(|found| found.axis());
        let deviation = measured.map(|measured| axis_difference(axis, measured).value());
        let measured = measured.map(Degree::value);
        items.push(item(
            Quantity::Axis,
            Degree::UNIT,
            axis.value(),
            measured,
            deviation,
            Some(limits.axis()),
        ));
    }
}

/// The power, also of a cylinder whose axis was not sent: its principal powers are known.
fn power_or_principal(lens: &Lens) -> Option<SpheroCylinder> {
    power(lens).or_else(|| Some(SpheroCylinder::new(lens.sphere?, lens.cylinder?, None)))
}

fn prisms(lens: &ReferenceLens, measured: &Lens, eye: Eye, limits: &Limits, items: &mut Vec<CheckItem>) {
    let Some(parts) = &lens.prism else { return };
    let certified = Prism::of(eye, parts);
    let found = measured.prism.as_ref().map(|parts| Prism::of(eye, parts));
    let amount = rounded(certified.to_polar(eye).0);
    for quantity in [Quantity::PrismHorizontal, Quantity::PrismVertical] {
        let of = |prism: &Prism| match quantity {
            Quantity::PrismHorizontal => prism.horizontal.value(),
            _ => prism.vertical.value(),
        };
        let (expected, measured) = (of(&certified), found.as_ref().map(of));
        let deviation = measured.map(|measured| measured - expected);
        items.push(item(quantity, PrismDioptre::UNIT, expected, measured, deviation, limits.prism(amount)));
    }
}

fn item(
    quantity: Quantity,
    unit: &'static str,
    expected: Decimal,
    measured: Option<Decimal>,
    deviation: Option<Decimal>,
    limit: Option<&Row>,
) -> CheckItem {
    let outcome = match (deviation, limit) {
        (None, _) => ItemOutcome::NotMeasured,
        (_, None) => ItemOutcome::NotJudged,
        (Some(deviation), Some(row)) if deviation.abs() <= row.limit => ItemOutcome::Pass,
        _ => ItemOutcome::Fail,
    };
    CheckItem {
        quantity,
        expected,
        measured,
        // A negative zero would be written as one.
        deviation: deviation.map(|deviation| Dioptre::new(deviation).value()),
        limit: limit.map(|row| row.limit),
        unit: Cow::Borrowed(unit),
        outcome,
        figures: limit.map_or_else(|| "no limit for a value so great".to_owned(), |row| row.figures.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checked(lens: &str, reading: &str, today: &str) -> Checked {
        let limits = Limits::default();
        let lens: ReferenceLens = serde_json::from_str(lens).unwrap();
        assert_eq!(lens.fault(), None);
        check(&lens, &serde_json::from_str(reading).unwrap(), &limits, today.parse().unwrap())
    }

    const PLUS_FIVE: &str =
        r#"{"name":"REF+5","serial":"T-105","sphere":4.98,"uncertainty":0.01,"due":"2027-03-01"}"#;
    const CYLINDER: &str = r#"{"name":"REFC5","serial":"T-205","sphere":0.01,"cylinder":5.02,"axis":90,"prism":[],"due":"2027-03-01"}"#;

    fn outcomes(checked: &Checked) -> Vec<String> {
        checked
            .items
            .iter()
            .map(|i| format!("{} {} {}", i.quantity, i.deviation.unwrap_or_default(), i.outcome))
            .collect()
    }

    #[test]
    fn a_deviation_on_its_limit_is_good_and_one_beyond_is_bad() {
        let good = checked(PLUS_FIVE, r#"{"right":{"sphere":5.04,"cylinder":-0.12,"axis":3}}"#, "2026-03-01");
        assert_eq!(outcomes(&good), ["sphere-meridian 0.06 pass", "second-meridian -0.06 pass"]);
        assert_eq!(good.outcome, CheckOutcome::Good);
        let bad = checked(PLUS_FIVE, r#"{"unspecified":{"sphere":5.05}}"#, "2026-03-01");
        assert_eq!(bad.outcome, CheckOutcome::Bad);
        assert_eq!(outcomes(&bad), ["sphere-meridian 0.07 fail", "second-meridian 0.07 fail"]);
    }

    #[test]
    fn a_cylinder_lens_is_held_in_both_meridians_and_in_its_axis() {
        let reading =
            r#"{"left":{"sphere":5.05,"cylinder":-5.03,"axis":1,"prism":[{"amount":0.11,"base":"up"}]}}"#;
        let found = checked(CYLINDER, reading, "2026-03-01");
        assert_eq!(
            outcomes(&found),
            [
                "sphere-meridian 0.02 pass",
                "second-meridian 0.01 pass",
                "axis 1 pass",
                "prism-horizontal 0 pass",
                "prism-vertical 0.11 fail"
            ]
        );
    }

    #[test]
    fn what_is_missing_or_out_of_date_is_not_good() {
        let overdue = checked(PLUS_FIVE, r#"{"right":{"sphere":4.98}}"#, "2027-03-02");
        assert_eq!(overdue.outcome, CheckOutcome::LensOverdue);
        assert_eq!(
            checked(PLUS_FIVE, r#"{"right":{"sphere":4.98}}"#, "2027-03-01").outcome,
            CheckOutcome::Good
        );
        let missing =
            checked(CYLINDER, r#"{"right":{"sphere":5.03,"cylinder":-5.02,"axis":180}}"#, "2026-03-01");
        assert_eq!(missing.outcome, CheckOutcome::Incomplete);
        let two = checked(PLUS_FIVE, r#"{"right":{"sphere":4.98},"left":{"sphere":4.98}}"#, "2026-03-01");
        assert_eq!(two.outcome, CheckOutcome::Incomplete);
        assert!(two.notes[0].contains("two lenses"), "{:?}", two.notes);
        let strong = PLUS_FIVE.replace("4.98", "30.00");
        assert_eq!(
            checked(&strong, r#"{"right":{"sphere":30.00}}"#, "2026-03-01").outcome,
            CheckOutcome::Incomplete
        );
    }

    #[test]
    fn a_certificate_that_cannot_be_is_refused() {
        for (wrong, words) in [
            (PLUS_FIVE.replace("T-105", " "), "serial"),
            (PLUS_FIVE.replace("0.01", "-0.01"), "uncertainty"),
            (PLUS_FIVE.replace("0.01", "3"), "uncertainty: 3 is out of range; 0 to 1 D is expected"),
            (PLUS_FIVE.replace("4.98", "500"), "sphere: 500 is out of range; -40 to 40 D is expected"),
            (CYLINDER.replace("90", "190"), "axis: 190 is out of range; 0 to 180 degrees"),
            (CYLINDER.replace(r#""axis":90,"#, ""), "axis: missing beside a cylinder of 5.02 D"),
            (CYLINDER.replace("5.02", "0.00"), "axis without"),
        ] {
            let lens: ReferenceLens = serde_json::from_str(&wrong).unwrap();
            assert!(lens.fault().is_some_and(|why| why.contains(words)), "{wrong}: {:?}", lens.fault());
        }
    }
}
