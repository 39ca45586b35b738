//! Small cases that can be worked out by hand.

use fociline::evidence::agreement::{Pair, Terms, agreement};
use fociline::evidence::astigmatism::{Point, cloud};
use fociline::evidence::chart::{Baseline, Ewma, Individuals, MOVING_RANGE, Side, WESTERN_ELECTRIC, Width};
use fociline::evidence::practice::{Direction, Sitting, Take, direction, practice};
use fociline::evidence::{axis, precision};

#[test]
fn lenses_closer_than_their_repeats_leave_no_spread_between() {
    // Differences 0 and 1 on either lens: mean square between 0, within 0.5.
    let pair = |lens, first| Pair { lens, first, second: 0.0 };
    let pairs = [pair("a", 0.0), pair("a", 1.0), pair("b", 1.0), pair("b", 0.0)];
    let got = agreement(&pairs, Terms::default()).unwrap();
    assert_eq!((got.n, got.lenses, got.bias), (4, 2, 0.5));
    assert!((got.sd - 0.5f64.sqrt()).abs() < 1e-12);
    // t with 1 degree of freedom is 12.706; four readings' mean has a quarter of the variance.
    assert!((got.bias_interval.high - (0.5 + 12.706_204_736 * (0.5f64 / 4.0).sqrt())).abs() < 1e-8);
    assert!(got.components[0].set_to_zero && got.components[0].variance == 0.0);
    assert!(!got.components[1].set_to_zero);
}

#[test]
fn axes_on_either_side_of_180_are_neighbours() {
    for (measured, reference, want) in [
        (178.0, 2.0, -4.0),
        (2.0, 178.0, 4.0),
        (91.0, 0.0, -89.0),
        (90.0, 0.0, 90.0),
        (0.0, 90.0, 90.0),
        (180.0, 0.0, 0.0),
    ] {
        assert_eq!(axis::error(measured, reference), want, "{measured} against {reference}");
    }
}

#[test]
fn a_bias_is_shown_when_its_interval_leaves_zero_out() {
    let errors = |shift: f64| [("a", shift - 0.01), ("b", shift + 0.01), ("c", shift)];
    let none = precision::bias(&errors(0.0), 0.95).unwrap();
    let some = precision::bias(&errors(0.1), 0.95).unwrap();
    assert!(!none.shown && some.shown);
    assert!((some.mean - 0.1).abs() < 1e-12);
    // t with 2 degrees of freedom is 4.303; the SD is 0.01.
    assert!((some.interval.high - (0.1 + 4.302_652_729 * 0.01 / 3f64.sqrt())).abs() < 1e-9);
}

#[test]
fn practice_follows_the_bias_against_each_reference() {
    let sittings: Vec<Sitting> = (1..=4)
        .map(|day| {
            let off = 0.04 * f64::from(day);
            let take = |lens, reference: f64, e: f64| Take {
                lens,
                value: reference + off + e,
                reference: Some(reference),
            };
            let takes = vec![take("plus", 5.0, 0.01), take("plus", 5.0, -0.01), take("minus", -10.0, 0.0)];
            Sitting { name: "day", at: f64::from(day), takes }
        })
        .collect();
    let got = practice(&sittings, 0.95);
    let trend = got.bias_trend.unwrap();
    assert_eq!(direction(&trend), Direction::Rising);
    assert!((trend.slope - 0.04).abs() < 1e-9);
    assert!((got.sittings[0].bias.as_ref().unwrap().mean - 0.04).abs() < 1e-9);
    let level = got.repeatability_trend.unwrap();
    assert_eq!((direction(&level), level.slope.abs() < 1e-9), (Direction::NotShown, true));
}

#[test]
fn a_jump_fires_the_moving_range_and_what_goes_on_says_so() {
    // Sigma 1: the moving range's limit is 3.267 x 1.128 = 3.685.
    let mut chart = Individuals::new(Baseline::new(0.0, 1.0).unwrap(), WESTERN_ELECTRIC);
    let mut fired = Vec::new();
    for x in [-1.9, 1.78, -1.91, -3.1, -3.2] {
        fired.push(chart.push(x).unwrap().signals);
    }
    assert!(fired[0].is_empty());
    assert!(fired[1].is_empty(), "a range of 3.68 is within the limit");
    let range = fired[2].iter().find(|s| s.rule == MOVING_RANGE.0).unwrap();
    assert_eq!((range.point, range.since, range.side), (2, 1, Side::Both));
    let beyond: Vec<_> = fired[4].iter().map(|s| (s.rule, s.side, s.since, s.continues)).collect();
    assert_eq!(
        beyond,
        [
            ("one point beyond 3 sigma", Side::Below, 4, true),
            ("two of three beyond 2 sigma", Side::Below, 3, false),
            ("four of five beyond 1 sigma", Side::Below, 0, false),
        ]
    );
}

#[test]
fn a_weighted_average_says_since_when_it_has_been_off() {
    let mut chart = Ewma::new(Baseline::new(0.0, 1.0).unwrap(), 0.5, 2.0, Width::Steady).unwrap();
    let mut last = Vec::new();
    // The average crosses the centre with the third reading.
    for x in [0.3, -0.9, 1.5, 1.5, 1.5] {
        last = chart.push(x).unwrap().signals;
    }
    assert_eq!((last[0].point, last[0].since, last[0].side), (4, 2, Side::Above));
}

#[test]
fn an_ellipse_points_where_its_points_lie() {
    // Along +45 degrees of the plane, long; across it, short.
    let points: Vec<Point> =
        [(-1.0, -1.0), (1.0, 1.0), (0.1, -0.1), (-0.1, 0.1)].map(|(j0, j45)| Point { j0, j45 }).to_vec();
    let got = cloud(&points, 0.95).unwrap();
    assert!((got.spread_region.turn - 45.0).abs() < 1e-9);
    // Variances along the axes: 4/3 and 0.04/3; chi-square for 95 % and 2 is -2 ln 0.05.
    let chi = -2.0 * 0.05f64.ln();
    assert!((got.spread_region.major - (chi * 4.0 / 3.0).sqrt()).abs() < 1e-9);
    assert!((got.spread_region.minor - (chi * 0.04 / 3.0).sqrt()).abs() < 1e-9);
}

/// Two lenses whose mean errors happen to be equal say nothing of how sure the mean is.
#[test]
fn a_bias_of_few_lenses_is_no_surer_than_its_readings() {
    let errors = [("1", -0.10), ("1", 0.14), ("2", 0.12), ("2", -0.08)];
    let got = precision::bias(&errors, 0.95).unwrap();
    assert!(!got.shown && got.interval.low < -0.1 && got.interval.high > 0.1, "{got:?}");
    let stepped = precision::bias(&[("1", 0.02), ("1", 0.02)], 0.95).unwrap();
    assert!(!stepped.shown, "two equal readings hide their spread");
}
