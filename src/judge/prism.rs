//! Prism of one lens, and prism imbalance of a mounted pair.

use super::band::{Band, Key, Keys};
use super::eighths;
use super::power::Form;
use super::rules::{PowerOf, Scope, Subject, Table};
use super::sheet::{Comparison, MILLIMETRE, PRISM, Sheet, Values};
use super::verdict::{ItemOutcome, Quantity, Side};
use crate::optics::{ANGLE_PLACES, Prism, SpheroCylinder};
use crate::order::OrderedLens;
use crate::parsers::reading::{Eye, Lens, PrismPart};
use crate::parsers::units::{Dioptre, Millimetre};
use rust_decimal::Decimal;

/// One eye's order and measurement, as far as prism needs them.
pub(super) struct Glass<'a> {
    pub eye: Eye,
    pub ordered: &'a OrderedLens,
    pub measured: &'a Lens,
    pub form: Form,
}

/// Along which meridian prism is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    Horizontal,
    Vertical,
}

use Direction::{Horizontal, Vertical};

impl Direction {
    const BOTH: [Direction; 2] = [Horizontal, Vertical];

    fn of_lens(self) -> (Subject, Quantity) {
        match self {
            Horizontal => (Subject::PrismHorizontal, Quantity::PrismHorizontal),
            Vertical => (Subject::PrismVertical, Quantity::PrismVertical),
        }
    }

    fn of_pair(self) -> (Subject, Quantity) {
        match self {
            Horizontal => (Subject::PrismImbalanceHorizontal, Quantity::PrismImbalanceHorizontal),
            Vertical => (Subject::PrismImbalanceVertical, Quantity::PrismImbalanceVertical),
        }
    }

    fn component(self, prism: Prism) -> Decimal {
        match self {
            Horizontal => prism.horizontal.value(),
            Vertical => prism.vertical.value(),
        }
    }

    fn power(self, lens: &SpheroCylinder) -> Option<Decimal> {
        match self {
            Horizontal => lens.horizontal_power(),
            Vertical => lens.vertical_power(),
        }
        .map(Dioptre::value)
    }

    /// Both lenses together. Inward counts positive for either eye, so horizontal prism adds
    /// up; vertical prism is felt as the difference.
    fn together(self, right: Decimal, left: Decimal) -> Decimal {
        match self {
            Horizontal => right + left,
            Vertical => right - left,
        }
    }

    /// The quantity of the reference point's place in this direction.
    fn place(self) -> Quantity {
        match self {
            Horizontal => Quantity::Pd,
            Vertical => Quantity::ReferenceHeight,
        }
    }
}

impl Glass<'_> {
    fn ordered_parts(&self) -> &[PrismPart] {
        self.ordered.prism.as_deref().unwrap_or_default()
    }

    fn is_prism_ordered(&self) -> bool {
        self.ordered_parts().iter().any(|part| !part.amount.is_zero())
    }

    fn ordered_prism(&self, direction: Direction) -> Decimal {
        direction.component(Prism::of(self.eye, self.ordered_parts()))
    }

    fn measured_prism(&self, direction: Direction) -> Option<Decimal> {
        let parts = self.measured.prism.as_ref()?;
        Some(direction.component(Prism::of(self.eye, parts)))
    }

    /// Ordered and measured place of the reference point, mm.
    fn places(&self, direction: Direction) -> (Option<Decimal>, Option<Decimal>) {
        let (ordered, measured) = match direction {
            Horizontal => (self.ordered.pd, self.measured.pd),
            Vertical => (self.ordered.reference_height, self.measured.reference_height),
        };
        (ordered.map(Millimetre::value), measured.map(Millimetre::value))
    }

    /// Magnitude of the ordered power that prism depends on: as written, and as the eighths
    /// that the order stands for.
    fn power(&self, direction: Direction, of: PowerOf) -> Option<Power> {
        let written = self.form.lens.as_ref()?;
        let meant = eighths::lens(written);
        let read = |lens: &SpheroCylinder| match of {
            PowerOf::MeridianConcerned => direction.power(lens),
            PowerOf::StrongestMeridian => {
                let (first, second) = lens.principal_powers();
                Some(first.abs().max(second.abs()).value())
            }
        };
        Some(Power { written: read(written)?.abs(), meant: read(&meant)?.abs() })
    }
}

#[derive(Debug, Clone, Copy)]
struct Power {
    written: Decimal,
    meant: Decimal,
}

/// Judges the prism of each lens by itself.
pub(super) fn of_lens(sheet: &mut Sheet, glass: &Glass) {
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

fn keys(power: Option<Power>, ordered: Decimal) -> Keys {
    let keys = Keys::default().with(Key::Prism, ordered);
    power.map_or(keys, |power| keys.with(Key::Power, power.meant))
}

/// Whether the rule set judges the pair together rather than each lens.
pub(super) fn judges_pair(sheet: &Sheet) -> bool {
    Direction::BOTH.iter().any(|direction| sheet.table(direction.of_pair().0, Scope::Each).is_some())
}

/// Judges the prism imbalance of a pair.
pub(super) fn of_pair(sheet: &mut Sheet, right: &Glass, left: &Glass) {
    for direction in Direction::BOTH {
        Pair { direction, right, left }.judge(sheet);
    }
}

struct Pair<'a> {
    direction: Direction,
    right: &'a Glass<'a>,
    left: &'a Glass<'a>,
}

