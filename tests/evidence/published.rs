//! Published answers, at the digits that were printed. Sources: `fixtures/agreement/README.md`.

use crate::data::*;
use fociline::evidence::agreement::{LimitError, Pair, Terms, agreement, agreement_unpaired};
use fociline::evidence::chart::{Baseline, Cusum, Ewma, Individuals, Side, WESTERN_ELECTRIC, Width};
use fociline::evidence::gauge::{self, Source};
use fociline::evidence::{anova, capability, icc, precision};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

fn pefr() -> Vec<(String, f64, f64)> {
    rows("bland_altman_1986_pefr.csv")
        .into_iter()
        .map(|r| (r[0].clone(), r[1].parse().unwrap(), r[3].parse().unwrap()))
        .collect()
}

pub fn pairs(rows: &[(String, f64, f64)]) -> Vec<Pair<'_>> {
    rows.iter().map(|(lens, first, second)| Pair { lens, first: *first, second: *second }).collect()
}

pub fn cardiac() -> Vec<(String, f64, f64)> {
    rows("bland_altman_2007_cardiac.csv")
        .into_iter()
        .map(|r| (r[0].clone(), r[1].parse().unwrap(), r[2].parse().unwrap()))
        .collect()
}

#[test]
fn bland_altman_1986() {
    let want = answers("answers.json", "/bland_altman_1986_pefr");
    let terms = Terms { multiplier: 2.0, limit_error: LimitError::Root3, ..Terms::default() };
    let got = agreement(&pairs(&pefr()), terms).unwrap();
    assert_eq!((got.n, got.lenses, got.df), (17, 17, 16.0));
    as_published(got.bias, &want["mean_difference"]);
    as_published(got.sd, &want["sd_difference"]);
    close(got.limits.low, number(&want, "/limits_2sd_unrounded/lower"), 1e-12);
    close(got.limits.high, number(&want, "/limits_2sd_unrounded/upper"), 1e-12);
    // The paper works on from rounded figures, so its intervals are met within two of its last digits.
    for (got, at) in [
        (got.bias_interval.low, "ci95_mean/lower"),
        (got.bias_interval.high, "ci95_mean/upper"),
        (got.lower_interval.low, "ci95_lower_limit/low"),
        (got.lower_interval.high, "ci95_lower_limit/high"),
        (got.upper_interval.low, "ci95_upper_limit/low"),
        (got.upper_interval.high, "ci95_upper_limit/high"),
    ] {
        let want = number(&want, &format!("/{at}/published"));
        assert!((got - want).abs() < 0.2, "{at}: {got}, printed as {want}");
    }
    let usual = agreement(&pairs(&pefr()), Terms { multiplier: 1.959_963_984_540_054, ..terms }).unwrap();
    close(usual.limits.low, number(&want, "/limits_1_96sd_unrounded/lower"), 1e-12);
    close(usual.limits.high, number(&want, "/limits_1_96sd_unrounded/upper"), 1e-12);
}

#[test]
fn bland_altman_2007_true_value_varies() {
    let want = answers("published_2007.json", "/true_value_varies");
    let data = cardiac();
    let got = agreement(&pairs(&data), Terms::default()).unwrap();
    assert_eq!((got.n, got.lenses), (60, 12));
    printed(got.bias, number(&want, "/bias"), 7);
    printed(got.sd, number(&want, "/sd"), 7);
    printed(got.limits.low, number(&want, "/lower"), 6);
    printed(got.limits.high, number(&want, "/upper"), 6);
    // Printed with nine digits, of which single precision had seven.
    close(got.components[1].variance, number(&want, "/within_ms"), 5e-7);
    let between = (number(&want, "/between_ms") - number(&want, "/within_ms")) / number(&want, "/divisor");
    printed(got.components[0].variance, between, 6);
}

#[test]
fn bland_altman_2007_true_value_constant() {
    let want = answers("published_2007.json", "/true_value_constant");
    let data = cardiac();
    let rv: Vec<(&str, f64)> = data.iter().map(|d| (d.0.as_str(), d.1)).collect();
    let ic: Vec<(&str, f64)> = data.iter().map(|d| (d.0.as_str(), d.2)).collect();
    let got = agreement_unpaired(&rv, &ic, Terms::default()).unwrap();
    assert_eq!((got.n, got.lenses), (120, 12));
    printed(got.bias, number(&want, "/mean_of_lens_differences"), 7);
    printed(got.sd, number(&want, "/sd"), 7);
    for (component, at) in
        got.components.iter().zip(["/variance_of_lens_differences", "/within_first", "/within_second"])
    {
        // Printed with nine digits, of which single precision had seven.
        close(component.variance, number(&want, at), 5e-7);
    }
    let width = number(&want, "/upper") - number(&want, "/lower");
    printed(got.limits.high - got.limits.low, width, 6);
}

