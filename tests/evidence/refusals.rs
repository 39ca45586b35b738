//! Data that cannot carry a figure get a named reason, not a number.

use fociline::evidence::agreement::{Pair, Terms, agreement, agreement_unpaired};
use fociline::evidence::astigmatism::{Point, cloud};
use fociline::evidence::chart::{Baseline, Cusum, Ewma, Individuals, WESTERN_ELECTRIC, Width};
use fociline::evidence::practice::{Direction, Sitting, Take, direction, practice};
use fociline::evidence::{Interval, Unfit, axis, capability, gauge, icc, precision, trend};

fn pair(lens: &str, first: f64, second: f64) -> Pair<'_> {
    Pair { lens, first, second }
}

#[track_caller]
fn says<T: std::fmt::Debug>(got: Result<T, Unfit>, want: &str) {
    assert_eq!(got.unwrap_err().to_string(), want);
}

#[test]
fn agreement_needs_two_lenses_that_differ() {
    let terms = Terms::default();
    says(agreement(&[], terms), "not enough: have 0, need 2 (lenses read by both)");
    let same_lens = [pair("a", 1.0, 1.1), pair("a", 1.0, 1.2)];
    says(agreement(&same_lens, terms), "not enough: have 1, need 2 (lenses read by both)");
    // 0.12 each, but for rounding.
    let constant = [pair("a", 5.12, 5.00), pair("b", 3.12, 3.00), pair("c", 0.12, 0.0)];
    says(
        agreement(&constant, terms),
        "constant data: the differences between first and second do not differ at all; \
         look for a stuck value or a copied column",
    );
    let odd = [pair("a", 1.0, 1.1), pair("b", f64::INFINITY, 1.0)];
    says(agreement(&odd, terms), "readings of a pair: value 3 is not a number, or far too large for one");
    let level = Terms { confidence: 95.0, ..terms };
    says(agreement(&same_lens, level), "confidence is 95; expected a share between 0 and 1, such as 0.95");
}

#[test]
fn unpaired_agreement_needs_the_same_lenses() {
    let terms = Terms::default();
    let three = [("a", 1.0), ("a", 1.1), ("b", 2.0), ("c", 3.0)];
    let two = [("a", 1.0), ("b", 2.1), ("b", 2.0)];
    says(
        agreement_unpaired(&three, &two, terms),
        "mixed lenses: c was read by the first only; compare the same lenses on both sides",
    );
    says(
        agreement_unpaired(&two, &three, terms),
        "mixed lenses: c was read by the second only; compare the same lenses on both sides",
    );
    let single = [("a", 1.0), ("b", 2.0)];
    says(
        agreement_unpaired(&two, &single, terms),
        "not enough: have 1, need 2 (readings of one and the same group)",
    );
}

#[test]
fn a_gauge_study_names_the_cell() {
    let cell = |lens, person, value| (lens, person, value);
    let mut readings = vec![
        cell("lens 1", "first", 1.0),
        cell("lens 1", "first", 1.1),
        cell("lens 1", "second", 1.2),
        cell("lens 1", "second", 1.1),
        cell("lens 2", "first", 2.0),
        cell("lens 2", "first", 2.1),
    ];
    let study = |r: &[(&'static str, &'static str, f64)]| gauge::study(r.to_vec(), gauge::Terms::default());
    says(
        study(&readings),
        "missing cell: second has no reading of lens 2; measure it, or leave one of the two out",
    );
    readings.push(cell("lens 2", "second", 2.0));
    says(study(&readings), "unequal repeats: second read lens 2 1 times, the others 2 times each");
    readings.push(cell("lens 2", "second", 2.2));
    assert!(study(&readings).is_ok());

    let once: Vec<_> = readings.iter().step_by(2).copied().collect();
    says(study(&once), "not enough: have 1, need 2 (readings by each person of each lens)");
    let alone: Vec<_> = readings.iter().filter(|r| r.1 == "first").copied().collect();
    says(study(&alone), "not enough: have 1, need 2 (persons or instruments)");
    let exact: Vec<_> =
        readings.iter().map(|r| cell(r.0, r.1, if r.0 == "lens 1" { 1.0 } else { 2.0 })).collect();
    assert!(matches!(study(&exact), Err(Unfit::Constant { .. })));
    let flat: Vec<_> = readings.iter().enumerate().map(|(i, r)| cell(r.0, r.1, (i % 2) as f64)).collect();
    assert!(matches!(study(&flat), Err(Unfit::Constant { what: "the lenses" })));
    assert!(matches!(icc::icc(readings.clone()), Err(Unfit::UnequalRepeats { .. })));
    let terms = gauge::Terms { tolerance: Some(0.0), ..Default::default() };
    says(gauge::study(readings, terms), "tolerance is 0; expected a number above 0");
}

#[test]
fn a_study_pools_as_told() {
    let readings: Vec<(&str, &str, f64)> = [("a", 1.0), ("b", 3.0), ("c", 7.0)]
        .iter()
        .flat_map(|(lens, v)| {
            [("p", 0.0), ("p", 0.1), ("q", 0.2), ("q", 0.25)].map(|(person, e)| (*lens, person, v + e))
        })
        .collect();
    let pooled = |pool_above| {
        gauge::study(readings.clone(), gauge::Terms { pool_above, ..Default::default() }).unwrap().pooled
    };
    assert!(pooled(0.0) && pooled(0.25) && !pooled(1.0));
}

