//! The dioptric power matrix (Long, American Journal of Optometry and Physiological Optics
//! 1976; 53: 27-33).

use super::{SpheroCylinder, float};
use crate::parsers::reading::Eye;
use std::ops::{Add, Sub};

/// Power as a symmetric matrix in dioptres; x is horizontal and y vertical, seen from in
/// front of the wearer. Lenses in contact add entry by entry, whatever their axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerMatrix {
    /// S + C sin^2 A: the power in the horizontal meridian.
    pub xx: f64,
    /// -C sin A cos A.
    pub xy: f64,
    /// S + C cos^2 A: the power in the vertical meridian.
    pub yy: f64,
}

impl PowerMatrix {
    /// The matrix of a lens; absent where a cylinder's axis is not known.
    pub fn of(lens: &SpheroCylinder) -> Option<Self> {
        let sphere = float(lens.sphere().value());
        let cylinder = float(lens.cylinder().value());
        if cylinder == 0.0 {
            return Some(Self { xx: sphere, xy: 0.0, yy: sphere });
        }
        let (sine, cosine) = float(lens.axis()?.value()).to_radians().sin_cos();
        Some(Self {
            xx: sphere + cylinder * sine * sine,
            xy: -cylinder * sine * cosine,
            yy: sphere + cylinder * cosine * cosine,
        })
    }

    /// Prism (prism dioptres, in and up positive) at a point `inward` and `upward` of the
    /// optical centre (mm). Prentice's rule in matrix form: p = -F r, with r in cm.
    pub fn prentice(&self, eye: Eye, inward: f64, upward: f64) -> (f64, f64) {
        let x = nasal_sign(eye) * inward / 10.0;
        let y = upward / 10.0;
        let (px, py) = (-(self.xx * x + self.xy * y), -(self.xy * x + self.yy * y));
        (nasal_sign(eye) * px, py)
    }

    /// As sphere, cylinder (minus form) and axis above 0 and up to 180: the eigenvalues.
    pub fn minus_form(&self) -> (f64, f64, Option<f64>) {
        super::PowerVector { m: (self.xx + self.yy) / 2.0, j0: (self.xx - self.yy) / 2.0, j45: self.xy }
            .minus_form()
    }
}

/// Seen from in front of the wearer, the nose is at the right of a right lens (ISO 8429).
fn nasal_sign(eye: Eye) -> f64 {
    match eye {
        Eye::Right => 1.0,
        Eye::Left => -1.0,
    }
}

impl Add for PowerMatrix {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { xx: self.xx + other.xx, xy: self.xy + other.xy, yy: self.yy + other.yy }
    }
}

impl Sub for PowerMatrix {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { xx: self.xx - other.xx, xy: self.xy - other.xy, yy: self.yy - other.yy }
    }
}
