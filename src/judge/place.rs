//! Places on the lens: PD, segment height, height of the reference point.

use super::band::Keys;
use super::rules::{Scope, Subject};
use super::sheet::{Choice, MILLIMETRE, Sheet, Values};
use super::verdict::{Quantity, Side};
use crate::order::OrderedLens;
use crate::parsers::reading::{Eye, Lens};
use crate::parsers::units::Millimetre;
use rust_decimal::Decimal;

type Of<T> = fn(&T) -> Option<Millimetre>;

const PLACES: [(Subject, Quantity, Of<OrderedLens>, Of<Lens>); 4] = [
    (Subject::Pd, Quantity::Pd, |lens| lens.pd, |lens| lens.pd),
    (Subject::NearPd, Quantity::NearPd, |lens| lens.near_pd, |lens| lens.near_pd),
    (Subject::SegmentHeight, Quantity::SegmentHeight, |lens| lens.segment_height, |lens| lens.segment_height),
    (
        Subject::ReferenceHeight,
        Quantity::ReferenceHeight,
        |lens| lens.reference_height,
        |lens| lens.reference_height,
    ),
];

/// An eye with what was ordered and measured for it.
type Side2<'a> = (Eye, &'a OrderedLens, &'a Lens);

/// Judges the places of each lens, and of the pair where there is one.
pub(super) fn judge(sheet: &mut Sheet, lenses: &[Side2]) {
    for (subject, quantity, ordered_of, measured_of) in PLACES {
        let both: Vec<(Eye, Option<Decimal>, Option<Decimal>)> = lenses
            .iter()
            .map(|(eye, ordered, measured)| {
                (
                    *eye,
                    ordered_of(ordered).map(Millimetre::value),
                    measured_of(measured).map(Millimetre::value),
                )
            })
            .collect();
        let judged_together = pair(sheet, subject, quantity, &both);
        let table = sheet.table(subject, Scope::Each);
        if judged_together && table.is_none() {
            continue;
        }
        for (eye, ordered, measured) in both {
            let values = Values { side: eye.into(), quantity, unit: MILLIMETRE, ordered, measured };
            sheet.plain(values, table, no_keys);
        }
    }
}

fn pair(
    sheet: &mut Sheet,
    subject: Subject,
    quantity: Quantity,
    both: &[(Eye, Option<Decimal>, Option<Decimal>)],
) -> bool {
    let [(_, Some(right), measured_right), (_, Some(left), measured_left)] = *both else {
        return false;
    };
    let mut judged = false;
    for (scope, combine) in [
        (Scope::PairDifference, (|a, b| a - b) as fn(Decimal, Decimal) -> Decimal),
        (Scope::PairTotal, |a, b| a + b),
    ] {
        let Some(table) = sheet.table(subject, scope) else { continue };
        judged = true;
        let measured = match (measured_right, measured_left) {
            (Some(right), Some(left)) => Some(combine(right, left)),
            _ => None,
        };
        // A value missing on one side is already missed there.
        if measured.is_none() && sheet.table(subject, Scope::Each).is_some() {
            continue;
        }
        let ordered = Some(combine(right, left));
        let values = Values { side: Side::Pair, quantity, unit: MILLIMETRE, ordered, measured };
        sheet.plain(values, Some(table), no_keys);
    }
    judged
}

fn no_keys() -> Choice {
    Choice { keys: Keys::default(), share_of: Decimal::ZERO, note: None }
}
