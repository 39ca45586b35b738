//! The numbers of reports against the evidence functions, and against published answers, on the
//! same data. Published readings of other trades stand in for dioptres.

use super::data::{answers, close, column, rows};
use super::lab::Lab;
use fociline::bench::entry::Purpose::{Practice, Production};
use fociline::evidence::agreement::{Pair, Terms, agreement};
use fociline::evidence::chart::{Baseline, Cusum, Ewma, Individuals, WESTERN_ELECTRIC, Width};
use fociline::evidence::{Interval, capability, gauge, precision};
use fociline::judge::verdict::Quantity;

/// What the six digits of the CSV leave of a number, relative to it.
const SIX_DIGITS: f64 = 5e-6;

/// Bland and Altman 1986: the first readings of both meters, hundredths of a litre a minute as
/// dioptres.
#[test]
fn agreement_says_what_the_published_example_says() {
    let mut lab = Lab::new();
    let file = "bland_altman_1986_pefr.csv";
    let (first, second) = (column(file, 1), column(file, 3));
    for (lens, (one, other)) in first.iter().zip(&second).enumerate() {
        let job = format!("J{lens}");
        lab.measured("wright", &job, &format!(r#"{{"sphere":{:.2}}}"#, one / 100.0));
        lab.read("A. Thorne", Production, "one", &job, &format!(r#"{{"sphere":{:.2}}}"#, other / 100.0));
    }
    let (csv, html) = lab.report("agreement", &[]);
    let names: Vec<String> = (0..first.len()).map(|lens| lens.to_string()).collect();
    let pairs: Vec<Pair> = names
        .iter()
        .zip(first.iter().zip(&second))
        .map(|(lens, (one, other))| Pair { lens, first: one / 100.0, second: other / 100.0 })
        .collect();
    let expected = agreement(&pairs, Terms::default()).expect("enough");
    for section in ["mean sphere", "sphere meridian"] {
        close(csv.number(section, "bias"), expected.bias, SIX_DIGITS);
        close(csv.number(section, "upper limit of agreement"), expected.limits.high, SIX_DIGITS);
        close(csv.interval(section, "upper limit of agreement").1, expected.upper_interval.high, SIX_DIGITS);
    }
    // As printed in the paper: mean difference -2.1 l/min, SD 38.8.
    assert_eq!(format!("{:.1}", 100.0 * csv.number("mean sphere", "bias")), "-2.1");
    assert_eq!(format!("{:.1}", 100.0 * csv.number("mean sphere", "SD of a difference")), "38.8");
    assert!(html.contains("mean sphere: wright less A. Thorne"), "the plot's title");
    assert_eq!(csv.entries(), "1-34");
    for row in csv.0.values() {
        let digits = |cell: &str| cell.trim_start_matches(['-', '0', '.']).replace('.', "").len();
        assert!(row[2..5].iter().all(|cell| digits(cell) <= 6), "no digits that say nothing: {row:?}");
    }
    assert!(csv.note("axis and astigmatism", "axis").contains("have 0, need 2"));
}

/// Fails unless `got`, which has six digits, is what was published with as many or fewer.
fn close_to_published(got: f64, answer: &serde_json::Value) {
    let published = answer["published"].as_f64().expect("a number");
    let last = 10f64.powi(-i32::try_from(answer["decimals"].as_i64().expect("a count")).expect("few"));
    assert!(
        (got - published).abs() <= (SIX_DIGITS * got).abs().max(0.51 * last),
        "got {got}, published {published}"
    );
}

/// AIAG, Measurement Systems Analysis, 4th edition.
#[test]
fn gauge_says_what_the_published_study_says() {
    let mut lab = Lab::new();
    for row in rows("aiag_gauge_rr.csv") {
        let [person, _, part, value] = &row[..] else { panic!("{row:?}") };
        let sphere = format!(r#"{{"sphere":{value}}}"#);
        lab.read(person, Practice, "study", &format!("P{part}"), &sphere);
    }
    let (csv, html) = lab.report("gauge", &["--practice", "--tolerance", "8"]);
    let heading = "Gauge R&R (crossed, by analysis of variance): mean sphere";
    let published = answers("answers.json", "/aiag_gauge_rr/pooled");
    let figure = |name: &str| csv.number(heading, name);
    close_to_published(figure("repeatability: SD"), &published["EV"]);
    close_to_published(figure("reproducibility: SD"), &published["AV"]);
    close_to_published(figure("measuring (R&R): % study"), &published["percent_TV"]["GRR"]);
    close_to_published(figure("lens to lens: SD"), &published["PV"]);
    let readings: Vec<(String, String, f64)> = rows("aiag_gauge_rr.csv")
        .iter()
        .map(|row| (row[2].clone(), row[0].clone(), row[3].parse().expect("a number")))
        .collect();
    let terms = gauge::Terms { tolerance: Some(8.0), ..gauge::Terms::default() };
    let study = gauge::study(
        readings.iter().map(|(part, person, value)| (part.as_str(), person.as_str(), *value)),
        terms,
    );
    let row = *study.expect("a sound study").row(gauge::Source::Measuring).expect("always there");
    close(figure("measuring (R&R): % tolerance"), row.percent_tolerance.expect("asked for"), SIX_DIGITS);
    // Each lens by ISO 5725-2, by the function that its own published example checks.
    let of_lens: Vec<(&str, f64)> = readings
        .iter()
        .filter(|(part, _, _)| part == "3")
        .map(|(_, person, value)| (person.as_str(), *value))
        .collect();
    let expected = precision::reproducibility(&of_lens).expect("enough");
    let heading = "Repeatability and reproducibility of each lens (ISO 5725-2), mean sphere";
    close(csv.number(heading, "P3 right: R"), expected.big_r, SIX_DIGITS);
    assert!(html.contains("Gauge R&amp;R: mean sphere"));
}

#[test]
fn drift_draws_the_charts_that_the_core_keeps() {
    let mut lab = Lab::new();
    let first: Vec<f64> = (0..20).map(|n| [0.00, 0.01, 0.00, -0.01][n % 4]).collect();
    let later = [0.00, 0.02, 0.03, 0.03, 0.04];
    for off in first.iter().chain(&later) {
        lab.check("focimeter-1", "REF+5", &format!("{off:.2}"));
    }
    let (csv, html) = lab.report("drift", &[]);
    let section = "focimeter-1, REF+5: sphere meridian";
    let baseline = Baseline::from_readings(&first).expect("they differ");
    close(csv.number(section, "sigma of the baseline"), baseline.sigma, SIX_DIGITS);
    let mut fired = Vec::new();
    let mut individuals = Individuals::new(baseline, WESTERN_ELECTRIC);
    let mut ewma = Ewma::new(baseline, 0.2, 3.0, Width::Growing).expect("sound");
    let mut cusum = Cusum::new(baseline, 0.5, 5.0).expect("sound");
    for (off, check) in later.into_iter().zip(21..) {
        let steps = [
            ("individuals", individuals.push(off).expect("usable").signals),
            ("weighted average", ewma.push(off).expect("usable").signals),
            ("cumulative sums", cusum.push(off).expect("usable").signals),
        ];
        for (chart, signals) in steps {
            fired.extend(
                signals
                    .iter()
                    .filter(|s| !s.continues)
                    .map(|s| format!("{chart}: {}, entry {check}", s.rule)),
            );
        }
    }
    assert!(fired.len() > 1, "{fired:?}");
    for rule in &fired {
        csv.number(section, rule);
    }
    assert_eq!(html.matches("<svg").count(), 6, "three charts for each of two meridians");
}

#[test]
fn drift_waits_for_its_baseline() {
    let mut lab = Lab::new();
    for _ in 0..19 {
        lab.check("focimeter-1", "REF+5", "0.00");
    }
    let (csv, html) = lab.report("drift", &[]);
    let why = csv.note("focimeter-1, REF+5: sphere meridian", "drift");
    assert_eq!(why, "not enough: have 19, need 20 (good checks for a baseline)");
    assert!(html.contains(why));
}

/// Readings that never differ are what a sound instrument with a coarse step gives.
#[test]
fn a_step_is_the_least_spread() {
    let mut lab = Lab::new();
    for _ in 0..21 {
        lab.check("focimeter-1", "REF+5", "0.00");
    }
    let (csv, html) = lab.report("drift", &[]);
    // 0.01 D / sqrt(12), JCGM 100:2008, F.2.2.1.
    close(
        csv.number("focimeter-1, REF+5: sphere meridian", "sigma of the baseline"),
        0.01 / 12f64.sqrt(),
        SIX_DIGITS,
    );
    assert!(html.contains("nothing speaks for drift"));
}

#[test]
fn capability_takes_the_last_verdict_on_each_job_and_none_held_back() {
    let mut lab = Lab::new();
    use Quantity::{Axis, SphereMeridian};
    // A first try that fails is replaced by what came after.
    lab.judged("1", None, &[(SphereMeridian, "-1.00", "0.50", "0.13")]);
    let deviations = ["0.02", "-0.01", "0.05", "0.00", "0.14", "0.03"];
    let mut last = Vec::new();
    for (job, off) in deviations.iter().enumerate() {
        let job = (job + 1).to_string();
        last.push(lab.judged(&job, None, &[(SphereMeridian, "-1.00", off, "0.13"), (Axis, "90", "1", "3")]));
    }
    lab.judged("9", Some("focimeter-1: it was never checked"), &[(SphereMeridian, "-8.00", "0.90", "0.16")]);
    let (csv, html) = lab.report("capability", &[]);
    let used: Vec<f64> = deviations.iter().map(|off| off.parse::<f64>().expect("a number") / 0.13).collect();
    let expected = capability::capability(&used, Interval { low: -1.0, high: 1.0 }, 0.95).expect("enough");
    close(csv.number("sphere meridian", "all: Cpk"), expected.cpk, SIX_DIGITS);
    close(csv.number("sphere meridian", "all: bias"), 0.23 / 6.0, SIX_DIGITS);
    let expected = capability::share(5, 6, 0.95).expect("enough");
    close(csv.number("Yield", "all jobs"), 100.0 * 5.0 / 6.0, SIX_DIGITS);
    close(csv.interval("Yield", "all jobs").0, 100.0 * expected.interval.low, SIX_DIGITS);
    assert!(csv.note("axis", "all: Cpk").contains("constant data"), "{}", csv.note("axis", "all: Cpk"));
    assert!(html.contains("1 jobs are left out: their last verdict was held back"), "held ones are named");
    assert_eq!(csv.entries(), "2-7");
}

#[test]
fn pareto_counts_what_fails_and_what_is_close() {
    let mut lab = Lab::new();
    use Quantity::{Axis, Cylinder, SphereMeridian};
    for (job, axis) in ["4", "5", "3", "2.7", "1"].iter().enumerate() {
        let items = [
            (SphereMeridian, "-1.00", "0.20", "0.13"),
            (Axis, "90", *axis, "3"),
            (Cylinder, "-1.00", "0.00", "0.13"),
        ];
        lab.judged(&job.to_string(), None, &items[usize::from(job > 0)..]);
    }
    let (csv, _) = lab.report("pareto", &[]);
    assert_eq!(csv.number("Fails by quantity", "axis"), 2.0);
    assert_eq!(csv.number("Fails by quantity", "sphere meridian"), 1.0);
    assert_eq!(csv.note("Fails by quantity", "sphere meridian"), "100.0 % so far");
    // 3 and 2.7 for a limit of 3: on the limit, and at nine tenths of it.
    assert_eq!(csv.number("Borderline and close decisions", "axis: close"), 40.0);
    assert_eq!(csv.number("Borderline and close decisions", "axis: borderline"), 0.0);
}

#[test]
fn practice_follows_a_person_over_sittings() {
    let mut lab = Lab::new();
    lab.reference(
        r#"{"name":"REF+5","serial":"T-1","sphere":5.00,"cylinder":-1.00,"axis":178,"due":"2099-01-01"}"#,
    );
    let takes = [[5.12, 5.25, 5.00], [5.12, 5.12, 5.00], [5.00, 5.06, 5.00]];
    for (sitting, spheres) in takes.iter().enumerate() {
        for (n, sphere) in spheres.iter().enumerate() {
            let axis = [177, 2, 180][n];
            let lens = format!(r#"{{"sphere":{sphere:.2},"cylinder":-1.00,"axis":{axis}}}"#);
            lab.read("C. Ray", Practice, &format!("s{sitting}"), "REF+5", &lens);
        }
        lab.now += jiff::SignedDuration::from_hours(24);
    }
    // Production readings of the same person do not count.
    lab.read("C. Ray", Production, "s0", "4471", r#"{"sphere":9.00}"#);
    let (csv, html) = lab.report("practice", &["--person", "C. Ray"]);
    let readings: Vec<(&str, f64)> = takes[0].iter().map(|sphere| ("lens", *sphere)).collect();
    let expected = precision::repeatability(&readings, 0.95).expect("enough");
    close(csv.number("C. Ray: sphere meridian", "s0: s_r"), expected.s_r, SIX_DIGITS);
    close(csv.number("C. Ray: sphere meridian", "s0: r = 2.77 s_r"), expected.r, SIX_DIGITS);
    close(csv.number("C. Ray: sphere meridian", "s0: bias"), 0.37 / 3.0, SIX_DIGITS);
    // Axes 177, 2 and 180 against 178: -1, 4 and 2 degrees.
    close(csv.number("C. Ray: axis", "s0: bias"), 5.0 / 3.0, SIX_DIGITS);
    assert!(csv.note("C. Ray: cylinder", "s1: s_r").contains("constant data"));
    assert!(csv.number("C. Ray: sphere meridian", "s_r, change a day") < 0.0);
    assert_eq!(csv.entries(), "2-10");
    assert!(html.contains("C. Ray: axis errors"));
}
