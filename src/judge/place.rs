//! Places on the lens: PD, segment height, height of the reference point.

use super::band::Keys;
use super::glass::Glass;
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

/// One place on one lens, mm.
#[derive(Debug, Clone, Copy)]
struct Place {
    eye: Eye,
    ordered: Option<Decimal>,
    measured: Option<Decimal>,
}

/// Judges the places of each lens, and of the pair where there is one.
pub(super) fn judge(sheet: &mut Sheet, lenses: &[Glass]) {
    for (subject, quantity, ordered_of, measured_of) in PLACES {
        let read = |glass: &Glass| Place {
            eye: glass.eye,
            ordered: ordered_of(glass.ordered).map(Millimetre::value),
            measured: measured_of(glass.measured).map(Millimetre::value),
        };
        let places: [Option<Place>; 2] = [lenses.first().map(read), lenses.get(1).map(read)];
        let judged_together = pair(sheet, subject, quantity, &places);
        let table = sheet.table(subject, Scope::Each);
        if judged_together && table.is_none() {
            continue;
        }
        for Place { eye, ordered, measured } in places.into_iter().flatten() {
            let values = Values { side: eye.into(), quantity, unit: MILLIMETRE, ordered, measured };
            sheet.plain(values, table, no_keys);
        }
    }
}

/// Judges the pair together; whether the rule set does so at all.
fn pair(sheet: &mut Sheet, subject: Subject, quantity: Quantity, places: &[Option<Place>; 2]) -> bool {
    let [Some(right), Some(left)] = places else { return false };
    let Some((ordered_right, ordered_left)) = right.ordered.zip(left.ordered) else { return false };
    let mut judged = false;
    for (scope, combine) in [
        (Scope::PairDifference, (|a, b| a - b) as fn(Decimal, Decimal) -> Decimal),
        (Scope::PairTotal, |a, b| a + b),
    ] {
        let Some(table) = sheet.table(subject, scope) else { continue };
        judged = true;
        let measured = right.measured.zip(left.measured).map(|(right, left)| combine(right, left));
        // A value missing on one side is already missed there.
        if measured.is_none() && sheet.table(subject, Scope::Each).is_some() {
            continue;
        }
        let ordered = Some(combine(ordered_right, ordered_left));
        let values = Values { side: Side::Pair, quantity, unit: MILLIMETRE, ordered, measured };
        sheet.plain(values, Some(table), no_keys);
    }
    judged
}

fn no_keys() -> Choice {
    Choice { keys: Keys::default(), share_of: Decimal::ZERO, note: None }
}
