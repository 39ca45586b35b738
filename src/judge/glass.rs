//! One eye's order and measurement, seen along the two directions of prism.

use super::band::{Key, Keys};
use super::eighths;
use super::power::Form;
use super::rules::{PowerOf, Subject};
use super::verdict::Quantity;
use crate::optics::{Prism, SpheroCylinder};
use crate::order::OrderedLens;
use crate::parsers::reading::{Eye, Lens};
use crate::parsers::units::{Dioptre, Millimetre};
use rust_decimal::Decimal;

/// One eye's order and measurement, with what prism needs of them worked out.
pub(super) struct Glass<'a> {
    pub eye: Eye,
    pub ordered: &'a OrderedLens,
    pub measured: &'a Lens,
    pub form: Form,
    ordered_prism: Prism,
    measured_prism: Option<Prism>,
}

/// Along which meridian prism is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Direction {
    Horizontal,
    Vertical,
}

impl Direction {
    pub const BOTH: [Direction; 2] = [Self::Horizontal, Self::Vertical];

    pub fn of_lens(self) -> (Subject, Quantity) {
        match self {
            Self::Horizontal => (Subject::PrismHorizontal, Quantity::PrismHorizontal),
            Self::Vertical => (Subject::PrismVertical, Quantity::PrismVertical),
        }
    }

    pub fn of_pair(self) -> (Subject, Quantity) {
        match self {
            Self::Horizontal => (Subject::PrismImbalanceHorizontal, Quantity::PrismImbalanceHorizontal),
            Self::Vertical => (Subject::PrismImbalanceVertical, Quantity::PrismImbalanceVertical),
        }
    }

    pub fn component(self, prism: Prism) -> Decimal {
        match self {
            Self::Horizontal => prism.horizontal.value(),
            Self::Vertical => prism.vertical.value(),
        }
    }

    pub fn power(self, lens: &SpheroCylinder) -> Option<Decimal> {
        match self {
            Self::Horizontal => lens.horizontal_power(),
            Self::Vertical => lens.vertical_power(),
        }
        .map(Dioptre::value)
    }

    /// Both lenses together. Inward counts positive for either eye, so horizontal prism adds
    /// up; vertical prism is felt as the difference.
    pub fn together(self, right: Decimal, left: Decimal) -> Decimal {
        match self {
            Self::Horizontal => right + left,
            Self::Vertical => right - left,
        }
    }

    /// The quantity of the reference point's place in this direction.
    pub fn place(self) -> Quantity {
        match self {
            Self::Horizontal => Quantity::Pd,
            Self::Vertical => Quantity::ReferenceHeight,
        }
    }
}

impl<'a> Glass<'a> {
    pub fn new(eye: Eye, ordered: &'a OrderedLens, measured: &'a Lens) -> Self {
        Self {
            eye,
            ordered,
            measured,
            form: Form::ordered(ordered),
            ordered_prism: Prism::of(eye, ordered.prism.as_deref().unwrap_or_default()),
            measured_prism: measured.prism.as_ref().map(|parts| Prism::of(eye, parts)),
        }
    }

    pub fn is_prism_ordered(&self) -> bool {
        self.ordered.prism.iter().flatten().any(|part| !part.amount.is_zero())
    }

    pub fn ordered_prism(&self, direction: Direction) -> Decimal {
        direction.component(self.ordered_prism)
    }

    pub fn measured_prism(&self, direction: Direction) -> Option<Decimal> {
        Some(direction.component(self.measured_prism?))
    }

    /// Ordered and measured place of the reference point, mm.
    pub fn places(&self, direction: Direction) -> (Option<Decimal>, Option<Decimal>) {
        let (ordered, measured) = match direction {
            Direction::Horizontal => (self.ordered.pd, self.measured.pd),
            Direction::Vertical => (self.ordered.reference_height, self.measured.reference_height),
        };
        (ordered.map(Millimetre::value), measured.map(Millimetre::value))
    }

    /// Magnitude of the ordered power that prism depends on: as written, and as the eighths
    /// that the order stands for.
    pub fn power(&self, direction: Direction, of: PowerOf) -> Option<Power> {
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

/// Magnitude of an ordered power, D.
#[derive(Debug, Clone, Copy)]
pub(super) struct Power {
    /// As written.
    pub written: Decimal,
    /// As the eighths that the order stands for.
    pub meant: Decimal,
}

/// By what a prism band is chosen: the power concerned and the ordered component.
pub(super) fn keys(power: Option<Power>, ordered: Decimal) -> Keys {
    let keys = Keys::default().with(Key::Prism, ordered);
    power.map_or(keys, |power| keys.with(Key::Power, power.meant))
}
