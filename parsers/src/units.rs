//! Exact quantities: decimals with a unit, never floats.
//!
//! A lens exactly on its limit must pass, and `5.12 - 5.00 <= 0.12` is false in binary
//! floating point. Each type keeps the digits it was given: `-2.00` stays `-2.00`.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, Neg, Sub};
use std::str::FromStr;

/// Why a text is not a quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is not a decimal number such as -1.25")]
pub struct NotANumber {
    /// The text as it was given.
    pub text: String,
}

/// Numbers as their digits; what is none is refused in words for people who write JSON.
mod digits {
    use rust_decimal::Decimal;
    use rust_decimal::serde::arbitrary_precision;
    use serde::de::Error;
    use serde::{Deserializer, Serializer};

    pub fn serialize<S: Serializer>(value: &Decimal, serializer: S) -> Result<S::Ok, S::Error> {
        arbitrary_precision::serialize(value, serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Decimal, D::Error> {
        arbitrary_precision::deserialize(deserializer)
            .map_err(|_| D::Error::custom("a decimal number such as -1.25 is expected"))
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(#[serde(with = "digits")] Decimal);

        impl $name {
            /// The unit as it is written in verdicts.
            pub const UNIT: &'static str = $unit;
            /// Nothing of this quantity.
            pub const ZERO: Self = Self(Decimal::ZERO);

            /// A quantity of this many units; a negative zero loses its sign.
            pub fn new(mut value: Decimal) -> Self {
                if value.is_zero() {
                    value.set_sign_positive(true);
                }
                Self(value)
            }

            /// `mantissa` times ten to the power of minus `scale`: `(-125, 2)` is -1.25.
            pub fn from_scaled(mantissa: i64, scale: u32) -> Self {
                Self::new(Decimal::new(mantissa, scale))
            }

            /// The number of units.
            pub fn value(self) -> Decimal {
                self.0
            }

            /// The magnitude, without sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// Whether this is exactly nothing.
            pub fn is_zero(self) -> bool {
                self.0.is_zero()
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::new(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::new(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self::new(-self.0)
            }
        }

        impl FromStr for $name {
            type Err = NotANumber;
            fn from_str(text: &str) -> Result<Self, NotANumber> {
                Decimal::from_str(text.trim())
                    .map(Self::new)
                    .map_err(|_| NotANumber { text: text.to_owned() })
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.0, $unit)
            }
        }
    };
}

quantity!(
    /// Focal power in dioptres, reciprocal metres (ISO 13666).
    Dioptre,
    "D"
);
quantity!(
    /// Prismatic power in prism dioptres, centimetres of deviation at one metre (ISO 13666).
    PrismDioptre,
    "prism-D"
);
quantity!(
    /// An angle in degrees (ISO 8429: seen from in front of the wearer, counter-clockwise).
    Degree,
    "deg"
);
quantity!(
    /// A length in millimetres.
    Millimetre,
    "mm"
);
quantity!(
    /// A share in percent, for transmittance.
    Percent,
    "%"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_survive_json() {
        let power: Dioptre = serde_json::from_str("-2.00").unwrap();
        assert_eq!(serde_json::to_string(&power).unwrap(), "-2.00");
        let written: Dioptre = serde_json::from_str("\"+1.50\"").unwrap();
        assert_eq!(serde_json::to_string(&written).unwrap(), "1.50");
    }

    #[test]
    fn the_limit_itself_is_exact() {
        let deviation = Dioptre::from_str("5.12").unwrap() - Dioptre::from_str("5.00").unwrap();
        assert_eq!(deviation, Dioptre::from_scaled(12, 2));
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!("-0.00".parse::<Dioptre>().unwrap().to_string(), "0.00");
        assert_eq!((-Dioptre::ZERO).to_string(), "0");
    }
}
