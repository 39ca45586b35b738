//! Prism of one lens as components and as amount and base (ISO 8429).

use super::{float, rounded};
use crate::parsers::reading::{Base, Eye, PrismPart};
use crate::parsers::units::{Degree, PrismDioptre};
use rust_decimal::Decimal;
use std::ops::{Add, Sub};

/// Prism of one lens in prism dioptres, as the wearer's nose and forehead see it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Prism {
    /// Base in is positive, base out negative.
    pub horizontal: PrismDioptre,
    /// Base up is positive, base down negative.
    pub vertical: PrismDioptre,
}

impl Prism {
    /// The sum of the parts of one lens's prism. Exact for in, out, up, down and whole
    /// quarter turns; else components are rounded to [`super::ANGLE_PLACES`].
    pub fn of(eye: Eye, parts: &[PrismPart]) -> Self {
        parts.iter().fold(Self::default(), |sum, part| sum + Self::of_part(eye, part))
    }

    fn of_part(eye: Eye, part: &PrismPart) -> Self {
        let amount = part.amount;
        let none = PrismDioptre::ZERO;
        match part.base {
            Base::In => Self { horizontal: amount, vertical: none },
            Base::Out => Self { horizontal: -amount, vertical: none },
            Base::Up => Self { horizontal: none, vertical: amount },
            Base::Down => Self { horizontal: none, vertical: -amount },
            Base::Towards(angle) => Self::from_polar(eye, amount, angle),
        }
    }

    /// From amount and base in degrees, counter-clockwise seen from in front of the wearer:
    /// horizontal P cos, vertical P sin; 0 is in for the right eye and out for the left.
    pub fn from_polar(eye: Eye, amount: PrismDioptre, base: Degree) -> Self {
        let (x, y) = match quarter_turns(base.value()) {
            Some(0) => (amount, PrismDioptre::ZERO),
            Some(1) => (PrismDioptre::ZERO, amount),
            Some(2) => (-amount, PrismDioptre::ZERO),
            Some(_) => (PrismDioptre::ZERO, -amount),
            None => {
                let (sine, cosine) = float(base.value()).to_radians().sin_cos();
                let size = float(amount.value());
                (PrismDioptre::new(rounded(size * cosine)), PrismDioptre::new(rounded(size * sine)))
            }
        };
        Self { horizontal: inward(eye, x), vertical: y }
    }

    /// Amount in prism dioptres and base from 0 to below 360 degrees; no base where there is
    /// no prism.
    pub fn to_polar(&self, eye: Eye) -> (f64, Option<f64>) {
        let x = float(inward(eye, self.horizontal).value());
        let y = float(self.vertical.value());
        if x == 0.0 && y == 0.0 {
            return (0.0, None);
        }
        (x.hypot(y), Some(y.atan2(x).to_degrees().rem_euclid(360.0)))
    }
}

/// Turns the front view's x into inward for `eye`, and back.
fn inward(eye: Eye, x: PrismDioptre) -> PrismDioptre {
    match eye {
        Eye::Right => x,
        Eye::Left => -x,
    }
}

/// How many quarter turns (0 to 3) an angle is, where it is a whole number of them.
fn quarter_turns(angle: Decimal) -> Option<u8> {
    let turn = angle % Decimal::from(360);
    (0u8..4).find(|&n| {
        let here = Decimal::from(90 * u16::from(n));
        turn == here || turn + Decimal::from(360) == here
    })
}

impl Add for Prism {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { horizontal: self.horizontal + other.horizontal, vertical: self.vertical + other.vertical }
    }
}

impl Sub for Prism {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { horizontal: self.horizontal - other.horizontal, vertical: self.vertical - other.vertical }
    }
}
