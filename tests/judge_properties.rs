//! What holds for every order and reading.

use fociline::judge::verdict::{ItemOutcome, Outcome};
use fociline::judge::{RuleSet, judge};
use fociline::optics::{SpheroCylinder, normal_form};
use fociline::order::{LensKind, Order, OrderedLens};
use fociline::parsers::reading::{Base, Lens, PrismPart, Reading};
use fociline::parsers::units::{Degree, Dioptre, Millimetre, PrismDioptre};
use proptest::option;
use proptest::prelude::*;
use std::sync::LazyLock;

static RULES: LazyLock<Vec<RuleSet>> = LazyLock::new(|| {
    let guarded = "name = \"guarded\"\nbase = \"iso-21987-2017\"\nrequired = [\"prism\"]\n[uncertainty]\ncylinder = 0.05\naxis = 1\nsphere-meridian = 0.04\nprism-imbalance-vertical = 0.1\n";
    RuleSet::built_in_names()
        .map(|name| RuleSet::built_in(name).unwrap())
        .chain([RuleSet::from_toml(guarded, "guarded").unwrap()])
        .collect()
});

fn power() -> impl Strategy<Value = (Dioptre, Dioptre, Degree)> {
    (-2200i64..=2200, -800i64..=800, 0i64..=180).prop_map(|(s, c, a)| {
        (Dioptre::from_scaled(s, 2), Dioptre::from_scaled(c, 2), Degree::from_scaled(a, 0))
    })
}

fn prism() -> impl Strategy<Value = Vec<PrismPart>> {
    let base = prop_oneof![
        Just(Base::In),
        Just(Base::Out),
        Just(Base::Up),
        Just(Base::Down),
        (0i64..=360).prop_map(|angle| Base::Towards(Degree::from_scaled(angle, 0))),
    ];
    let part = (0i64..300, base)
        .prop_map(|(amount, base)| PrismPart { amount: PrismDioptre::from_scaled(amount, 2), base });
    proptest::collection::vec(part, 0..3)
}

fn ordered() -> impl Strategy<Value = OrderedLens> {
    (power(), option::of(50i64..450), option::of(prism()), option::of(280i64..350), option::of(150i64..250))
        .prop_map(|((sphere, cylinder, axis), addition, prism, pd, height)| OrderedLens {
            sphere: Some(sphere),
            cylinder: Some(cylinder),
            axis: Some(axis),
            addition: addition.map(|v| Dioptre::from_scaled(v, 2)),
            prism,
            pd: pd.map(|v| Millimetre::from_scaled(v, 1)),
            reference_height: height.map(|v| Millimetre::from_scaled(v, 1)),
            ..OrderedLens::default()
        })
}

/// A reading near the order, so that every outcome comes up; parts of it may be missing.
fn measured(near: OrderedLens) -> impl Strategy<Value = Lens> {
    (-20i64..=20, -20i64..=20, -12i64..=12, any::<[bool; 6]>(), prism()).prop_map(
        move |(s, c, a, has, prism)| Lens {
            sphere: near.sphere.filter(|_| has[0] || has[1]).map(|v| v + Dioptre::from_scaled(s, 2)),
            cylinder: near.cylinder.filter(|_| has[0] || has[2]).map(|v| v + Dioptre::from_scaled(c, 2)),
            axis: near.axis.filter(|_| has[0] || has[3]).map(|v| v + Degree::from_scaled(a, 0)),
            addition: near.addition.filter(|_| has[0] || has[4]).map(|v| v + Dioptre::from_scaled(s, 2)),
            prism: has[5].then_some(prism),
            pd: near.pd.filter(|_| has[4]),
            reference_height: near.reference_height.filter(|_| has[3]),
            ..Lens::default()
        },
    )
}

