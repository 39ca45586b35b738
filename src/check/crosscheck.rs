//! A manual reading beside the instrument's for the same lens: do they agree, and if not, what
//! most likely happened?

use super::difference::{Difference, apart, difference, power};
use super::limits::{Limits, Threshold};
use crate::optics::SpheroCylinder;
use crate::parsers::reading::{AsSent, Eye, Lens};
use crate::parsers::units::{Degree, Dioptre};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a cross-check comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The two agree.
    Agree,
    /// They differ by less than two sound focimeters may.
    WithinTolerance,
    /// They differ by more.
    BeyondTolerance,
    /// They differ as another lens, or the same one read otherwise, would.
    DifferentLens,
    /// They have nothing in common that could be compared.
    NotComparable,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Outcome::Agree => "agree",
            Outcome::WithinTolerance => "differ within tolerance",
            Outcome::BeyondTolerance => "differ beyond tolerance",
            Outcome::DifferentLens => "different lens likely",
            Outcome::NotComparable => "not comparable",
        })
    }
}

/// What most likely happened where two readings lie far apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Suspect {
    /// The other eye's lens was read.
    EyesSwapped,
    /// The sphere was written with the other sign.
    SphereSign,
    /// The cylinder was written with the other sign, without transposing.
    CylinderSign,
    /// Sphere and cylinder were written with the other sign.
    BothSigns,
    /// The axis was read a quarter turn off.
    AxisQuarterTurn,
    /// The one was read in the near portion: an addition lies between them.
    AdditionForgotten,
}

impl Suspect {
    const ALL: [Suspect; 6] = [
        Suspect::EyesSwapped,
        Suspect::SphereSign,
        Suspect::CylinderSign,
        Suspect::BothSigns,
        Suspect::AxisQuarterTurn,
        Suspect::AdditionForgotten,
    ];

    /// What is said of it.
    pub fn words(self) -> &'static str {
        match self {
            Suspect::EyesSwapped => "eyes swapped: the reading fits the lens of the other eye",
            Suspect::SphereSign => "plus and minus mixed up: it fits with the sphere's other sign",
            Suspect::CylinderSign => "plus and minus mixed up: it fits with the cylinder's other sign",
            Suspect::BothSigns => "plus and minus mixed up: it fits with both signs turned",
            Suspect::AxisQuarterTurn => "axis read 90 degrees off: it fits with the axis turned by 90",
            Suspect::AdditionForgotten => {
                "addition forgotten: the two differ by the addition, so one was read in the near portion"
            }
        }
    }
}

/// Two readings compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// Manual less instrument.
    pub difference: Difference,
    /// What it comes to.
    pub outcome: Outcome,
    /// What most likely happened, where the outcome is a different lens.
    pub suspect: Option<Suspect>,
    /// How the outcome was reached, a sentence for each thing compared.
    pub reasons: Vec<String>,
}

/// What a manual reading is held against.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// The instrument's reading of the lens.
    pub lens: &'a Lens,
    /// The instrument's reading of the other eye's lens, where there is one.
    pub other_eye: Option<&'a Lens>,
    /// For which eye the lens is.
    pub eye: Eye,
    /// The addition ordered, dioptres: what explains a reading taken in the near portion where the
    /// instrument sent no addition.
    pub ordered_addition: Option<Dioptre>,
}

