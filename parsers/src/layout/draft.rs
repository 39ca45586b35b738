//! A reading while it is being put together.

use super::miss::{Expected, Miss};
use super::number::Number;
use super::program::Always;
use super::quantity::{Component, Quantity};
use crate::reading::{Base, Eye, Lens, Mode, PrismPart, Reading, Vertex};
use crate::units::{Degree, Dioptre, Millimetre, Percent, PrismDioptre};

/// For which lens a value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Slot {
    Right,
    Left,
    Unspecified,
    /// Of this line, whose eye mark may still come.
    Line,
}

impl From<Option<Eye>> for Slot {
    fn from(eye: Option<Eye>) -> Self {
        match eye {
            Some(Eye::Right) => Self::Right,
            Some(Eye::Left) => Self::Left,
            None => Self::Unspecified,
        }
    }
}

/// Which direction a lens was taken in, and from which side.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Manner {
    pub mode: Option<Mode>,
    pub vertex: Option<Vertex>,
}

impl Manner {
    pub fn or(self, other: Self) -> Self {
        Self { mode: self.mode.or(other.mode), vertex: self.vertex.or(other.vertex) }
    }
}

#[derive(Debug, Default)]
struct LensDraft<'a> {
    numbers: [Option<Number>; Quantity::COUNT],
    bases: [Option<Base>; Component::ALL.len()],
    /// Where a prism amount stands that still needs a base.
    amount_at: [&'a [u8]; Component::ALL.len()],
    manner: Manner,
    said: bool,
}

/// A reading while it is being put together.
#[derive(Debug, Default)]
pub(super) struct Draft<'a> {
    pub reading: Reading,
    lenses: [Option<LensDraft<'a>>; 4],
}

impl<'a> Draft<'a> {
    /// Takes a number; false where the frame said it before.
    #[must_use]
    pub fn number(&mut self, slot: Slot, quantity: Quantity, number: Number, cell: &'a [u8]) -> bool {
        let lens = self.lens(slot);
        if quantity != Quantity::PrismBase
            && let Some(component) = quantity.component()
        {
            lens.amount_at[component as usize] = cell;
        }
        lens.said = true;
        lens.numbers[quantity as usize].replace(number).is_none()
    }

    /// Takes a prism's base; false where the frame said it before.
    #[must_use]
    pub fn base(&mut self, slot: Slot, component: Component, base: Base) -> bool {
        self.lens(slot).bases[component as usize].replace(base).is_none()
    }

    /// Says how the values of `slot` were taken, where the frame has not said so yet.
    pub fn manner(&mut self, slot: Slot, manner: Manner) {
        // A lens of which nothing has been said is no lens, however it would have been taken.
        if let Some(lens) = &mut self.lenses[slot as usize] {
            lens.manner = lens.manner.or(manner);
        }
    }

    fn lens(&mut self, slot: Slot) -> &mut LensDraft<'a> {
        self.lenses[slot as usize].get_or_insert_default()
    }

    /// Hands the values of a line to the lens that its eye mark names.
    pub fn assign_line(&mut self, to: Slot, line: &'a [u8]) -> Result<(), Miss<'a>> {
        let Some(from) = self.lenses[Slot::Line as usize].take() else { return Ok(()) };
        let Some(lens) = &mut self.lenses[to as usize] else {
            self.lenses[to as usize] = Some(from);
            return Ok(());
        };
        for (name, quantity) in Quantity::ALL {
            let Some(number) = from.numbers[quantity as usize] else { continue };
            if lens.numbers[quantity as usize].replace(number).is_some() {
                return Err(Miss::new(line, Expected::Once(name)));
            }
        }
        for component in Component::ALL {
            let index = component as usize;
            if let Some(base) = from.bases[index]
                && lens.bases[index].replace(base).is_some()
            {
                return Err(Miss::new(line, Expected::Once(component.base_name())));
            }
            if !from.amount_at[index].is_empty() {
                lens.amount_at[index] = from.amount_at[index];
            }
        }
        lens.said |= from.said;
        lens.manner = lens.manner.or(from.manner);
        Ok(())
    }

    /// The finished reading.
    pub fn finish(&mut self, always: Always) -> Result<Reading, Miss<'a>> {
        let otherwise = Manner { mode: always.mode, vertex: always.vertex };
        let [right, left, unspecified, _] = &self.lenses;
        let Reading { right: to_right, left: to_left, unspecified: to_unspecified, .. } = &mut self.reading;
        for (draft, place) in [(right, to_right), (left, to_left), (unspecified, to_unspecified)] {
            if let Some(draft) = draft {
                draft.finish(otherwise, place)?;
            }
        }
        if self.reading.reference_line.is_none() && self.reading.lenses_mut().next().is_some() {
            self.reading.reference_line = always.reference_line;
        }
        Ok(std::mem::take(&mut self.reading))
    }
}

impl<'a> LensDraft<'a> {
    /// Puts the lens into its `place`, if the frame gave any number for it.
    fn finish(&self, otherwise: Manner, place: &mut Option<Lens>) -> Result<(), Miss<'a>> {
        if !self.said {
            return Ok(());
        }
        let dioptres = |quantity| self.get(quantity).map(Dioptre::new);
        let millimetres = |quantity| self.get(quantity).map(Millimetre::new);
        let manner = self.manner.or(otherwise);
        *place = Some(Lens {
            sphere: dioptres(Quantity::Sphere),
            cylinder: dioptres(Quantity::Cylinder),
            axis: self.get(Quantity::Axis).map(Degree::new),
            addition: dioptres(Quantity::Addition),
            second_addition: dioptres(Quantity::SecondAddition),
            prism: self.prism()?,
            pd: millimetres(Quantity::Pd),
            near_pd: millimetres(Quantity::NearPd),
            segment_height: millimetres(Quantity::SegmentHeight),
            reference_height: millimetres(Quantity::ReferenceHeight),
            transmittance: self.get(Quantity::Transmittance).map(Percent::new),
            mode: manner.mode,
            vertex: manner.vertex,
            as_sent: None,
        });
        Ok(())
    }

    fn get(&self, quantity: Quantity) -> Option<rust_decimal::Decimal> {
        self.numbers[quantity as usize].map(Number::decimal)
    }

    fn prism(&self) -> Result<Option<Vec<PrismPart>>, Miss<'a>> {
        let mut parts: Option<Vec<PrismPart>> = None;
        for component in Component::ALL {
            let Some(amount) = self.get(component.amount()).map(PrismDioptre::new) else { continue };
            let parts = parts.get_or_insert_default();
            let degrees = self.get(Quantity::PrismBase).filter(|_| component == Component::Whole);
            let towards = degrees.map(|degrees| Base::Towards(Degree::new(degrees)));
            match self.bases[component as usize].or(towards) {
                Some(base) => parts.push(PrismPart { amount: amount.abs(), base }),
                // No prism has no base; the empty list says that it was measured.
                None if amount.is_zero() => {}
                None => {
                    let at = self.amount_at[component as usize];
                    let expected = Expected::Words("a base for this amount of prism in the same frame");
                    return Err(Miss { at, field: Some(component.base_name()), expected });
                }
            }
        }
        Ok(parts)
    }
}
