//! Optics of one lens and one pair. Pure.
//!
//! - [`lens`]: sphere, cylinder and axis; transposition, principal meridians
//! - [`vector`]: power vectors and the dioptric distance
//! - [`matrix`]: the dioptric power matrix; Prentice's rule, crossed cylinders
//! - [`prism`]: prism as components and as amount and base
//! - [`normal`]: a reading in normal form
//!
//! What is compared with a limit is an exact decimal. Where an angle comes in, the value is
//! computed in floating point and rounded to [`ANGLE_PLACES`], so that every machine says
//! the same.

pub mod lens;
pub mod matrix;
pub mod normal;
pub mod prism;
pub mod vector;

pub use lens::SpheroCylinder;
pub use matrix::PowerMatrix;
pub use normal::normal_form;
pub use prism::Prism;
pub use vector::PowerVector;

use rust_decimal::Decimal;

/// Decimal places of a value that depends on an angle other than a multiple of 90 degrees.
pub const ANGLE_PLACES: u32 = 4;

/// A decimal as a float, for trigonometry only.
pub(crate) fn float(value: Decimal) -> f64 {
    // The mantissa of a lens's power is far below 2^53, so this is the nearest float.
    value.mantissa() as f64 / 10f64.powi(value.scale() as i32)
}

/// A float as a decimal of [`ANGLE_PLACES`] without trailing zeros.
pub(crate) fn rounded(value: f64) -> Decimal {
    let scaled = (value * 10f64.powi(ANGLE_PLACES as i32)).round();
    Decimal::new(scaled as i64, ANGLE_PLACES).normalize()
}
