//! What must hold for any data: a shift, a change of unit or another order changes nothing else.

use fociline::evidence::agreement::{Agreement, Pair, Terms, agreement, agreement_unpaired};
use fociline::evidence::astigmatism::{Point, cloud};
use fociline::evidence::chart::{Baseline, Cusum, Ewma, Individuals, NELSON, Side, Width};
use fociline::evidence::{Interval, axis, capability, gauge, icc, precision, trend};
use proptest::prelude::*;

const LENSES: [&str; 5] = ["a", "b", "c", "d", "e"];
const PERSONS: [&str; 3] = ["p", "q", "r"];

fn near(got: f64, want: f64, scale: f64) -> bool {
    (got - want).abs() <= 1e-9 * scale.abs().max(1.0)
}

fn values(n: impl Into<prop::collection::SizeRange>) -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-20.0..20.0f64, n)
}

fn pairs(of: &[(f64, f64)]) -> Vec<Pair<'static>> {
    let lens = |i: usize| LENSES[i % LENSES.len()];
    of.iter()
        .enumerate()
        .map(|(i, (first, second))| Pair { lens: lens(i), first: *first, second: *second })
        .collect()
}

fn ends(a: &Agreement) -> [f64; 8] {
    let (l, u, b) = (a.lower_interval, a.upper_interval, a.bias_interval);
    [a.limits.low, a.limits.high, l.low, l.high, u.low, u.high, b.low, b.high]
}

fn crossed(values: &[f64], order: &[usize]) -> Vec<(&'static str, &'static str, f64)> {
    let at = |i: usize| (LENSES[i / 6], PERSONS[i / 2 % 3], values[i]);
    order.iter().map(|i| at(*i)).collect()
}