/// Compares a manual reading with the instrument's.
pub fn compare(manual: &Lens, beside: Beside, limits: &Limits) -> Comparison {
    let difference = difference(manual, beside.lens, beside.eye);
    let mut reasons = Vec::new();
    let mut worst = None;
    let mut judge = |what: &str, unit: &str, apart: Decimal, threshold: Threshold| {
        let (outcome, relation) = if apart <= threshold.agree {
            (Outcome::Agree, format!("up to {}: agree", threshold.agree))
        } else if apart <= threshold.tolerance {
            let words =
                format!("beyond {}, up to {}: within tolerance", threshold.agree, threshold.tolerance);
            (Outcome::WithinTolerance, words)
        } else {
            (Outcome::BeyondTolerance, format!("beyond {}: beyond tolerance", threshold.tolerance))
        };
        reasons.push(format!("{what} {} {unit}, {relation}", apart.normalize()));
        worst = worst.max(Some(outcome));
    };
    if let Some(meridian) = difference.meridian {
        let threshold = limits.crosscheck_power(greatest_power(beside.lens));
        judge("largest difference in any meridian", "D", meridian.value(), threshold);
    }
    if let Some(addition) = difference.addition {
        judge("addition differs by", "D", addition.value().abs(), limits.crosscheck_addition());
    }
    if let Some(prism) = difference.prism {
        judge("prism differs by", "prism dioptres", prism.value(), limits.crosscheck_prism());
    }
    if let (Some(axis), Some(weighted)) = (difference.axis, difference.axis_weighted) {
        reasons.push(format!(
            "the axes are {} degrees apart, which counts {} D at this cylinder",
            axis.value().abs().normalize(),
            weighted.value().normalize()
        ));
    }
    reasons.extend(not_compared(manual, beside.lens));
    let Some(mut outcome) = worst else {
        return Comparison { difference, outcome: Outcome::NotComparable, suspect: None, reasons };
    };
    let suspect = (outcome == Outcome::BeyondTolerance).then(|| suspect(manual, beside, limits)).flatten();
    if let Some(suspect) = suspect {
        outcome = Outcome::DifferentLens;
        reasons.push(suspect.words().to_owned());
    }
    Comparison { difference, outcome, suspect, reasons }
}

fn greatest_power(lens: &Lens) -> Decimal {
    power(lens).map_or(Decimal::ZERO, |power| {
        let (one, other) = power.principal_powers();
        one.abs().value().max(other.abs().value())
    })
}

fn not_compared(manual: &Lens, instrument: &Lens) -> Vec<String> {
    let sides = [
        ("power", power(manual).is_some(), power(instrument).is_some()),
        ("addition", manual.addition.is_some(), instrument.addition.is_some()),
        ("prism", manual.prism.is_some(), instrument.prism.is_some()),
    ];
    sides
        .into_iter()
        .filter_map(|(what, by_hand, by_instrument)| match (by_hand, by_instrument) {
            (true, false) => Some(format!("{what} not compared: the instrument sent none")),
            (false, true) => Some(format!("{what} not compared: none was read by hand")),
            _ => None,
        })
        .collect()
}

/// The mistake that explains the difference best, if one explains it within tolerance.
fn suspect(manual: &Lens, beside: Beside, limits: &Limits) -> Option<Suspect> {
    let read = power(manual)?;
    let target = power(beside.lens)?;
    let tolerance = limits.crosscheck_power(greatest_power(beside.lens)).tolerance;
    let (_, now) = apart(&read, &target)?;
    if now.value() <= tolerance {
        // It is not the power that lies apart.
        return None;
    }
    Suspect::ALL
        .into_iter()
        .filter_map(|suspect| {
            let left = match suspect {
                Suspect::EyesSwapped => apart(&read, &power(beside.other_eye?)?)?.1,
                Suspect::AdditionForgotten => {
                    let addition = beside.lens.addition.or(beside.ordered_addition).or(manual.addition);
                    let addition = addition.filter(|addition| !addition.is_zero())?;
                    let near = |add: Dioptre| {
                        SpheroCylinder::new(target.sphere() + add, target.cylinder(), target.axis())
                    };
                    apart(&read, &near(addition))?.1.min(apart(&read, &near(-addition))?.1)
                }
                slip => apart(&slipped(&written(manual)?, slip)?, &target)?.1,
            };
            (left.value() <= tolerance).then_some((left, suspect))
        })
        .min()
        .map(|(_, suspect)| suspect)
}

/// The power in the form in which it was written down: that is where a sign slips.
fn written(lens: &Lens) -> Option<SpheroCylinder> {
    let sent =
        lens.as_sent.unwrap_or(AsSent { sphere: lens.sphere, cylinder: lens.cylinder, axis: lens.axis });
    Some(SpheroCylinder::new(sent.sphere?, sent.cylinder.unwrap_or(Dioptre::ZERO), sent.axis))
}

/// The lens that was meant, if this slip was made in writing it down.
fn slipped(read: &SpheroCylinder, slip: Suspect) -> Option<SpheroCylinder> {
    let (sphere, cylinder, axis) = (read.sphere(), read.cylinder(), read.axis());
    let quarter = || axis.map(|axis| axis + Degree::new(Decimal::from(90)));
    let meant = match slip {
        Suspect::SphereSign => SpheroCylinder::new(-sphere, cylinder, axis),
        Suspect::CylinderSign if !cylinder.is_zero() => SpheroCylinder::new(sphere, -cylinder, axis),
        Suspect::BothSigns if !cylinder.is_zero() => SpheroCylinder::new(-sphere, -cylinder, axis),
        Suspect::AxisQuarterTurn if !cylinder.is_zero() => SpheroCylinder::new(sphere, cylinder, quarter()),
        _ => return None,
    };
    Some(meant.minus_form())
}

