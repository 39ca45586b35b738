//! Answers of numpy, scipy, statsmodels and pingouin, stored by `tests/tools/agreement_expected.py`.

use crate::data::*;
use crate::published::{cardiac, pairs};
use fociline::evidence::agreement::{Agreement, Pair, Terms, agreement, agreement_unpaired};
use fociline::evidence::astigmatism::{Point, cloud};
use fociline::evidence::chart::{Baseline, Ewma, Individuals, NELSON, Width};
use fociline::evidence::{Interval, axis, capability, gauge, icc, precision, quantile, trend};
use serde_json::Value;

fn want(part: &str) -> Value {
    answers("computed.json", part)
}

#[track_caller]
fn interval(got: Interval, want: &Value, at: &str) {
    let ends = numbers(want, at);
    close(got.low, ends[0], 1e-8);
    close(got.high, ends[1], 1e-8);
}

fn lists(value: &Value, at: &str) -> Vec<Vec<f64>> {
    let all = value.pointer(at).unwrap().as_array().unwrap();
    all.iter().map(|row| numbers(row, "")).collect()
}

#[test]
fn quantiles_and_tails() {
    let want = want("/quantiles");
    for q in lists(&want, "/normal") {
        close(quantile::normal(q[0]), q[1], 1e-10);
    }
    for q in lists(&want, "/t") {
        close(quantile::t(q[0], q[1]), q[2], 1e-8);
    }
    for q in lists(&want, "/chi_square") {
        close(quantile::chi_square(q[0], q[1]), q[2], 1e-9);
    }
    for q in lists(&want, "/f") {
        close(quantile::f(q[0], q[1], q[2]), q[3], 1e-8);
    }
    for q in lists(&want, "/f_tail") {
        close(quantile::f_tail(q[0], q[1], q[2]), q[3], 1e-9);
    }
    for q in lists(&want, "/t_tails") {
        close(quantile::t_tails(q[0], q[1]), q[2], 1e-9);
    }
}

#[test]
fn agreement_of_single_pairs() {
    let want = want("/agreement_simple");
    let rows: Vec<(String, f64, f64)> = rows("bland_altman_1986_pefr.csv")
        .into_iter()
        .map(|r| (r[0].clone(), r[1].parse().unwrap(), r[3].parse().unwrap()))
        .collect();
    let got = agreement(&pairs(&rows), Terms::default()).unwrap();
    interval(got.bias_interval, &want, "/bias_interval");
    interval(got.limits, &want, "/limits");
    interval(got.lower_interval, &want, "/lower_interval");
}

#[track_caller]
fn same_agreement(got: &Agreement, want: &Value) {
    close(got.bias, number(want, "/bias"), 1e-10);
    close(got.sd, number(want, "/sd"), 1e-10);
    interval(got.limits, want, "/limits");
    interval(got.bias_interval, want, "/bias_interval");
    interval(got.lower_interval, want, "/lower_interval");
    interval(got.upper_interval, want, "/upper_interval");
}

/// The first `count` rows of each lens.
fn head<'a, T: Copy>(rows: &[(&'a str, T)], count: usize) -> Vec<(&'a str, T)> {
    let mut seen = std::collections::HashMap::new();
    let mut keep = |lens: &'a str| {
        let n = seen.entry(lens).or_insert(0);
        *n += 1;
        *n <= count
    };
    rows.iter().copied().filter(|r| keep(r.0)).collect()
}

#[test]
fn agreement_of_repeated_pairs() {
    let data = cardiac();
    same_agreement(&agreement(&pairs(&data), Terms::default()).unwrap(), &want("/agreement_paired"));

    let want = want("/agreement_paired_balanced");
    let rows: Vec<(&str, (f64, f64))> = data.iter().map(|d| (d.0.as_str(), (d.1, d.2))).collect();
    let balanced: Vec<Pair> =
        head(&rows, 3).into_iter().map(|(lens, (first, second))| Pair { lens, first, second }).collect();
    let got = agreement(&balanced, Terms::default()).unwrap();
    same_agreement(&got, &want);
    // With equal numbers a mixed model by REML, a different road, ends in the same place.
    close(got.components[0].variance, number(&want, "/mixed_model/between"), 1e-5);
    close(got.components[1].variance, number(&want, "/mixed_model/within"), 1e-5);
}

