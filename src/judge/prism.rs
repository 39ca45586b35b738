//! Prism of one lens.

use super::band::Band;
use super::glass::{Direction, Glass, keys};
use super::rules::{PowerOf, Scope, Table};
use super::sheet::{Comparison, MILLIMETRE, PRISM, Sheet, Values};
use super::verdict::ItemOutcome;
use rust_decimal::Decimal;

/// Judges the prism of each lens by itself.
pub(super) fn judge(sheet: &mut Sheet, glass: &Glass) {
    for direction in Direction::BOTH {
        let (subject, quantity) = direction.of_lens();
        let ordered = glass.ordered_prism(direction);
        let values = Values {
            side: glass.eye.into(),
            quantity,
            unit: PRISM,
            ordered: Some(ordered),
            measured: glass.measured_prism(direction),
        };
        let table = sheet.table(subject, Scope::Each);
        let Some(measured) = values.measured else {
            sheet.not_measured(values, table, glass.is_prism_ordered(), None);
            continue;
        };
        let concerned = glass.power(direction, PowerOf::MeridianConcerned);
        let row = table.and_then(|table| glass.power(direction, table.power_of));
        let found = table.and_then(|table| Some((table, table.band(&keys(row, ordered))?)));
        let Some((table, band)) = found else {
            sheet.not_covered(values, table, Vec::new());
            continue;
        };
        let row = row.map_or(Decimal::ZERO, |power| power.written);
        let Some(plain) = band.limit.amount(ordered, row) else {
            sheet.not_covered(values, Some(table), Vec::new());
            continue;
        };
        let deviation = measured - ordered;
        let mut limit = plain;
        let mut notes = Vec::new();
        if let (Some(millimetres), Some(power)) = (band.limit.millimetres, concerned) {
            // Either test met is a pass, so the greater of the two amounts is the limit.
            let by_place = millimetres * power.written / Decimal::TEN;
            if by_place > plain && deviation.abs() > plain {
                limit = by_place;
                notes.push(format!(
                    "beyond {plain} prism-D: the other test is {millimetres} mm, by Prentice's rule {by_place} prism-D at {} D",
                    power.written
                ));
            }
        }
        let uncertainty = sheet.rules.uncertainty(quantity);
        let by_prism = Comparison { values, deviation, limit, uncertainty, table, band, notes };
        if by_prism.outcome() != ItemOutcome::Pass
            && let Some(by_place) = measured_place(sheet, glass, direction, table, band, deviation)
            && by_place.outcome() == ItemOutcome::Pass
        {
            sheet.compared(by_place);
        } else {
            sheet.compared(by_prism);
        }
    }
}

/// Records the prism of a lens that was not ordered.
pub(super) fn recorded(sheet: &mut Sheet, glass: &Glass) {
    for direction in Direction::BOTH {
        let measured = glass.measured_prism(direction);
        if measured.is_some() {
            let quantity = direction.of_lens().1;
            let values = Values { side: glass.eye.into(), quantity, unit: PRISM, ordered: None, measured };
            sheet.recorded(values, None, "not ordered");
        }
    }
}

/// The other test of one lens's prism, by the measured place of its reference point.
fn measured_place<'a>(
    sheet: &Sheet,
    glass: &Glass,
    direction: Direction,
    table: &'a Table,
    band: &'a Band,
    prism: Decimal,
) -> Option<Comparison<'a>> {
    let limit = band.limit.millimetres?;
    let (Some(ordered), Some(measured)) = glass.places(direction) else { return None };
    let values = Values {
        side: glass.eye.into(),
        quantity: direction.of_lens().1,
        unit: MILLIMETRE,
        ordered: Some(ordered),
        measured: Some(measured),
    };
    let uncertainty = sheet.rules.uncertainty(direction.place());
    let notes =
        vec![format!("prism deviates by {prism} prism-D; the measured place is within the other test")];
    Some(Comparison { values, deviation: measured - ordered, limit, uncertainty, table, band, notes })
}
