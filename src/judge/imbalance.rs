//! Prism imbalance of a mounted pair.

use super::band::Band;
use super::glass::{Direction, Glass, keys};
use super::rules::{PowerOf, Scope, Table};
use super::sheet::{Comparison, MILLIMETRE, PRISM, Sheet, Values};
use super::verdict::Side;
use crate::optics::ANGLE_PLACES;
use rust_decimal::Decimal;

/// Whether the rule set judges the pair together rather than each lens.
pub(super) fn is_judged(sheet: &Sheet) -> bool {
    Direction::BOTH.iter().any(|direction| sheet.table(direction.of_pair().0, Scope::Each).is_some())
}

/// Judges the prism imbalance of a pair.
pub(super) fn judge(sheet: &mut Sheet, right: &Glass, left: &Glass) {
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
            // The power is above zero in the band, but may be zero as the order was written.
            let per_prism = Decimal::TEN.checked_div(power)?;
            let turned = |prism: Decimal| (prism * per_prism).round_dp(ANGLE_PLACES).normalize();
            let side = |glass: &Glass| {
                let measured = glass.measured_prism(self.direction)?;
                Some((glass.ordered_prism(self.direction), measured))
            };
            let (ordered, measured, whose) = self.combined(side(self.right)?, side(self.left)?, each);
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
            ((None, Some(b)), (None, Some(d)), Direction::Vertical) => {
                Some(((Decimal::ZERO, b), (Decimal::ZERO, d)))
            }
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
