//! What a number in a frame can be, in which units, and within which range.
//!
//! The ranges come from no standard: they are wider than any spectacle lens and are there so
//! that a damaged number is refused instead of judged.

use crate::reading::Eye;

/// A number that a frame can carry about a lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Quantity {
    Sphere,
    Cylinder,
    Axis,
    Addition,
    SecondAddition,
    PrismHorizontal,
    PrismVertical,
    Prism,
    PrismBase,
    Pd,
    NearPd,
    SegmentHeight,
    ReferenceHeight,
    Transmittance,
}

/// A unit's name and the power of ten by which it is larger than the reading model's own unit.
type Unit = (&'static str, i32);

const DIOPTRE: &[Unit] = &[("D", 0)];
const PRISM_DIOPTRE: &[Unit] = &[("prism-D", 0)];
const DEGREE: &[Unit] = &[("deg", 0)];
const LENGTH: &[Unit] = &[("mm", 0), ("cm", 1), ("m", 3)];
const SHARE: &[Unit] = &[("%", 0), ("fraction", 2)];

impl Quantity {
    /// How many there are.
    pub const COUNT: usize = Self::ALL.len();

    /// Every quantity by the name that layouts use, in the order of the variants.
    pub const ALL: [(&'static str, Self); 14] = [
        ("sphere", Self::Sphere),
        ("cylinder", Self::Cylinder),
        ("axis", Self::Axis),
        ("addition", Self::Addition),
        ("second_addition", Self::SecondAddition),
        ("prism_horizontal", Self::PrismHorizontal),
        ("prism_vertical", Self::PrismVertical),
        ("prism", Self::Prism),
        ("prism_base", Self::PrismBase),
        ("pd", Self::Pd),
        ("near_pd", Self::NearPd),
        ("segment_height", Self::SegmentHeight),
        ("reference_height", Self::ReferenceHeight),
        ("transmittance", Self::Transmittance),
    ];

    /// The name that layouts use.
    pub fn name(self) -> &'static str {
        Self::ALL[self as usize].0
    }

    /// Least and greatest value, in the reading model's unit.
    pub fn range(self) -> (i64, i64) {
        match self {
            Self::Sphere => (-40, 40),
            Self::Cylinder => (-20, 20),
            Self::Axis => (0, 180),
            Self::Addition | Self::SecondAddition => (0, 10),
            Self::PrismHorizontal | Self::PrismVertical => (-30, 30),
            Self::Prism => (0, 30),
            Self::PrismBase => (0, 360),
            Self::Pd | Self::NearPd => (0, 60),
            Self::SegmentHeight | Self::ReferenceHeight => (0, 80),
            Self::Transmittance => (0, 100),
        }
    }

    /// Units in which it can be sent; the first is the reading model's own.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::Sphere | Self::Cylinder | Self::Addition | Self::SecondAddition => DIOPTRE,
            Self::PrismHorizontal | Self::PrismVertical | Self::Prism => PRISM_DIOPTRE,
            Self::Axis | Self::PrismBase => DEGREE,
            Self::Pd | Self::NearPd | Self::SegmentHeight | Self::ReferenceHeight => LENGTH,
            Self::Transmittance => SHARE,
        }
    }

    /// The part of a prism whose base this is the amount or the angle of.
    pub fn component(self) -> Option<Component> {
        match self {
            Self::PrismHorizontal => Some(Component::Horizontal),
            Self::PrismVertical => Some(Component::Vertical),
            Self::Prism | Self::PrismBase => Some(Component::Whole),
            _ => None,
        }
    }
}

/// A part of a prism that a frame can give an amount and a base for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Component {
    Horizontal,
    Vertical,
    Whole,
}

impl Component {
    pub const ALL: [Self; 3] = [Self::Horizontal, Self::Vertical, Self::Whole];

    pub fn amount(self) -> Quantity {
        match self {
            Self::Horizontal => Quantity::PrismHorizontal,
            Self::Vertical => Quantity::PrismVertical,
            Self::Whole => Quantity::Prism,
        }
    }

    /// The name that layouts use for its base.
    pub fn base_name(self) -> &'static str {
        match self {
            Self::Horizontal => "prism_horizontal_base",
            Self::Vertical => "prism_vertical_base",
            Self::Whole => "prism_base",
        }
    }
}

/// What a field is called in messages: `right sphere`.
pub(super) fn label(eye: Option<Eye>, name: &str) -> String {
    match eye {
        Some(eye) => format!("{eye} {name}"),
        None => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stand_at_their_variants() {
        for (index, (name, quantity)) in Quantity::ALL.into_iter().enumerate() {
            assert_eq!(quantity as usize, index, "{name}");
            assert_eq!(quantity.name(), name);
        }
    }
}