impl Pair<'_> {
    fn judge(&self, sheet: &mut Sheet) {
        let (subject, quantity) = self.direction.of_pair();
        let table = sheet.table(subject, Scope::Each);
        let ordered = (self.right.ordered_prism(self.direction), self.left.ordered_prism(self.direction));
        let measured = (self.right.measured_prism(self.direction), self.left.measured_prism(self.direction));
        let values = Values {
            side: Side::Pair,
            quantity,
            unit: PRISM,
            ordered: Some(self.direction.together(ordered.0, ordered.1)),
            measured: match measured {
                (Some(right), Some(left)) => Some(self.direction.together(right, left)),
                _ => None,
            },
        };
        // The threshold power is that of the lens that is stronger in this meridian.
        let power =
            [self.right, self.left].map(|glass| glass.power(self.direction, PowerOf::MeridianConcerned));
        let power = match power {
            [Some(right), Some(left)] => Some(if left.meant > right.meant { left } else { right }),
            _ => None,
        };
        let larger = ordered.0.abs().max(ordered.1.abs());
        let found = table.and_then(|table| Some((table, table.band(&keys(power, larger))?)));
        let missed = self.right.is_prism_ordered()
            || self.left.is_prism_ordered()
            || measured.0.is_some()
            || measured.1.is_some();
        let Some((table, band)) = found else {
            if values.measured.is_some() {
                sheet.not_covered(values, table, Vec::new());
            } else {
                sheet.not_measured(values, table, missed, None);
            }
            return;
        };
        let power = power.map_or(Decimal::ZERO, |power| power.written);
        let comparison = match band.limit.millimetres {
            Some(limit) => self.in_millimetres(sheet, values, table, band, limit, power),
            None => {
                values.measured.zip(band.limit.amount(larger, power)).map(|(measured, limit)| Comparison {
                    values,
                    deviation: measured - values.ordered.unwrap_or_default(),
                    limit,
                    uncertainty: sheet.rules.uncertainty(quantity),
                    table,
                    band,
                    notes: Vec::new(),
                })
            }
        };
        match comparison {
            Some(comparison) => sheet.compared(comparison),
            None => sheet.not_measured(values, Some(table), missed, None),
        }
    }

    /// The test above the threshold: by measured places where there are any, else by prism
    /// turned into millimetres.
    fn in_millimetres<'a>(
        &self,
        sheet: &Sheet,
        values: Values,
        table: &'a Table,
        band: &'a Band,
        limit: Decimal,
        power: Decimal,
    ) -> Option<Comparison<'a>> {
        let each = band.limit.each;
        let (ordered, measured, uncertainty, note) = if let Some((right, left)) = self.places() {
            let declared = sheet.rules.uncertainty(self.direction.place());
            let (ordered, measured, whose) = self.combined(right, left, each);
            // Two independent lenses: the uncertainty of a sum or difference is the root of two.
            let uncertainty = if each { declared } else { declared.map(root_of_two) };
            (ordered, measured, uncertainty, format!("by the measured {}{whose}", self.direction.place()))
        } else {
            let turned = |prism: Decimal| (prism * Decimal::TEN / power).round_dp(ANGLE_PLACES).normalize();
            let side = |glass: &Glass| {
                let measured = glass.measured_prism(self.direction)?;
                Some((glass.ordered_prism(self.direction), measured))
            };
            let (ordered, measured, whose) = self.combined(side(self.right)?, side(self.left)?, each);
            if power.is_zero() {
                return None;
            }
            let uncertainty = sheet.rules.uncertainty(values.quantity).map(turned);
            let note = format!(
                "{} prism-D{whose}, turned into millimetres by Prentice's rule at {power} D",
                measured - ordered
            );
            (turned(ordered), turned(measured), uncertainty, note)
        };
        Some(Comparison {
            values: Values { unit: MILLIMETRE, ordered: Some(ordered), measured: Some(measured), ..values },
            deviation: measured - ordered,
            limit,
            uncertainty,
            table,
            band,
            notes: vec![note],
        })
    }

    /// Ordered and measured places of both lenses. Heights not ordered are to be equal.
    fn places(&self) -> Option<((Decimal, Decimal), (Decimal, Decimal))> {
        let (right, left) = (self.right.places(self.direction), self.left.places(self.direction));
        match (right, left, self.direction) {
            ((Some(a), Some(b)), (Some(c), Some(d)), _) => Some(((a, b), (c, d))),
            ((None, Some(b)), (None, Some(d)), Vertical) => Some(((Decimal::ZERO, b), (Decimal::ZERO, d))),
            _ => None,
        }
    }

    /// Ordered and measured of the pair together, or of the lens that is farther off; each
    /// side as (ordered, measured).
    fn combined(
        &self,
        right: (Decimal, Decimal),
        left: (Decimal, Decimal),
        each: bool,
    ) -> (Decimal, Decimal, &'static str) {
        if !each {
            let together = |a, b| self.direction.together(a, b);
            return (together(right.0, left.0), together(right.1, left.1), "");
        }
        if (left.1 - left.0).abs() > (right.1 - right.0).abs() {
            (left.0, left.1, " of the left lens, the farther off")
        } else {
            (right.0, right.1, " of the right lens, the farther off")
        }
    }
}

/// `u` times the root of two, to four places.
fn root_of_two(u: Decimal) -> Decimal {
    const ROOT: Decimal = Decimal::from_parts(1_414_214, 0, 0, false, 6);
    (u * ROOT).round_dp(ANGLE_PLACES)
}
