//! What a person reads off a manual focimeter, and the lens it means.
//!
//! A drum reading: the sphere lines come into focus at drum value d1, the cylinder lines at d2,
//! with the axis wheel at A. Then S = d1, C = d2 - d1, axis A, whatever the sign of C. The drum
//! at the near portion less d1 is the addition. (Common practice; no source.)

use crate::optics::normal::{is_within_reach, normal_form};
use crate::order::OrderedLens;
use crate::order::validate::Range;
use crate::parsers::reading::{Lens, PrismPart, Reading};
use crate::parsers::units::{Degree, Dioptre};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

/// Where the drum may stand at zero: beyond this the focimeter, or what was typed, is at fault (this
/// project's own figure).
pub const ZERO: Range = Range::new(-1, 1, "D");

/// The two drum values and the axis wheel, as read.
#[skip_serializing_none]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drums {
    /// Where the sphere lines are sharp, dioptres.
    pub sphere_lines: Dioptre,
    /// Where the cylinder lines are sharp, dioptres; absent where all lines are sharp together.
    pub cylinder_lines: Option<Dioptre>,
    /// The axis wheel, degrees.
    pub wheel: Option<Degree>,
}

/// A manual reading of one lens, as it was read. Nothing in it is converted.
#[skip_serializing_none]
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AsRead {
    /// Sphere in dioptres, where the person worked it out.
    pub sphere: Option<Dioptre>,
    /// Cylinder in dioptres, of either sign.
    pub cylinder: Option<Dioptre>,
    /// Axis in degrees.
    pub axis: Option<Degree>,
    /// The drum values, where the tool works it out.
    pub drums: Option<Drums>,
    /// Where the lines of the distance reading are sharp in the near portion, dioptres.
    pub near_drum: Option<Dioptre>,
    /// Addition in dioptres, where the person worked it out.
    pub addition: Option<Dioptre>,
    /// Prism: one part by rings and direction, or horizontal and vertical parts. An empty list
    /// means that the target was centred.
    pub prism: Option<Vec<PrismPart>>,
}

/// Why what was read means no lens.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NotALens(String);

fn wrong<T>(what: &str) -> Result<T, NotALens> {
    Err(NotALens(what.to_owned()))
}

impl AsRead {
    /// The lens in normal form: minus cylinder, axis above 0 and up to 180.
    ///
    /// # Errors
    /// Nothing read, both forms at once, a cylinder without axis, an axis beyond 0 to 180, a prism
    /// below 0.
    pub fn lens(&self) -> Result<Lens, NotALens> {
        let reading = normal_form(Reading { unspecified: Some(self.worked_out()?), ..Reading::default() });
        Ok(reading.unspecified.expect("put in just above"))
    }

    /// What is read by hand now has to be a lens, and within the ranges of orders. What is on record
    /// means what it meant: [`lens`](AsRead::lens) stays as wide as it was.
    ///
    /// # Errors
    /// As of [`lens`](AsRead::lens), and values that no lens to be read by hand has.
    pub fn plausible(&self) -> Result<Lens, NotALens> {
        let Lens { sphere, cylinder, axis, addition, prism, .. } = self.worked_out()?;
        let values = OrderedLens { sphere, cylinder, axis, addition, prism, ..OrderedLens::default() };
        match values.validate().first() {
            Some(invalid) => wrong(&invalid.to_string()),
            None => self.lens(),
        }
    }

