//! Power vectors: lenses as points in a space in which distance means blur.

use super::{SpheroCylinder, float};
use std::ops::{Add, Sub};

/// A power as mean sphere and two crossed cylinders, in dioptres (Thibos, Wheeler, Horner,
/// Optometry and Vision Science 1997; 74: 367-375).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerVector {
    /// Mean sphere: S + C/2.
    pub m: f64,
    /// Crossed cylinder at 0 and 90 degrees: -(C/2) cos 2A.
    pub j0: f64,
    /// Crossed cylinder at 45 and 135 degrees: -(C/2) sin 2A.
    pub j45: f64,
}

impl PowerVector {
    /// The vector of a lens; absent where a cylinder's axis is not known.
    pub fn of(lens: &SpheroCylinder) -> Option<Self> {
        let half = float(lens.cylinder().value()) / 2.0;
        let m = float(lens.sphere().value()) + half;
        if half == 0.0 {
            return Some(Self { m, j0: 0.0, j45: 0.0 });
        }
        let (sine, cosine) = (2.0 * float(lens.axis()?.value())).to_radians().sin_cos();
        Some(Self { m, j0: -half * cosine, j45: -half * sine })
    }

    /// Length of the vector, the blur strength B, in dioptres.
    pub fn length(&self) -> f64 {
        (self.m * self.m + self.j0 * self.j0 + self.j45 * self.j45).sqrt()
    }

    /// Dioptric distance: the length of the difference.
    pub fn distance(&self, other: &Self) -> f64 {
        (*self - *other).length()
    }

    /// As sphere, cylinder (minus form) and axis above 0 and up to 180. A cylinder below a
    /// billionth of a dioptre is none and has no axis.
    pub fn minus_form(&self) -> (f64, f64, Option<f64>) {
        let half = self.j0.hypot(self.j45);
        if half < 5e-10 {
            return (self.m, 0.0, None);
        }
        let angle = self.j45.atan2(self.j0).to_degrees() / 2.0;
        // A negative angle of rounding noise must not become 180 minus noise's neighbour, 0.
        let axis = if angle <= 1e-12 { angle + 180.0 } else { angle };
        (self.m + half, -2.0 * half, Some(axis))
    }
}

impl Add for PowerVector {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { m: self.m + other.m, j0: self.j0 + other.j0, j45: self.j45 + other.j45 }
    }
}

impl Sub for PowerVector {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { m: self.m - other.m, j0: self.j0 - other.j0, j45: self.j45 - other.j45 }
    }
}