#[cfg(test)]
mod tests {
    use super::*;

    const RIGHT: &str = r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"prism":[]}"#;
    const LEFT: &str = r#"{"sphere":-2.50,"cylinder":-0.25,"axis":10}"#;

    fn beside(manual: &str, instrument: &str) -> Comparison {
        let limits = Limits::default();
        let lens = |json: &str| serde_json::from_str::<Lens>(json).unwrap();
        let (right, left) = (lens(instrument), lens(LEFT));
        compare(
            &lens(manual),
            Beside { lens: &right, other_eye: Some(&left), eye: Eye::Right, ordered_addition: None },
            &limits,
        )
    }

    fn outcome(manual: &str) -> (Outcome, Option<Suspect>) {
        let comparison = beside(manual, RIGHT);
        (comparison.outcome, comparison.suspect)
    }

    #[test]
    fn a_reading_on_its_limit_is_still_on_the_better_side() {
        assert_eq!(outcome(r#"{"sphere":-1.19,"cylinder":-0.50,"axis":90}"#), (Outcome::Agree, None));
        assert_eq!(
            outcome(r#"{"sphere":-1.12,"cylinder":-0.50,"axis":90}"#),
            (Outcome::WithinTolerance, None)
        );
        assert_eq!(
            outcome(r#"{"sphere":-1.11,"cylinder":-0.50,"axis":90}"#),
            (Outcome::BeyondTolerance, None)
        );
        assert_eq!(
            outcome(r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.25}"#).0,
            Outcome::BeyondTolerance
        );
        let prism = r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"prism":[{"amount":0.5,"base":"in"}]}"#;
        assert_eq!(outcome(prism).0, Outcome::WithinTolerance);
    }

    #[test]
    fn slips_are_named_where_undoing_them_explains_the_difference() {
        let is = |manual: &str, suspect| {
            assert_eq!(outcome(manual), (Outcome::DifferentLens, Some(suspect)), "{manual}")
        };
        is(r#"{"sphere":-2.50,"cylinder":-0.25,"axis":12}"#, Suspect::EyesSwapped);
        is(r#"{"sphere":1.25,"cylinder":-0.50,"axis":90}"#, Suspect::SphereSign);
        is(r#"{"sphere":-1.25,"cylinder":0.50,"axis":90}"#, Suspect::CylinderSign);
        is(r#"{"sphere":1.25,"cylinder":0.50,"axis":90}"#, Suspect::BothSigns);
        is(r#"{"sphere":-1.25,"cylinder":-0.50,"axis":180}"#, Suspect::AxisQuarterTurn);
        is(r#"{"sphere":0.75,"cylinder":-0.50,"axis":90}"#, Suspect::AdditionForgotten);
    }

    #[test]
    fn the_reasoning_is_told() {
        let near = beside(r#"{"sphere":0.75,"cylinder":-0.50,"axis":95}"#, RIGHT);
        assert_eq!(
            near.reasons,
            [
                "largest difference in any meridian 2.0436 D, beyond 0.13: beyond tolerance",
                "the axes are 5 degrees apart, which counts 0.0436 D at this cylinder",
                "addition not compared: none was read by hand",
                "prism not compared: none was read by hand",
                "addition forgotten: the two differ by the addition, so one was read in the near portion",
            ]
        );
        let nothing = beside(r#"{"addition":2.00}"#, r#"{"sphere":1.00}"#);
        assert_eq!(nothing.outcome, Outcome::NotComparable);
    }

    #[test]
    fn a_stronger_lens_may_be_read_less_closely() {
        let strong = r#"{"sphere":-9.00,"cylinder":-1.50,"axis":90}"#;
        assert_eq!(beside(r#"{"sphere":-9.12,"cylinder":-1.50,"axis":90}"#, strong).outcome, Outcome::Agree);
        let weak = r#"{"sphere":-2.00}"#;
        assert_eq!(beside(r#"{"sphere":-2.12}"#, weak).outcome, Outcome::WithinTolerance);
    }
}