    /// The values before they are brought into normal form.
    fn worked_out(&self) -> Result<Lens, NotALens> {
        let (sphere, cylinder, axis) = match (self.drums, self.sphere) {
            (Some(_), _) if self.sphere.is_some() || self.cylinder.is_some() || self.axis.is_some() => {
                return wrong("drum values and sphere, cylinder or axis: give one form or the other");
            }
            (Some(drums), _) => {
                let cylinder =
                    drums.cylinder_lines.map_or(Dioptre::ZERO, |second| second - drums.sphere_lines);
                (Some(drums.sphere_lines), Some(cylinder), drums.wheel)
            }
            (None, None) if self.cylinder.is_some() || self.axis.is_some() => {
                return wrong("cylinder or axis without a sphere: give the sphere too, 0.00 for plano");
            }
            (None, sphere) => (sphere, sphere.map(|_| self.cylinder.unwrap_or(Dioptre::ZERO)), self.axis),
        };
        if cylinder.is_some_and(|cylinder| !cylinder.is_zero()) && axis.is_none() {
            return wrong("a cylinder without an axis: give the axis wheel, 0 to 180");
        }
        if axis.is_some_and(|axis| axis < Degree::ZERO || axis.value() > Decimal::from(180)) {
            return wrong("the axis is not between 0 and 180 degrees");
        }
        if self.prism.iter().flatten().any(|part| part.amount.value().is_sign_negative()) {
            return wrong("a prism below 0: give its amount and where its base lies");
        }
        let addition = match (self.near_drum, self.addition) {
            (Some(_), Some(_)) => return wrong("near drum value and addition: give one or the other"),
            (Some(near), None) => match sphere {
                Some(distance) => Some(near - distance),
                None => {
                    return wrong(
                        "a near drum value without the distance one: the addition is their difference",
                    );
                }
            },
            (None, addition) => addition,
        };
        let lens = Lens { sphere, cylinder, axis, addition, prism: self.prism.clone(), ..Lens::default() };
        if lens == Lens::default() {
            return wrong("nothing was read: give a power, an addition or a prism");
        }
        if !is_within_reach(&lens) {
            return wrong("a number that no lens comes near: check the decimal point");
        }
        Ok(lens)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lens(json: &str) -> Result<String, String> {
        let read: AsRead = serde_json::from_str(json).unwrap();
        read.lens().map(|lens| serde_json::to_string(&lens).unwrap()).map_err(|why| why.to_string())
    }

    #[test]
    fn drum_values_become_a_lens_whatever_the_sign_of_the_cylinder() {
        assert_eq!(
            lens(r#"{"drums":{"sphere_lines":-1.25,"cylinder_lines":-1.75,"wheel":90},"near_drum":0.75}"#)
                .unwrap(),
            r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00}"#
        );
        // The same lens with the other line group first: plus cylinder, the axis a quarter turn away.
        assert_eq!(
            lens(r#"{"drums":{"sphere_lines":-1.75,"cylinder_lines":-1.25,"wheel":180}}"#).unwrap(),
            r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"as_sent":{"sphere":-1.75,"cylinder":0.50,"axis":180}}"#
        );
        assert_eq!(lens(r#"{"drums":{"sphere_lines":2.00}}"#).unwrap(), r#"{"sphere":2.00,"cylinder":0}"#);
    }

    #[test]
    fn what_no_lens_comes_near_is_not_plausible_but_means_what_it_meant() {
        for (json, words) in [
            (r#"{"sphere":-400}"#, "sphere: -400 is out of range; -40 to 40 D is expected"),
            (r#"{"sphere":1.00,"addition":-2}"#, "addition: -2 is out of range; 0 to 20 D"),
            (r#"{"drums":{"sphere_lines":30,"cylinder_lines":-30,"wheel":90}}"#, "cylinder: -60 is out"),
            (r#"{"drums":{"sphere_lines":1.00},"near_drum":0.50}"#, "addition: -0.50 is out of range"),
            (r#"{"sphere":1.00,"prism":[{"amount":1,"base":370}]}"#, "0 to 360 degrees of base is expected"),
            (
                r#"{"sphere":1.00,"prism":[{"amount":0.5,"base":"in"},{"amount":0.5,"base":"out"}]}"#,
                "prism: in and out at once",
            ),
        ] {
            let read: AsRead = serde_json::from_str(json).unwrap();
            let why = read.plausible().unwrap_err().to_string();
            assert!(why.contains(words), "{json}: {why}");
            assert!(read.lens().is_ok(), "{json}: a record of it can be derived again");
        }
        let read: AsRead = serde_json::from_str(r#"{"sphere":-1.75,"cylinder":0.50,"axis":180}"#).unwrap();
        assert_eq!(read.plausible(), read.lens());
        assert!(ZERO.outside("zero", Decimal::ONE).is_none(), "the end is within");
    }

    #[test]
    fn what_means_no_lens_is_refused_with_what_to_give() {
        let says = |json: &str, words: &str| {
            let why = lens(json).unwrap_err();
            assert!(why.contains(words), "{json}: {why}");
        };
        says("{}", "nothing was read");
        says(r#"{"sphere":1.00,"drums":{"sphere_lines":1.00}}"#, "one form or the other");
        says(r#"{"cylinder":-0.50,"axis":90}"#, "without a sphere");
        says(r#"{"sphere":1.00,"cylinder":-0.50}"#, "without an axis");
        says(r#"{"sphere":1.00,"cylinder":-0.50,"axis":181}"#, "between 0 and 180");
        says(r#"{"drums":{"sphere_lines":1.00,"cylinder_lines":0.50}}"#, "without an axis");
        says(r#"{"near_drum":3.00}"#, "without the distance one");
        says(r#"{"sphere":1.00,"prism":[{"amount":-1,"base":"in"}]}"#, "below 0");
        says(r#"{"sphere":125000}"#, "decimal point");
    }
}