#[test]
fn agreement_of_unpaired_readings() {
    let data = cardiac();
    let rv: Vec<(&str, f64)> = data.iter().map(|d| (d.0.as_str(), d.1)).collect();
    let ic: Vec<(&str, f64)> = data.iter().map(|d| (d.0.as_str(), d.2)).collect();
    let got = agreement_unpaired(&rv, &ic, Terms::default()).unwrap();
    same_agreement(&got, &want("/agreement_unpaired"));
    let got = agreement_unpaired(&rv, &head(&ic, 2), Terms::default()).unwrap();
    same_agreement(&got, &want("/agreement_unpaired_unequal"));
}

#[test]
fn gauge_study_with_interaction_kept() {
    let want = want("/gauge");
    let data = rows("aiag_gauge_rr.csv");
    let readings = data.iter().map(|r| (r[2].as_str(), r[0].as_str(), r[3].parse().unwrap()));
    let terms = gauge::Terms { pool_above: 1.0, tolerance: Some(4.0), ..Default::default() };
    let got = gauge::study(readings, terms).unwrap();
    for (row, ss) in got.anova.iter().zip(numbers(&want, "/ss")) {
        close(row.square.ss, ss, 1e-10);
    }
    close(got.anova[0].f.unwrap(), number(&want, "/kept/f_part"), 1e-9);
    close(got.anova[0].p.unwrap(), number(&want, "/kept/p_part"), 1e-6);
    close(got.anova[1].f.unwrap(), number(&want, "/kept/f_person"), 1e-9);
    close(got.anova[1].p.unwrap(), number(&want, "/kept/p_person"), 1e-6);
    close(got.interaction_p, number(&want, "/interaction_p"), 1e-9);
    let measuring = got.row(gauge::Source::Measuring).unwrap();
    close(measuring.percent_tolerance.unwrap(), 100.0 * 6.0 * measuring.sd / 4.0, 1e-12);
}

#[test]
fn intraclass_correlation() {
    let want = numbers(&want("/icc"), "");
    let data = rows("shrout_fleiss_1979.csv");
    let got = icc::icc(data.iter().map(|r| (r[0].as_str(), r[1].as_str(), r[2].parse().unwrap()))).unwrap();
    for (got, want) in
        [got.one_1, got.two_1, got.three_1, got.one_k, got.two_k, got.three_k].into_iter().zip(want)
    {
        close(got, want, 1e-10);
    }
}

#[test]
fn reproducibility_with_equal_and_unequal_numbers() {
    let data = named("nist_strd_sirstv.csv", 0, 1);
    for (part, dropped) in [("/reproducibility", vec![]), ("/reproducibility_uneven", vec![0, 1, 7, 24])] {
        let want = want(part);
        let kept: Vec<_> = data.iter().enumerate().filter(|(i, _)| !dropped.contains(i)).collect();
        let kept: Vec<(&str, f64)> = kept.iter().map(|(_, (n, v))| (n.as_str(), *v)).collect();
        let got = precision::reproducibility(&kept).unwrap();
        close(got.mean, number(&want, "/mean"), 1e-12);
        close(got.s_r, number(&want, "/s_r"), 1e-9);
        close(got.s_big_r, number(&want, "/s_big_r"), 1e-9);
        assert!((got.s_l - number(&want, "/s_l")).abs() < 1e-9);
        for (taker, (h, k)) in
            got.takers.iter().zip(numbers(&want, "/h").into_iter().zip(numbers(&want, "/k")))
        {
            close(taker.h, h, 1e-9);
            close(taker.k.unwrap(), k, 1e-9);
        }
        close(got.r, 2.771_858_582_251_266 * got.s_r, 1e-12);
    }
}

#[test]
fn repeatability_and_bias() {
    let data = named("nist_strd_sirstv.csv", 0, 1);
    let repeatability = want("/repeatability");
    let got = precision::repeatability(&borrowed(&data), 0.95).unwrap();
    close(got.s_r, number(&repeatability, "/s_r"), 1e-9);
    assert_eq!(got.df, number(&repeatability, "/df"));
    interval(got.s_r_interval, &repeatability, "/interval");

    let bias = want("/bias");
    let errors: Vec<(&str, f64)> =
        data.iter().map(|(n, v)| (n.as_str(), v - number(&bias, "/reference"))).collect();
    let got = precision::bias(&errors, 0.95).unwrap();
    close(got.mean, number(&bias, "/mean"), 1e-9);
    interval(got.interval, &bias, "/interval");
    let one: Vec<(&str, f64)> = errors[..5].iter().map(|e| ("1", e.1)).collect();
    interval(precision::bias(&one, 0.95).unwrap().interval, &bias, "/one_group_interval");
}