/// Digits that agree, the way NIST counts them.
fn digits(got: f64, certified: f64) -> f64 {
    -((got - certified).abs() / certified.abs()).log10()
}

#[test]
fn nist_certified_anova() {
    for (file, name, leading, need) in [
        ("nist_strd_sirstv.csv", "nist_strd_sirstv", "196", 11.0),
        ("nist_strd_atmwtag.csv", "nist_strd_atmwtag", "107.868", 11.0),
    ] {
        let want = answers("answers.json", &format!("/{name}/certified"));
        // The leading digits that all values share are taken off while they are exact decimals.
        let leading: Decimal = leading.parse().unwrap();
        let data: Vec<(String, f64)> = rows(file)
            .iter()
            .map(|r| (r[0].clone(), (r[1].parse::<Decimal>().unwrap() - leading).to_f64().unwrap()))
            .collect();
        let got = anova::one_way(borrowed(&data), "instruments").unwrap();
        for (got, at) in [
            (got.between.ss, "/ss_b"),
            (got.within.ss, "/ss_w"),
            (got.between.f(&got.within), "/F"),
            (got.within.ms().sqrt(), "/resid_sd"),
        ] {
            let digits = digits(got, number(&want, at));
            assert!(digits >= need, "{name} {at}: {digits} digits");
        }
        // As floating-point numbers from the start, the values themselves have lost some.
        let raw = named(file, 0, 1);
        let raw = anova::one_way(borrowed(&raw), "instruments").unwrap();
        assert!(digits(raw.between.f(&raw.within), number(&want, "/F")) >= 10.0);
    }
}

#[test]
fn iso_5725_repeatability_is_the_certified_residual() {
    let data = named("nist_strd_sirstv.csv", 0, 1);
    let want = number(&answers("answers.json", "/nist_strd_sirstv/certified"), "/resid_sd");
    close(precision::repeatability(&borrowed(&data), 0.95).unwrap().s_r, want, 1e-11);
    close(precision::reproducibility(&borrowed(&data)).unwrap().s_r, want, 1e-11);
}

#[test]
fn aiag_gauge_study() {
    let want = answers("answers.json", "/aiag_gauge_rr");
    let data = rows("aiag_gauge_rr.csv");
    let readings = || data.iter().map(|r| (r[2].as_str(), r[0].as_str(), r[3].parse().unwrap()));
    let got = gauge::study(readings(), gauge::Terms::default()).unwrap();
    assert_eq!((got.lenses, got.persons.len(), got.repeats), (10, 3, 3));
    for (row, at) in got.anova.iter().zip(["part", "appraiser", "interaction", "equipment"]) {
        as_published(row.square.ss, &want["ss"][at]);
        as_published(row.square.ms(), &want["ms"][at]);
    }
    assert!(got.pooled);
    close(got.interaction_p, number(&want, "/interaction/p"), 1e-10);
    for (source, at) in [
        (Source::Repeatability, "EV"),
        (Source::Reproducibility, "AV"),
        (Source::Measuring, "GRR"),
        (Source::Lens, "PV"),
    ] {
        let row = got.row(source).unwrap();
        as_published(row.sd, &want["pooled"][at]);
        as_published(row.percent_study, &want["pooled"]["percent_TV"][at]);
    }
    assert!(got.row(Source::Interaction).is_none());
    assert_eq!(got.distinct_categories as f64, number(&want, "/pooled/ndc"));

    let kept = gauge::study(readings(), gauge::Terms { pool_above: 1.0, ..Default::default() }).unwrap();
    assert!(!kept.pooled);
    let zeroed = kept.row(Source::Interaction).unwrap();
    assert!(zeroed.set_to_zero && zeroed.variance == 0.0);
    for (source, at) in
        [(Source::Repeatability, "repeatability"), (Source::Person, "appraiser"), (Source::Lens, "part")]
    {
        let want = number(&want, &format!("/not_pooled/variance/{at}"));
        close(kept.row(source).unwrap().variance, want, 1e-10);
    }
}

