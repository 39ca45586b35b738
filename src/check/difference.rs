//! How far two readings of one lens lie apart, in ways that do not depend on how they were written.
//!
//! With cylinders of magnitude C1 and C2 and axes d apart, the dioptric distance of two powers
//! (Thibos, Wheeler, Horner 1997) is the root of
//! dM^2 + ((C1 - C2)/2)^2 + C1 C2 sin^2 d: the last term is the axis's share, and its root is the
//! axis difference weighted by the cylinder. The largest difference over all meridians is the
//! greater magnitude of the principal powers of the difference of the power matrices (Long 1976):
//! |dM| + root(dJ0^2 + dJ45^2).

use crate::optics::lens::axis_difference;
use crate::optics::{PowerVector, Prism, SpheroCylinder, float, rounded};
use crate::parsers::reading::{Eye, Lens};
use crate::parsers::units::{Degree, Dioptre, PrismDioptre};
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

/// The first reading less the second. What either of them lacks is absent. Rounded to
/// [`crate::optics::ANGLE_PLACES`].
#[skip_serializing_none]
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// Mean sphere, dioptres.
    pub m: Option<Dioptre>,
    /// Crossed cylinder at 0 and 90 degrees, dioptres.
    pub j0: Option<Dioptre>,
    /// Crossed cylinder at 45 and 135 degrees, dioptres.
    pub j45: Option<Dioptre>,
    /// Length of the difference of the power vectors, dioptres.
    pub distance: Option<Dioptre>,
    /// The largest difference in any meridian, dioptres; not negative.
    pub meridian: Option<Dioptre>,
    /// Axis on the half circle, above -90 and up to 90 degrees.
    pub axis: Option<Degree>,
    /// The axis difference weighted by the cylinders, dioptres; not negative.
    pub axis_weighted: Option<Dioptre>,
    /// Addition, dioptres.
    pub addition: Option<Dioptre>,
    /// Horizontal prism, in positive.
    pub prism_horizontal: Option<PrismDioptre>,
    /// Vertical prism, up positive.
    pub prism_vertical: Option<PrismDioptre>,
    /// Length of the difference of the prisms; not negative.
    pub prism: Option<PrismDioptre>,
}

/// The power of a lens, where it has one: a missing cylinder is no cylinder, and a cylinder
/// without axis is no power.
pub fn power(lens: &Lens) -> Option<SpheroCylinder> {
    let power = SpheroCylinder::new(lens.sphere?, lens.cylinder.unwrap_or(Dioptre::ZERO), lens.axis);
    (power.cylinder().is_zero() || power.axis().is_some()).then(|| power.minus_form())
}

/// The difference of two powers in power vectors, and its largest magnitude in any meridian.
pub(super) fn apart(one: &SpheroCylinder, other: &SpheroCylinder) -> Option<(PowerVector, Dioptre)> {
    let vector = PowerVector::of(one)? - PowerVector::of(other)?;
    let meridian = vector.m.abs() + vector.j0.hypot(vector.j45);
    Some((vector, Dioptre::new(rounded(meridian))))
}

/// How `first` differs from `second`; `eye` says where in and out lie.
pub fn difference(first: &Lens, second: &Lens, eye: Eye) -> Difference {
    let mut found = Difference::default();
    if let (Some(one), Some(other)) = (power(first), power(second))
        && let Some((vector, meridian)) = apart(&one, &other)
    {
        let dioptres = |value: f64| Some(Dioptre::new(rounded(value)));
        (found.m, found.j0, found.j45) = (dioptres(vector.m), dioptres(vector.j0), dioptres(vector.j45));
        (found.distance, found.meridian) = (dioptres(vector.length()), Some(meridian));
        if let (Some(from), Some(to)) = (other.axis(), one.axis()) {
            let turned = axis_difference(from, to);
            let cylinders = float(one.cylinder().value()) * float(other.cylinder().value());
            found.axis = Some(turned);
            found.axis_weighted =
                dioptres(cylinders.max(0.0).sqrt() * float(turned.value()).to_radians().sin().abs());
        }
    }
    found.addition = first.addition.zip(second.addition).map(|(one, other)| one - other);
    if let (Some(one), Some(other)) = (&first.prism, &second.prism) {
        let prism = Prism::of(eye, one) - Prism::of(eye, other);
        found.prism_horizontal = Some(prism.horizontal);
        found.prism_vertical = Some(prism.vertical);
        found.prism = Some(PrismDioptre::new(rounded(prism.to_polar(eye).0)));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(first: &str, second: &str) -> String {
        let lens = |json: &str| serde_json::from_str::<Lens>(json).unwrap();
        serde_json::to_string(&difference(&lens(first), &lens(second), Eye::Right)).unwrap()
    }

    #[test]
    fn two_writings_of_one_lens_do_not_differ() {
        let plus = r#"{"sphere":-1.75,"cylinder":0.50,"axis":180}"#;
        let minus = r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90}"#;
        assert_eq!(
            of(plus, minus),
            r#"{"m":0,"j0":0,"j45":0,"distance":0,"meridian":0,"axis":0,"axis_weighted":0}"#
        );
    }

    /// By hand: C = -2.00 turned by 3 degrees leaves 2.00 sin 3 = 0.1047 D, all of it axis.
    #[test]
    fn an_axis_error_weighs_as_much_as_its_cylinder() {
        let at =
            |axis: u32, cylinder: &str| format!(r#"{{"sphere":1.00,"cylinder":{cylinder},"axis":{axis}}}"#);
        let turned = of(&at(2, "-2.00"), &at(179, "-2.00"));
        assert!(
            turned.contains(r#""distance":0.1047,"meridian":0.1047,"axis":3,"axis_weighted":0.1047"#),
            "{turned}"
        );
        let small = of(&at(2, "-0.25"), &at(179, "-0.25"));
        assert!(small.contains(r#""axis":3,"axis_weighted":0.0131"#), "{small}");
    }

    /// By hand: dM = 0.03, dC/2 = 0.05 along the same axis: 0.03 + 0.05 in the one meridian.
    #[test]
    fn the_largest_difference_lies_in_one_meridian() {
        let both = of(
            r#"{"sphere":-1.17,"cylinder":-0.60,"axis":40,"addition":2.25,"prism":[{"amount":3,"base":"in"}]}"#,
            r#"{"sphere":-1.25,"cylinder":-0.50,"axis":40,"addition":2.00,"prism":[{"amount":4,"base":"up"}]}"#,
        );
        assert!(both.contains(r#""m":0.03,"#) && both.contains(r#""meridian":0.08,"#), "{both}");
        assert!(
            both.contains(r#""addition":0.25,"prism_horizontal":3,"prism_vertical":-4,"prism":5"#),
            "{both}"
        );
    }

    #[test]
    fn what_one_side_lacks_is_not_compared() {
        assert_eq!(of(r#"{"sphere":1.00,"cylinder":-0.50}"#, r#"{"sphere":1.00}"#), "{}");
        assert!(of(r#"{"sphere":1.00}"#, r#"{"sphere":1.00}"#).starts_with(r#"{"m":0,"#));
    }
}