#[test]
fn precision_needs_repeats() {
    says(
        precision::repeatability(&[("a", 1.0), ("b", 2.0)], 0.95),
        "not enough: have 0, need 1 (second readings of a lens)",
    );
    assert!(matches!(
        precision::repeatability(&[("a", 1.0), ("a", 1.0), ("b", 2.0)], 0.95),
        Err(Unfit::Constant { .. })
    ));
    assert!(matches!(
        precision::reproducibility(&[("a", 1.0), ("a", 1.0), ("b", 2.0), ("b", 2.0)]),
        Err(Unfit::Constant { .. })
    ));
    says(precision::bias(&[("a", 0.1)], 0.95), "not enough: have 1, need 2 (errors against the reference)");
    says(precision::h_limit(2, 0.05), "not enough: have 2, need 3 (persons or instruments)");
    says(trend::trend(&[(1.0, 1.0), (2.0, 2.0)], 0.95), "not enough: have 2, need 3 (points of a trend)");
    assert!(matches!(trend::trend(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)], 0.95), Err(Unfit::Constant { .. })));
}

#[test]
fn charts_refuse_what_is_not_a_number_and_stay_as_they_were() {
    says(Baseline::from_readings(&[5.0]), "not enough: have 1, need 2 (readings for a baseline)");
    assert!(matches!(Baseline::from_readings(&[5.0, 5.0, 5.0]), Err(Unfit::Constant { .. })));
    assert!(Baseline::new(0.0, 0.0).is_err() && Baseline::new(f64::NAN, 1.0).is_err());
    let baseline = Baseline::new(5.0, 0.02).unwrap();
    assert!(Ewma::new(baseline, 0.0, 3.0, Width::Steady).is_err());
    assert!(Ewma::new(baseline, 1.1, 3.0, Width::Steady).is_err());
    assert!(Cusum::new(baseline, -0.1, 4.0).is_err());

    let mut individuals = Individuals::new(baseline, WESTERN_ELECTRIC);
    let mut ewma = Ewma::new(baseline, 0.2, 3.0, Width::Growing).unwrap();
    let mut cusum = Cusum::new(baseline, 0.5, 5.0).unwrap();
    let before = (individuals.clone(), ewma.clone(), cusum.clone());
    says(individuals.push(f64::NAN), "points of a chart: value 1 is not a number, or far too large for one");
    assert!(ewma.push(f64::NAN).is_err() && cusum.push(f64::NAN).is_err());
    assert_eq!(before, (individuals, ewma, cusum));
}

#[test]
fn the_rest() {
    let limits = Interval { low: -0.12, high: 0.12 };
    says(capability::capability(&[0.1], limits, 0.95), "not enough: have 1, need 2 (values of the process)");
    assert!(matches!(capability::capability(&[0.1; 5], limits, 0.95), Err(Unfit::Constant { .. })));
    let crossed = Interval { low: 0.12, high: -0.12 };
    assert!(matches!(capability::capability(&[0.1, 0.2], crossed, 0.95), Err(Unfit::Setting { .. })));
    says(capability::share(0, 0, 0.95), "not enough: have 0, need 1 (decisions)");
    says(capability::share(3, 2, 0.95), "count of a share is 3; expected at most the total");
    says(capability::pareto([]), "not enough: have 0, need 1 (causes)");
    says(axis::axis_errors(&[1.0]), "not enough: have 1, need 2 (axis errors)");
    says(axis::axis_errors(&[0.0, 90.0]), "no mean direction: the 2 axes cancel each other out");
    let line: Vec<Point> = (0..5).map(|i| Point { j0: f64::from(i), j45: 2.0 * f64::from(i) }).collect();
    assert!(matches!(cloud(&line, 0.95), Err(Unfit::Constant { .. })));
    says(cloud(&line[..2], 0.95), "not enough: have 2, need 3 (astigmatic differences)");
}

#[test]
fn a_sitting_without_a_figure_says_so_and_leaves_the_trend_alone() {
    let take = |lens, value| Take { lens, value, reference: Some(5.0) };
    let sitting = |at: f64, spread: f64| Sitting {
        name: "sitting",
        at,
        takes: vec![
            take("a", 5.0 + spread),
            take("a", 5.0 - spread),
            take("b", 5.0),
            take("b", 5.0 + spread),
        ],
    };
    let mut sittings = vec![sitting(1.0, 0.08), sitting(2.0, 0.06), sitting(3.0, 0.04), sitting(4.0, 0.02)];
    let full = practice(&sittings, 0.95);
    assert_eq!(direction(full.repeatability_trend.as_ref().unwrap()), Direction::Falling);
    sittings.push(Sitting { name: "cut short", at: 5.0, takes: vec![take("a", 5.1)] });
    let cut = practice(&sittings, 0.95);
    assert_eq!(cut.repeatability_trend, full.repeatability_trend);
    assert_eq!(
        cut.sittings[4].repeatability,
        Err(Unfit::TooFew { have: 0, need: 1, what: "second readings of a lens" })
    );
    assert!(practice(&sittings[..2], 0.95).bias_trend.is_err());
}
