//! Sphere meridian, second meridian, cylinder, axis, additions.

use super::band::{Key, Keys};
use super::eighths::{self, eighth};
use super::rules::{PowerScheme, Scope, Subject, Table};
use super::sheet::{Choice, DEGREE, DIOPTRE, Sheet, Values, taken_as};
use super::verdict::{Quantity, Side};
use crate::optics::SpheroCylinder;
use crate::optics::lens::axis_difference;
use crate::order::OrderedLens;
use crate::parsers::reading::Lens;
use crate::parsers::units::{Degree, Dioptre};

/// Sphere, cylinder and axis in minus form, as far as they are known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Form {
    /// Absent without a sphere. Without a cylinder the lens counts as a sphere.
    pub lens: Option<SpheroCylinder>,
    /// Not positive.
    cylinder: Option<Dioptre>,
    axis: Option<Degree>,
}

impl Form {
    fn new(sphere: Option<Dioptre>, cylinder: Option<Dioptre>, axis: Option<Degree>) -> Self {
        // Without a sphere the cylinder and its axis can still be turned into minus form.
        let turned =
            SpheroCylinder::new(sphere.unwrap_or_default(), cylinder.unwrap_or_default(), axis).minus_form();
        Self {
            lens: sphere.map(|_| turned),
            cylinder: cylinder.map(|_| turned.cylinder()),
            axis: turned.axis(),
        }
    }

    pub fn ordered(lens: &OrderedLens) -> Self {
        Self::new(lens.sphere, lens.cylinder, lens.axis)
    }

    pub fn measured(lens: &Lens) -> Self {
        Self::new(lens.sphere, lens.cylinder, lens.axis)
    }
}

/// Judges sphere, cylinder and axis of one lens.
pub(super) fn judge(sheet: &mut Sheet, side: Side, ordered: &Form, measured: &Form) {
    let mut row = Keys::default();
    if let Some(lens) = &ordered.lens {
        row = meridians(sheet, side, lens, measured);
    } else if let Some(lens) = &measured.lens {
        let values = Values {
            side,
            quantity: Quantity::SphereMeridian,
            unit: DIOPTRE,
            ordered: None,
            measured: Some(lens.principal_powers().0.value()),
        };
        sheet.one_sided(values, None);
    }
    cylinder(sheet, side, ordered, measured, row);
    axis(sheet, side, ordered, measured, row);
}

/// Judges the principal powers by the rule set's scheme; gives the power of the row.
fn meridians(sheet: &mut Sheet, side: Side, ordered: &SpheroCylinder, measured: &Form) -> Keys {
    let written = ordered.principal_powers();
    let meant = eighths::lens(ordered).principal_powers();
    let scheme = sheet.rules.power_scheme();
    let by_second = scheme != PowerScheme::SphereMeridian && meant.1.abs() > meant.0.abs();
    let (written_row, meant_row) = if by_second { (written.1, meant.1) } else { (written.0, meant.0) };
    let row = Keys::default().with(Key::Power, meant_row.value());

    // A sphere is no principal power as long as a cylinder is to come.
    let waits = !ordered.cylinder().is_zero() && measured.cylinder.is_none();
    let powers = measured.lens.filter(|_| !waits).map(|lens| lens.principal_powers());
    let table = table(sheet, Subject::Power);
    for (second, quantity, ordered, measured) in [
        (false, Quantity::SphereMeridian, written.0, powers.map(|powers| powers.0)),
        (true, Quantity::SecondMeridian, written.1, powers.map(|powers| powers.1)),
    ] {
        if scheme != PowerScheme::BothMeridians && second != by_second {
            continue;
        }
        let values = Values {
            side,
            quantity,
            unit: DIOPTRE,
            ordered: Some(ordered.value()),
            measured: measured.map(Dioptre::value),
        };
        sheet.plain(values, table, || Choice {
            keys: row,
            share_of: written_row.value(),
            note: taken_as(written_row.value(), meant_row.value()),
        });
    }
    row
}

fn cylinder(sheet: &mut Sheet, side: Side, ordered: &Form, measured: &Form, row: Keys) {
    // A lens ordered without a cylinder is a sphere: a cylinder found in it is an error.
    let implied = ordered.lens.is_some() && ordered.cylinder.is_none() && measured.cylinder.is_some();
    let cylinder = if implied { Some(Dioptre::ZERO) } else { ordered.cylinder };
    let values = Values {
        side,
        quantity: Quantity::Cylinder,
        unit: DIOPTRE,
        ordered: cylinder.map(Dioptre::value),
        measured: measured.cylinder.map(Dioptre::value),
    };
    let table = table(sheet, Subject::Cylinder);
    sheet.plain(values, table, || {
        let written = values.ordered.unwrap_or_default();
        let meant = eighth(written);
        let implied = implied.then(|| "ordered without a cylinder".to_owned());
        Choice {
            keys: row.with(Key::Cylinder, meant),
            share_of: written,
            note: taken_as(written, meant).or(implied),
        }
    });
}

fn axis(sheet: &mut Sheet, side: Side, ordered: &Form, measured: &Form, row: Keys) {
    let values = Values {
        side,
        quantity: Quantity::Axis,
        unit: DEGREE,
        ordered: ordered.axis.map(Degree::value),
        measured: measured.axis.map(Degree::value),
    };
    let table = table(sheet, Subject::Axis);
    let Some(cylinder) = ordered.cylinder.map(Dioptre::value).filter(|cylinder| !cylinder.is_zero()) else {
        if values.measured.is_some() {
            sheet.recorded(values, table, "no cylinder is ordered: its axis is not judged");
        }
        return;
    };
    let meant = eighth(cylinder);
    if table.is_some_and(|table| table.starts_above(Key::Cylinder, meant.abs())) {
        return sheet.recorded(values, table, "the ordered cylinder is too small for its axis to be judged");
    }
    let (Some(from), Some(to)) = (ordered.axis, measured.axis) else {
        let none = measured.cylinder.is_some_and(Dioptre::is_zero) && values.ordered.is_some();
        if none {
            return sheet.not_measured(values, table, true, Some("no cylinder is measured, hence no axis"));
        }
        return sheet.one_sided(values, table);
    };
    let choice =
        Choice { keys: row.with(Key::Cylinder, meant), share_of: cylinder, note: taken_as(cylinder, meant) };
    sheet.by_band(values, axis_difference(from, to).value(), table, choice);
}

/// Judges the near and the second addition of one lens.
pub(super) fn additions(sheet: &mut Sheet, side: Side, ordered: &OrderedLens, measured: &Lens) {
    for (quantity, subject, ordered, measured) in [
        (Quantity::Addition, Subject::Addition, ordered.addition, measured.addition),
        (
            Quantity::SecondAddition,
            Subject::SecondAddition,
            ordered.second_addition,
            measured.second_addition,
        ),
    ] {
        let values = Values {
            side,
            quantity,
            unit: DIOPTRE,
            ordered: ordered.map(Dioptre::value),
            measured: measured.map(Dioptre::value),
        };
        let table = table(sheet, subject);
        sheet.plain(values, table, || {
            let written = values.ordered.unwrap_or_default();
            let meant = eighth(written);
            Choice {
                keys: Keys::default().with(Key::Addition, meant),
                share_of: written,
                note: taken_as(written, meant),
            }
        });
    }
}

fn table<'a>(sheet: &Sheet<'a>, subject: Subject) -> Option<&'a Table> {
    sheet.table(subject, Scope::Each)
}
