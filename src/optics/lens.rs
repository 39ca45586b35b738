//! One lens as sphere, cylinder and axis.

use super::{float, rounded};
use crate::parsers::units::{Degree, Dioptre};
use rust_decimal::Decimal;

const QUARTER_TURN: Decimal = Decimal::from_parts(90, 0, 0, false, 0);
const HALF_TURN: Decimal = Decimal::from_parts(180, 0, 0, false, 0);

/// A sphero-cylindrical power. The axis is above 0 and up to 180; it is absent where the
/// cylinder is zero, and where it is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SpheroCylinder {
    sphere: Dioptre,
    cylinder: Dioptre,
    axis: Option<Degree>,
}

/// An axis on the half circle above 0 and up to 180: 0 is written 180.
pub fn on_half_circle(axis: Degree) -> Degree {
    let value = axis.value();
    if value > Decimal::ZERO && value <= HALF_TURN {
        return axis;
    }
    let rest = value % HALF_TURN;
    Degree::new(if rest > Decimal::ZERO { rest } else { rest + HALF_TURN })
}

/// How far `to` lies from `from` on a half circle: above -90 and up to 90 degrees.
pub fn axis_difference(from: Degree, to: Degree) -> Degree {
    // The remainder keeps the sign of the difference, hence both corrections.
    let mut turn = (to.value() - from.value()) % HALF_TURN;
    if turn > QUARTER_TURN {
        turn -= HALF_TURN;
    } else if turn <= -QUARTER_TURN {
        turn += HALF_TURN;
    }
    Degree::new(turn)
}

impl SpheroCylinder {
    /// A lens of `sphere` and `cylinder` (D, any sign) along `axis` (degrees, any turn).
    pub fn new(sphere: Dioptre, cylinder: Dioptre, axis: Option<Degree>) -> Self {
        let axis = if cylinder.is_zero() { None } else { axis.map(on_half_circle) };
        Self { sphere, cylinder, axis }
    }

    /// Sphere in dioptres.
    pub fn sphere(&self) -> Dioptre {
        self.sphere
    }

    /// Cylinder in dioptres.
    pub fn cylinder(&self) -> Dioptre {
        self.cylinder
    }

    /// Axis in degrees, above 0 and up to 180.
    pub fn axis(&self) -> Option<Degree> {
        self.axis
    }

    /// The same lens with the cylinder's other sign: S + C, -C, axis a quarter turn away.
    pub fn transposed(&self) -> Self {
        if self.cylinder.is_zero() {
            return *self;
        }
        let quarter = Degree::new(QUARTER_TURN);
        Self::new(self.sphere + self.cylinder, -self.cylinder, self.axis.map(|axis| axis + quarter))
    }

    /// The normal form: the cylinder is not positive.
    pub fn minus_form(&self) -> Self {
        if self.cylinder > Dioptre::ZERO { self.transposed() } else { *self }
    }

    /// The principal powers, most plus first: S and S + C. The power along the axis is S.
    pub fn principal_powers(&self) -> (Dioptre, Dioptre) {
        let other = self.sphere + self.cylinder;
        if other > self.sphere { (other, self.sphere) } else { (self.sphere, other) }
    }

    /// Power in the horizontal meridian: S + C sin^2 A, the first entry of the power matrix
    /// (Long 1976). Exact along the axis and across it, else rounded to
    /// [`super::ANGLE_PLACES`]. Absent where a cylinder's axis is not known.
    pub fn horizontal_power(&self) -> Option<Dioptre> {
        self.power_by_share(|sine, _| sine * sine, QUARTER_TURN, HALF_TURN)
    }

    /// Power in the vertical meridian: S + C cos^2 A, the last entry of the power matrix
    /// (Long 1976). Rounded and absent as [`Self::horizontal_power`] is.
    pub fn vertical_power(&self) -> Option<Dioptre> {
        self.power_by_share(|_, cosine| cosine * cosine, HALF_TURN, QUARTER_TURN)
    }