#[test]
fn trend_line() {
    let want = want("/trend");
    let points: Vec<(f64, f64)> = (1..).map(f64::from).zip(column("nist_individuals.csv", 1)).collect();
    let got = trend::trend(&points, 0.95).unwrap();
    close(got.slope, number(&want, "/slope"), 1e-10);
    close(got.intercept, number(&want, "/intercept"), 1e-10);
    close(got.p, number(&want, "/p"), 1e-9);
    close(got.residual_sd, number(&want, "/residual_sd"), 1e-10);
    interval(got.slope_interval, &want, "/interval");
}

#[test]
fn shares_and_capability() {
    for row in lists(&want("/shares"), "") {
        let got = capability::share(row[0] as usize, row[1] as usize, 0.95).unwrap().interval;
        assert!((got.low - row[2]).abs() < 1e-10 && (got.high - row[3]).abs() < 1e-10, "{row:?}");
    }
    let want = want("/capability");
    let limits = numbers(&want, "/limits");
    let limits = Interval { low: limits[0], high: limits[1] };
    let got = capability::capability(&column("nist_individuals.csv", 1), limits, 0.95).unwrap();
    for (got, at) in [(got.cp, "/cp"), (got.cpk, "/cpk"), (got.pp, "/pp"), (got.ppk, "/ppk")] {
        close(got, number(&want, at), 1e-10);
    }
}

#[test]
fn axes_on_the_half_circle() {
    let want = want("/axis");
    let got = axis::axis_errors(&numbers(&want, "/errors")).unwrap();
    close(got.mean, number(&want, "/mean"), 1e-9);
    close(got.sd, number(&want, "/sd"), 1e-9);
    assert_eq!(got.largest, 5.0);
}

#[test]
fn double_angle_cloud() {
    let want = want("/cloud");
    let points: Vec<Point> = lists(&want, "/points").iter().map(|p| Point { j0: p[0], j45: p[1] }).collect();
    let got = cloud(&points, 0.95).unwrap();
    let centroid = numbers(&want, "/centroid");
    close(got.centroid.j0, centroid[0], 1e-10);
    close(got.centroid.j45, centroid[1], 1e-10);
    for (got, at) in [(got.centroid_region, "/centroid_axes"), (got.spread_region, "/spread_axes")] {
        let axes = numbers(&want, at);
        close(got.major, axes[0], 1e-9);
        close(got.minor, axes[1], 1e-9);
        close(got.turn, number(&want, "/turn"), 1e-8);
    }
    assert_eq!(got.biased, number(&want, "/p") < 0.05);
    let centred: Vec<Point> =
        points.iter().map(|p| Point { j0: p.j0 - got.centroid.j0, j45: p.j45 - got.centroid.j45 }).collect();
    assert!(!cloud(&centred, 0.95).unwrap().biased);
}

#[test]
fn run_rules_by_brute_force() {
    let want = want("/run_rules");
    let mut chart = Individuals::new(Baseline::new(0.0, 1.0).unwrap(), NELSON);
    let mut fired = vec![Vec::new(); NELSON.len()];
    for z in numbers(&want, "/points") {
        for signal in chart.push(z).unwrap().signals {
            if let Some(rule) = NELSON.iter().position(|r| r.name == signal.rule) {
                fired[rule].push(signal.point as f64);
            }
        }
    }
    for (rule, want) in NELSON.iter().zip(lists(&want, "/nelson")).zip(fired) {
        let ((rule, want), got) = (rule, want);
        assert!(!want.is_empty(), "{} is not put to the test", rule.name);
        assert_eq!(got, want, "{}", rule.name);
    }
}

#[test]
fn ewma_with_limits_that_grow() {
    let want = want("/ewma");
    let mut chart = Ewma::new(Baseline::new(50.0, 2.0539).unwrap(), 0.3, 3.0, Width::Growing).unwrap();
    let expected = numbers(&want, "/average").into_iter().zip(numbers(&want, "/half_width"));
    for (x, (average, half)) in column("nist_ewma.csv", 1).into_iter().zip(expected) {
        let point = chart.push(x).unwrap().point;
        close(point.average, average, 1e-12);
        close(point.limits.high - 50.0, half, 1e-9);
    }
}