proptest! {
    /// `n` up to 5 takes the form for single readings, above it the repeated one.
    #[test]
    fn agreement_moves_with_the_readings(
        of in prop::collection::vec((-20.0..20.0f64, -20.0..20.0f64), 3..20),
        shift in -5.0..5.0f64, factor in 0.1..10.0f64, seed in any::<prop::sample::Index>(),
    ) {
        let base = agreement(&pairs(&of), Terms::default()).unwrap();
        let both: Vec<_> = of.iter().map(|p| (p.0 + shift, p.1 + shift)).collect();
        let both = agreement(&pairs(&both), Terms::default()).unwrap();
        let one: Vec<_> = of.iter().map(|p| (p.0 + shift, p.1)).collect();
        let one = agreement(&pairs(&one), Terms::default()).unwrap();
        let larger: Vec<_> = of.iter().map(|p| (p.0 * factor, p.1 * factor)).collect();
        let larger = agreement(&pairs(&larger), Terms::default()).unwrap();
        let swapped: Vec<_> = of.iter().map(|p| (p.1, p.0)).collect();
        let swapped = agreement(&pairs(&swapped), Terms::default()).unwrap();
        let mut turned = pairs(&of);
        turned.rotate_left(seed.index(of.len()));
        let turned = agreement(&turned, Terms::default()).unwrap();
        for i in 0..8 {
            let want = ends(&base)[i];
            prop_assert!(near(ends(&both)[i], want, want));
            prop_assert!(near(ends(&one)[i], want + shift, want));
            prop_assert!(near(ends(&larger)[i], want * factor, want * factor));
            prop_assert!(near(ends(&turned)[i], want, want));
        }
        prop_assert!(near(swapped.limits.low, -base.limits.high, base.limits.high));
        prop_assert!(near(swapped.upper_interval.high, -base.lower_interval.low, base.lower_interval.low));
        prop_assert!(base.lower_interval.low <= base.limits.low && base.limits.low <= base.lower_interval.high);
    }

    #[test]
    fn unpaired_agreement_moves_with_the_readings(
        of in values(24), shift in -5.0..5.0f64, factor in 0.1..10.0f64,
    ) {
        let side = |v: &[f64], f: f64, s: f64| -> Vec<(&str, f64)> {
            v.iter().enumerate().map(|(i, x)| (LENSES[i % 5], f * x + s)).collect()
        };
        let get = |f, s| agreement_unpaired(&side(&of[..11], f, s), &side(&of[11..], f, 0.0), Terms::default()).unwrap();
        let (base, moved) = (get(1.0, 0.0), get(factor, shift));
        for (got, want) in ends(&moved).into_iter().zip(ends(&base)) {
            prop_assert!(near(got, factor * want + shift, factor * want));
        }
    }

    #[test]
    fn a_gauge_study_knows_no_order_unit_or_zero(
        of in values(30), shift in -5.0..5.0f64, factor in 0.1..10.0f64,
        order in Just((0..30).collect::<Vec<usize>>()).prop_shuffle(),
    ) {
        let straight: Vec<usize> = (0..30).collect();
        let terms = gauge::Terms::default();
        let base = gauge::study(crossed(&of, &straight), terms).unwrap();
        let moved: Vec<f64> = of.iter().map(|v| v * factor + shift).collect();
        let moved = gauge::study(crossed(&moved, &straight), terms).unwrap();
        let shuffled = gauge::study(crossed(&of, &order), terms).unwrap();
        for ((b, m), s) in base.rows.iter().zip(&moved.rows).zip(&shuffled.rows) {
            prop_assert!(near(m.variance, b.variance * factor * factor, m.variance));
            prop_assert!((m.percent_study - b.percent_study).abs() < 1e-6);
            prop_assert!(near(s.variance, b.variance, b.variance));
        }
        let parts: f64 = base.rows.iter()
            .filter(|r| matches!(r.source, gauge::Source::Measuring | gauge::Source::Lens))
            .map(|r| r.percent_contribution).sum();
        prop_assert!((parts - 100.0).abs() < 1e-9);
        // Sums of squares add up to the total.
        let total = fociline::evidence::sample::Sample::of(&of).squares;
        prop_assert!(near(base.anova.iter().map(|r| r.square.ss).sum(), total, total));
    }

    #[test]
    fn icc_knows_no_unit_or_zero(of in values(15), shift in -5.0..5.0f64, factor in 0.1..10.0f64) {
        let get = |f: f64, s: f64| {
            icc::icc((0..15).map(|i| (LENSES[i / 3], PERSONS[i % 3], of[i] * f + s))).unwrap()
        };
        let (base, moved) = (get(1.0, 0.0), get(factor, shift));
        prop_assert!((base.two_1 - moved.two_1).abs() < 1e-7);
        prop_assert!(base.one_1 <= base.three_1 + 1.0 && base.three_1 <= 1.0);
    }

    #[test]
    fn precision_moves_with_the_readings(
        of in values(6..30), shift in -5.0..5.0f64, factor in 0.1..10.0f64,
        seed in any::<prop::sample::Index>(),
    ) {
        let named = |f: f64, s: f64| -> Vec<(&str, f64)> {
            of.iter().enumerate().map(|(i, v)| (LENSES[i % 5], v * f + s)).collect()
        };
        let base = precision::reproducibility(&named(1.0, 0.0)).unwrap();
        let moved = precision::reproducibility(&named(factor, shift)).unwrap();
        prop_assert!(near(moved.s_r, base.s_r * factor, moved.s_r));
        prop_assert!(near(moved.s_big_r, base.s_big_r * factor, moved.s_big_r));
        prop_assert!(base.s_big_r >= base.s_r);
        let mut turned = named(1.0, 0.0);
        turned.rotate_left(seed.index(of.len()));
        let turned = precision::reproducibility(&turned).unwrap();
        prop_assert!(near(turned.s_big_r, base.s_big_r, base.s_big_r));
        let bias = precision::bias(&named(1.0, 0.0), 0.95).unwrap();
        let moved = precision::bias(&named(1.0, shift), 0.95).unwrap();
        prop_assert!(near(moved.interval.low, bias.interval.low + shift, bias.interval.low));
        let own = precision::repeatability(&named(1.0, 0.0), 0.95).unwrap();
        prop_assert!(own.s_r_interval.contains(own.s_r));
    }

    #[test]
    fn a_trend_tilts_with_its_points(of in values(3..20), tilt in -2.0..2.0f64) {
        let points: Vec<(f64, f64)> = of.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
        let tilted: Vec<(f64, f64)> = points.iter().map(|p| (p.0, p.1 + tilt * p.0)).collect();
        let (base, tilted) = (trend::trend(&points, 0.9).unwrap(), trend::trend(&tilted, 0.9).unwrap());
        prop_assert!(near(tilted.slope, base.slope + tilt, base.slope));
        prop_assert!(near(tilted.residual_sd, base.residual_sd, base.residual_sd));
    }

    /// Upside down, every chart says the same of the other side; in another unit, the same.
    #[test]
    fn charts_are_even_handed(of in values(1..80), factor in 0.1..10.0f64) {
        let flip = |side| match side { Side::Above => Side::Below, Side::Below => Side::Above, Side::Both => Side::Both };
        let base = Baseline::new(0.0, 8.0).unwrap();
        let scaled = Baseline::new(0.0, 8.0 * factor).unwrap();
        let (mut a, mut b, mut c) =
            (Individuals::new(base, NELSON), Individuals::new(base, NELSON), Individuals::new(scaled, NELSON));
        let (mut e, mut f) = (
            Ewma::new(base, 0.2, 2.0, Width::Growing).unwrap(),
            Ewma::new(base, 0.2, 2.0, Width::Growing).unwrap(),
        );
        let (mut s, mut t) = (Cusum::new(base, 0.5, 2.0).unwrap(), Cusum::new(base, 0.5, 2.0).unwrap());
        for x in of {
            let up = a.push(x).unwrap().signals;
            let down = b.push(-x).unwrap().signals;
            let same = c.push(x * factor).unwrap().signals;
            prop_assert_eq!(up.len(), same.len());
            prop_assert_eq!(up.len(), down.len());
            for (u, d) in up.iter().zip(&down) {
                prop_assert_eq!((u.rule, u.since, u.continues), (d.rule, d.since, d.continues));
                prop_assert_eq!(u.side, flip(d.side));
                prop_assert!(u.since <= u.point);
            }
            let (up, down) = (e.push(x).unwrap(), f.push(-x).unwrap());
            prop_assert!(near(up.point.average, -down.point.average, 1.0));
            prop_assert_eq!(up.signals.len(), down.signals.len());
            let (up, down) = (s.push(x).unwrap().point, t.push(-x).unwrap().point);
            prop_assert_eq!((up.above, up.below), (down.below, down.above));
        }
    }

    #[test]
    fn axes_turn_with_the_lens(of in prop::collection::vec(-30.0..30.0f64, 2..30), turn in -300.0..300.0f64) {
        let base = axis::axis_errors(&of).unwrap();
        let turned: Vec<f64> = of.iter().map(|a| a + turn).collect();
        let turned = axis::axis_errors(&turned).unwrap();
        prop_assert!(axis::error(turned.mean, base.mean + turn).abs() < 1e-6);
        prop_assert!((turned.sd - base.sd).abs() < 1e-6);
        let half: Vec<f64> = of.iter().enumerate().map(|(i, a)| a + 180.0 * (i % 3) as f64).collect();
        prop_assert!((axis::axis_errors(&half).unwrap().mean - base.mean).abs() < 1e-6);
        prop_assert!(base.largest <= 90.0);
    }

    #[test]
    fn a_cloud_turns_with_the_plane(of in prop::collection::vec((-2.0..2.0f64, -2.0..2.0f64), 4..30), turn in 0.0..180.0f64) {
        let points: Vec<Point> = of.iter().map(|p| Point { j0: p.0, j45: p.1 }).collect();
        let (s, c) = turn.to_radians().sin_cos();
        let turned: Vec<Point> =
            points.iter().map(|p| Point { j0: c * p.j0 - s * p.j45, j45: s * p.j0 + c * p.j45 }).collect();
        let (base, turned) = (cloud(&points, 0.95).unwrap(), cloud(&turned, 0.95).unwrap());
        prop_assert!((base.centroid_region.major - turned.centroid_region.major).abs() < 1e-6);
        prop_assert!((base.spread_region.minor - turned.spread_region.minor).abs() < 1e-6);
        prop_assert!((base.centroid.j0.hypot(base.centroid.j45) - turned.centroid.j0.hypot(turned.centroid.j45)).abs() < 1e-9);
    }

    #[test]
    fn capability_moves_with_limits_and_values(of in values(3..40), shift in -5.0..5.0f64, factor in 0.1..10.0f64) {
        let limits = Interval { low: -7.0, high: 11.0 };
        let base = capability::capability(&of, limits, 0.95).unwrap();
        let moved: Vec<f64> = of.iter().map(|v| v * factor + shift).collect();
        let there = Interval { low: -7.0 * factor + shift, high: 11.0 * factor + shift };
        let moved = capability::capability(&moved, there, 0.95).unwrap();
        prop_assert!(near(moved.cpk, base.cpk, base.cpk) && near(moved.pp, base.pp, base.pp));
        prop_assert!(base.cpk <= base.cp + 1e-12 && base.ppk <= base.pp + 1e-12);
        prop_assert!(base.inside.interval.contains(base.inside.share));
    }

    #[test]
    fn pareto_counts_everything_once(of in prop::collection::vec(0..5usize, 1..60)) {
        let bars = capability::pareto(of.iter().map(|i| LENSES[*i])).unwrap();
        prop_assert_eq!(bars.iter().map(|b| b.count).sum::<usize>(), of.len());
        prop_assert!(bars.windows(2).all(|w| w[0].count >= w[1].count));
        prop_assert_eq!(bars.last().unwrap().cumulative, 1.0);
        let mut backwards = of.clone();
        backwards.reverse();
        prop_assert_eq!(bars, capability::pareto(backwards.iter().map(|i| LENSES[*i])).unwrap());
    }

    /// Whatever the numbers, an answer or a reason, never a panic.
    #[test]
    fn any_number_at_all_is_survived(of in prop::collection::vec(any::<f64>(), 0..30)) {
        let named: Vec<(&str, f64)> = of.iter().enumerate().map(|(i, v)| (LENSES[i % 5], *v)).collect();
        let two: Vec<(f64, f64)> = of.windows(2).map(|w| (w[0], w[1])).collect();
        let points: Vec<Point> = two.iter().map(|p| Point { j0: p.0, j45: p.1 }).collect();
        let _ = agreement(&pairs(&two), Terms::default());
        let _ = agreement_unpaired(&named, &named, Terms::default());
        let _ = precision::repeatability(&named, 0.95);
        let _ = precision::reproducibility(&named);
        let _ = precision::bias(&named, 0.95);
        let _ = trend::trend(&two, 0.95);
        let _ = axis::axis_errors(&of);
        let _ = cloud(&points, 0.95);
        let _ = capability::capability(&of, Interval { low: -1.0, high: 1.0 }, 0.95);
        let _ = gauge::study(named.iter().enumerate().map(|(i, (n, v))| (*n, PERSONS[i % 2], *v)), gauge::Terms::default());
        if let Ok(baseline) = Baseline::from_readings(&of) {
            let mut chart = Individuals::new(baseline, NELSON);
            let mut sums = Cusum::new(baseline, 0.5, 5.0);
            for v in of {
                let _ = chart.push(v);
                if let Ok(sums) = &mut sums {
                    let _ = sums.push(v);
                }
            }
        }
    }
}