fn job() -> impl Strategy<Value = (Order, Reading, usize)> {
    let eyes = (ordered(), ordered()).prop_flat_map(|(right, left)| {
        (Just(right.clone()), Just(left.clone()), measured(right), measured(left))
    });
    (eyes, any::<[bool; 4]>(), 0usize..3, 0usize..RULES.len()).prop_map(
        |((right, left, seen_right, seen_left), has, lens, rules)| {
            let order = Order {
                job: "4471".parse().unwrap(),
                lens: LensKind::ALL[lens],
                mounted: has[0],
                right: Some(right),
                left: has[1].then_some(left),
            };
            let reading = Reading {
                right: (has[2] || has[3]).then_some(seen_right),
                left: has[3].then_some(seen_left),
                ..Reading::default()
            };
            (order, reading, rules)
        },
    )
}

fn other_writing(lens: &mut (Option<Dioptre>, Option<Dioptre>, Option<Degree>)) {
    if let (Some(sphere), Some(cylinder)) = (lens.0, lens.1) {
        let other = SpheroCylinder::new(sphere, cylinder, lens.2).transposed();
        *lens = (Some(other.sphere()), Some(other.cylinder()), other.axis());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn plus_and_minus_writings_judge_alike((order, reading, rules) in job()) {
        let rules = &RULES[rules];
        let verdict = judge(&order, &reading, rules);
        let mut plus = order.clone();
        for lens in [&mut plus.right, &mut plus.left].into_iter().flatten() {
            let mut power = (lens.sphere, lens.cylinder, lens.axis);
            other_writing(&mut power);
            (lens.sphere, lens.cylinder, lens.axis) = power;
        }
        let mut seen = reading.clone();
        for lens in seen.lenses_mut() {
            let mut power = (lens.sphere, lens.cylinder, lens.axis);
            other_writing(&mut power);
            (lens.sphere, lens.cylinder, lens.axis) = power;
        }
        prop_assert_eq!(&judge(&plus, &reading, rules), &verdict);
        prop_assert_eq!(&judge(&order, &seen, rules), &verdict);
        prop_assert_eq!(&judge(&plus, &normal_form(seen), rules), &verdict);
    }

    #[test]
    fn the_outcome_follows_from_the_items((order, reading, rules) in job()) {
        let verdict = judge(&order, &reading, &RULES[rules]);
        let any = |outcome| verdict.items.iter().any(|item| item.outcome == outcome);
        prop_assert_eq!(verdict.outcome == Outcome::Fail, any(ItemOutcome::Fail));
        if verdict.outcome == Outcome::Borderline {
            prop_assert!(any(ItemOutcome::Borderline));
        }
        if verdict.outcome == Outcome::Pass {
            prop_assert!(any(ItemOutcome::Pass) && !any(ItemOutcome::Borderline));
        }
        if verdict.outcome == Outcome::Incomplete {
            prop_assert!(any(ItemOutcome::NotMeasured) || any(ItemOutcome::NotJudged));
        }
        for item in &verdict.items {
            let judged =
                matches!(item.outcome, ItemOutcome::Pass | ItemOutcome::Fail | ItemOutcome::Borderline);
            prop_assert_eq!(item.limit.is_some(), judged, "{:?}", item);
            if let (Some(deviation), Some(limit)) = (item.deviation, item.limit) {
                match item.outcome {
                    ItemOutcome::Pass => prop_assert!(deviation.abs() <= limit),
                    ItemOutcome::Fail => prop_assert!(deviation.abs() > limit),
                    _ => {}
                }
            }
            if item.quantity.to_string() != "axis"
                && let (Some(ordered), Some(measured)) = (item.ordered, item.measured)
            {
                prop_assert_eq!(item.deviation, Some(measured - ordered), "{:?}", item);
            }
        }
    }

    #[test]
    fn a_verdict_survives_its_json((order, reading, rules) in job()) {
        let verdict = judge(&order, &reading, &RULES[rules]);
        let text = serde_json::to_string(&verdict).unwrap();
        let again: fociline::judge::verdict::Verdict = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(serde_json::to_string(&again).unwrap(), text);
    }
}
