//! Orders written with eighths cut to two places: 0.12 means 0.125.

use crate::optics::SpheroCylinder;
use crate::parsers::units::Dioptre;
use rust_decimal::Decimal;

/// The eighth that an ordered value stands for: where its hundredths end in 12, 37, 62 or 87
/// it is taken to be half a hundredth greater in magnitude; any other value is itself.
pub(super) fn eighth(written: Decimal) -> Decimal {
    let hundredths = match written.scale() {
        0 | 1 => return written,
        2 => written.mantissa(),
        _ => match written.normalize() {
            short if short.scale() == 2 => short.mantissa(),
            _ => return written,
        },
    };
    if hundredths % 25 == 12 || hundredths % 25 == -12 {
        let half = if hundredths < 0 { -5 } else { 5 };
        return Decimal::from_i128_with_scale(hundredths * 10 + half, 3);
    }
    written
}

/// Whether a value lies on the steps of an eighth of a dioptre.
fn is_step(value: Decimal) -> bool {
    (value * Decimal::from(8)).fract().is_zero()
}

/// The lens in minus form that an order stands for. Where one writing of the lens shows cut
/// eighths and the other a sum of them (-3.38 for -3.50 + 0.12), the cut ones are believed,
/// so that both writings choose the same band.
pub(super) fn lens(minus: &SpheroCylinder) -> SpheroCylinder {
    let cylinder = eighth(minus.cylinder().value());
    let sphere = eighth(minus.sphere().value());
    if is_step(sphere) || !is_step(cylinder) {
        return SpheroCylinder::new(Dioptre::new(sphere), Dioptre::new(cylinder), minus.axis());
    }
    let other = eighth((minus.sphere() + minus.cylinder()).value());
    let sphere = if is_step(other) { other - cylinder } else { sphere };
    SpheroCylinder::new(Dioptre::new(sphere), Dioptre::new(cylinder), minus.axis())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(text: &str) -> String {
        eighth(text.parse().unwrap()).to_string()
    }

    #[test]
    fn cut_eighths_are_completed_and_nothing_else() {
        assert_eq!(
            ["0.12", "0.37", "0.62", "0.87", "3.37", "-1.12"].map(taken),
            ["0.125", "0.375", "0.625", "0.875", "3.375", "-1.125"]
        );
        assert_eq!(
            ["0.13", "0.25", "3.38", "0", "0.125", "0.120"].map(taken),
            ["0.13", "0.25", "3.38", "0", "0.125", "0.125"]
        );
    }

    #[test]
    fn a_sum_of_cut_eighths_is_taken_apart() {
        let lens_of = |s: &str, c: &str| {
            let lens = lens(&SpheroCylinder::new(s.parse().unwrap(), c.parse().unwrap(), None));
            (lens.principal_powers().0.to_string(), lens.principal_powers().1.to_string())
        };
        assert_eq!(lens_of("-3.38", "-0.12"), ("-3.375".into(), "-3.500".into()));
        assert_eq!(lens_of("-1.12", "-0.12"), ("-1.125".into(), "-1.250".into()));
        assert_eq!(lens_of("-1.30", "-0.12"), ("-1.30".into(), "-1.425".into()));
    }
}