    /// S + C times a share that is 1 at the axis `whole` and 0 at the axis `none`.
    fn power_by_share(&self, share: fn(f64, f64) -> f64, whole: Decimal, none: Decimal) -> Option<Dioptre> {
        if self.cylinder.is_zero() {
            return Some(self.sphere);
        }
        let axis = self.axis?.value();
        if axis == whole {
            return Some(self.sphere + self.cylinder);
        }
        if axis == none {
            return Some(self.sphere);
        }
        let (sine, cosine) = float(axis).to_radians().sin_cos();
        let part = rounded(float(self.cylinder.value()) * share(sine, cosine));
        Some(self.sphere + Dioptre::new(part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lens(sphere: i64, cylinder: i64, axis: i64) -> SpheroCylinder {
        let axis = Some(Degree::from_scaled(axis, 0));
        SpheroCylinder::new(Dioptre::from_scaled(sphere, 2), Dioptre::from_scaled(cylinder, 2), axis)
    }

    #[test]
    fn axis_zero_is_written_180_and_no_cylinder_has_no_axis() {
        assert_eq!(lens(-200, -100, 0).axis(), Some(Degree::from_scaled(180, 0)));
        assert_eq!(lens(-200, -100, 360).axis(), Some(Degree::from_scaled(180, 0)));
        assert_eq!(lens(-200, -100, -10).axis(), Some(Degree::from_scaled(170, 0)));
        assert_eq!(lens(-200, 0, 35).axis(), None);
    }

    #[test]
    fn axes_differ_on_a_half_circle() {
        let between = |from: i64, to: i64| {
            axis_difference(Degree::from_scaled(from, 0), Degree::from_scaled(to, 0)).to_string()
        };
        assert_eq!(between(178, 2), "4");
        assert_eq!(between(2, 178), "-4");
        assert_eq!(between(180, 1), "1");
        assert_eq!(between(0, 180), "0");
        assert_eq!(between(45, 135), "90");
        assert_eq!(between(135, 45), "90");
        assert_eq!(between(90, 1), "-89");
    }

    #[test]
    fn digits_survive_the_normal_form() {
        let minus = lens(-175, 50, 180).minus_form();
        assert_eq!(
            (minus.sphere().to_string().as_str(), minus.cylinder().to_string().as_str()),
            ("-1.25", "-0.50")
        );
        assert_eq!(minus.axis().unwrap().to_string(), "90");
    }

    #[test]
    fn powers_in_the_vertical_and_horizontal_meridian() {
        let vertical = |l: SpheroCylinder| l.vertical_power().unwrap().to_string();
        let horizontal = |l: SpheroCylinder| l.horizontal_power().unwrap().to_string();
        assert_eq!(
            (vertical(lens(-300, -100, 180)), horizontal(lens(-300, -100, 180))),
            pair("-4.00", "-3.00")
        );
        assert_eq!(
            (vertical(lens(-300, -100, 90)), horizontal(lens(-300, -100, 90))),
            pair("-3.00", "-4.00")
        );
        assert_eq!(
            (vertical(lens(-300, -100, 45)), horizontal(lens(-300, -100, 45))),
            pair("-3.50", "-3.50")
        );
        assert_eq!(
            (vertical(lens(-300, -100, 30)), horizontal(lens(-300, -100, 30))),
            pair("-3.75", "-3.25")
        );
    }

    fn pair(a: &str, b: &str) -> (String, String) {
        (a.to_owned(), b.to_owned())
    }

    proptest! {
        #[test]
        fn transposition_is_an_involution(s in -4000i64..=4000, c in -2000i64..=2000, a in 0i64..=180) {
            let one = lens(s, c, a);
            prop_assert_eq!(one.transposed().transposed(), one);
            prop_assert_eq!(one.transposed().principal_powers(), one.principal_powers());
            prop_assert_eq!(one.transposed().minus_form(), one.minus_form());
        }
    }
}
