//! A reading in normal form: minus cylinder, axis above 0 and up to 180, no axis without a
//! cylinder.

use super::SpheroCylinder;
use super::lens::on_half_circle;
use crate::parsers::reading::{AsSent, Base, Lens, Reading};
use rust_decimal::Decimal;

/// Puts every lens of a reading into normal form, and keeps as sent what that changes.
///
/// A lens with a plus cylinder but without sphere or axis stays as it is: the missing value
/// may come in a later frame, and it will then be in the plus form too.
pub fn normal_form(mut reading: Reading) -> Reading {
    reading.lenses_mut().for_each(normalise);
    reading
}

/// No lens and no place on one comes near this, in any unit. Sums of what is below it are
/// exact; what is beyond it is left as it was sent and never judged.
pub const REACH: Decimal = Decimal::from_parts(100_000, 0, 0, false, 0);

/// Whether every number that is compared with an order is below [`REACH`] in magnitude.
pub fn is_within_reach(lens: &Lens) -> bool {
    let dioptres = [lens.sphere, lens.cylinder, lens.addition, lens.second_addition];
    let places = [lens.pd, lens.near_pd, lens.segment_height, lens.reference_height];
    let near = |value: Decimal| value.abs() < REACH;
    dioptres.into_iter().flatten().all(|power| near(power.value()))
        && lens.axis.is_none_or(|axis| near(axis.value()))
        && places.into_iter().flatten().all(|place| near(place.value()))
        && lens.prism.iter().flatten().all(|part| {
            near(part.amount.value())
                && match part.base {
                    Base::Towards(angle) => near(angle.value()),
                    _ => true,
                }
        })
}

fn normalise(lens: &mut Lens) {
    if !is_within_reach(lens) {
        return;
    }
    let sent = AsSent { sphere: lens.sphere, cylinder: lens.cylinder, axis: lens.axis };
    match (lens.sphere, lens.cylinder) {
        (Some(sphere), Some(cylinder)) => {
            let mut form = SpheroCylinder::new(sphere, cylinder, lens.axis);
            if form.axis().is_some() {
                form = form.minus_form();
            }
            lens.sphere = Some(form.sphere());
            lens.cylinder = Some(form.cylinder());
            lens.axis = form.axis();
        }
        (_, Some(cylinder)) if cylinder.is_zero() => lens.axis = None,
        _ => lens.axis = lens.axis.map(on_half_circle),
    }
    let now = AsSent { sphere: lens.sphere, cylinder: lens.cylinder, axis: lens.axis };
    // What is already in normal form keeps the record of an earlier change.
    if now != sent {
        lens.as_sent.get_or_insert(sent);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normalised(json: &str) -> String {
        let reading: Reading = serde_json::from_str(json).unwrap();
        let once = normal_form(reading);
        assert_eq!(normal_form(once.clone()), once, "normal form of a normal form");
        serde_json::to_string(&once).unwrap()
    }

    #[test]
    fn a_plus_cylinder_is_transposed_and_kept_as_sent() {
        assert_eq!(
            normalised(r#"{"right":{"sphere":-1.75,"cylinder":0.50,"axis":1}}"#),
            r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":91,"as_sent":{"sphere":-1.75,"cylinder":0.50,"axis":1}}}"#
        );
    }

    #[test]
    fn what_is_in_normal_form_is_left_alone() {
        let same = r#"{"left":{"sphere":-1.25,"cylinder":-0.50,"axis":180},"unspecified":{"sphere":2.00}}"#;
        assert_eq!(normalised(same), same);
    }

    #[test]
    fn axis_zero_and_an_axis_without_cylinder() {
        assert_eq!(
            normalised(r#"{"left":{"sphere":-1.25,"cylinder":-0.50,"axis":0}}"#),
            r#"{"left":{"sphere":-1.25,"cylinder":-0.50,"axis":180,"as_sent":{"sphere":-1.25,"cylinder":-0.50,"axis":0}}}"#
        );
        assert_eq!(
            normalised(r#"{"left":{"sphere":-1.25,"cylinder":0.00,"axis":35}}"#),
            r#"{"left":{"sphere":-1.25,"cylinder":0.00,"as_sent":{"sphere":-1.25,"cylinder":0.00,"axis":35}}}"#
        );
    }

    #[test]
    fn an_impossible_number_is_left_as_sent() {
        let huge = r#"{"left":{"sphere":79228162514264337593543950335,"cylinder":79228162514264337593543950335,"axis":0}}"#;
        assert_eq!(normalised(huge), huge);
    }

    #[test]
    fn a_plus_cylinder_waits_for_its_sphere_and_axis() {
        for partial in
            [r#"{"left":{"cylinder":0.50,"axis":35}}"#, r#"{"left":{"sphere":1.00,"cylinder":0.50}}"#]
        {
            assert_eq!(normalised(partial), partial);
        }
    }
}