#[test]
fn shrout_fleiss_1979() {
    let want = answers("answers.json", "/shrout_fleiss_1979/icc");
    let data = rows("shrout_fleiss_1979.csv");
    let got = icc::icc(data.iter().map(|r| (r[0].as_str(), r[1].as_str(), r[2].parse().unwrap()))).unwrap();
    let coefficients = [got.one_1, got.two_1, got.three_1, got.one_k, got.two_k, got.three_k];
    for (got, want) in coefficients.into_iter().zip(want.as_array().unwrap()) {
        as_published(got, want);
    }
}

#[test]
fn nist_individuals_chart() {
    let want = answers("answers.json", "/nist_individuals");
    let baseline = Baseline::from_readings(&column("nist_individuals.csv", 1)).unwrap();
    as_published(baseline.centre, &want["mean"]);
    as_published(baseline.sigma * 1.128, &want["mr_bar"]);
    as_published(baseline.limits(3.0).high, &want["ucl"]);
    as_published(baseline.limits(3.0).low, &want["lcl"]);
    close(baseline.moving_range_limit(), number(&want, "/mr_ucl_D4_3_267"), 1e-12);
    // The handbook finds the process in control.
    let mut chart = Individuals::new(baseline, WESTERN_ELECTRIC);
    for x in column("nist_individuals.csv", 1) {
        assert!(chart.push(x).unwrap().signals.is_empty());
    }
}

#[test]
fn nist_ewma_chart() {
    let want = answers("answers.json", "/nist_ewma");
    let baseline = Baseline::new(50.0, 2.0539).unwrap();
    let mut chart = Ewma::new(baseline, 0.3, 3.0, Width::Steady).unwrap();
    for (x, want_average) in column("nist_ewma.csv", 1).into_iter().zip(column("nist_ewma.csv", 3)) {
        let step = chart.push(x).unwrap();
        printed(step.point.average, want_average, 2);
        // The handbook cuts the factor's digits, so its limits differ in the fourth decimal.
        assert!((step.point.limits.high - number(&want, "/ucl/published")).abs() < 1.01e-4);
        assert!((step.point.limits.low - number(&want, "/lcl/published")).abs() < 1.01e-4);
        assert!(step.signals.is_empty());
    }
}

#[test]
fn nist_cusum_table() {
    let mut chart = Cusum::new(Baseline::new(325.0, 1.0).unwrap(), 0.3175, 4.1959).unwrap();
    let published = column("nist_cusum.csv", 2).into_iter().zip(column("nist_cusum.csv", 3));
    for (index, (x, (above, below))) in column("nist_cusum.csv", 1).into_iter().zip(published).enumerate() {
        let step = chart.push(x).unwrap();
        // Some of the table's sums were rounded on the way.
        assert!((step.point.above - above).abs() < 0.0061, "{index}: {}", step.point.above);
        assert!((step.point.below - below).abs() < 0.0061, "{index}: {}", step.point.below);
        // The table marks the 14th group and all that follow; the shift began with the 13th.
        assert_eq!(step.signals.len(), usize::from(index >= 13));
        if let Some(signal) = step.signals.first() {
            assert_eq!((signal.side, signal.since, signal.continues), (Side::Above, 12, index > 13));
        }
    }
}

/// Newcombe RG, Stat Med 1998; 17: 857-872, Table I, method 3. From memory.
#[test]
fn wilson_interval() {
    for (count, of, low, high) in
        [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
    {
        let got = capability::share(count, of, 0.95).unwrap().interval;
        printed(got.low, low, 4);
        printed(got.high, high, 4);
    }
}

/// ISO 5725-2, tables of indicators for Mandel's statistics at 5 %. From memory.
#[test]
fn mandel_limits() {
    for (p, h) in [(3, 1.15), (4, 1.42), (5, 1.57), (6, 1.66), (10, 1.80)] {
        printed(precision::h_limit(p, 0.05).unwrap(), h, 2);
    }
    for (p, k) in [(3, 1.65), (4, 1.76), (5, 1.81)] {
        printed(precision::k_limit(p, 2, 0.05).unwrap(), k, 2);
    }
}
