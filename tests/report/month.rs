//! A month at the invented Tarnvale Lens Works: every report with as much in it as a lab has. The
//! pages stay under the target folder to be looked at.

use super::lab::Lab;
use fociline::bench::entry::Purpose::{Practice, Production};
use fociline::judge::verdict::Quantity;

/// Numbers that look like chance and are the same each time.
struct Noise(u64);

impl Noise {
    /// About normal, spread 1: the sum of twelve even shares less six.
    fn next(&mut self) -> f64 {
        let mut even = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 33) as f64 / f64::from(1u32 << 31)
        };
        (0..12).map(|_| even()).sum::<f64>() - 6.0
    }
}

fn lens(noise: &mut Noise, n: usize, bias: f64, spread: f64, step: f64) -> String {
    let rounded = |value: f64| (value / step).round() * step;
    let sphere = rounded(-6.0 + 0.37 * n as f64 + bias + spread * noise.next());
    let cylinder = rounded(-0.5 - 0.25 * (n % 5) as f64 + spread * noise.next()).min(0.0);
    let axis = ((n * 23) % 180) as f64 + (2.0 * noise.next()).round();
    let axis = if axis.rem_euclid(180.0) == 0.0 { 180.0 } else { axis.rem_euclid(180.0) };
    let addition = rounded(2.0 + spread * noise.next());
    format!(r#"{{"sphere":{sphere:.2},"cylinder":{cylinder:.2},"axis":{axis},"addition":{addition:.2}}}"#)
}

#[test]
fn a_month_of_readings_checks_and_practice_fills_every_report() {
    let mut lab = Lab::new();
    let mut noise = Noise(7);
    lab.reference(
        r#"{"name":"REF+5","serial":"T-105","sphere":5.00,"cylinder":-1.00,"axis":30,"due":"2099-01-01"}"#,
    );
    for n in 0..36 {
        let job = (4471 + n).to_string();
        lab.measured("focimeter-1", &job, &lens(&mut noise, n, 0.0, 0.02, 0.01));
        lab.read("A. Thorne", Production, "am", &job, &lens(&mut noise, n, 0.03, 0.06, 0.01));
    }
    for day in 0..40 {
        let off = format!("{:.2}", 0.01 * noise.next() + if day > 30 { 0.025 } else { 0.0 });
        lab.check("focimeter-1", "REF+5", &off);
    }
    for person in ["C. Ray", "D. Moss", "E. Finch"] {
        for part in 0..6 {
            for _ in 0..3 {
                let bias = if person == "D. Moss" { 0.06 } else { 0.0 };
                lab.read(
                    person,
                    Practice,
                    "study",
                    &format!("P{part}"),
                    &lens(&mut noise, 3 * part, bias, 0.05, 0.01),
                );
            }
        }
    }
    for sitting in 1..=5 {
        lab.now += jiff::SignedDuration::from_hours(24);
        for _ in 0..6 {
            let spread = 0.2 / f64::from(sitting);
            let (sphere, axis) = (5.0 + 0.05 + spread * noise.next(), 30.0 + 20.0 * spread * noise.next());
            let read = format!(r#"{{"sphere":{sphere:.2},"cylinder":-1.00,"axis":{axis:.0}}}"#);
            lab.read("F. Hale", Practice, &format!("day {sitting}"), "REF+5", &read);
        }
    }
    for job in 0..240 {
        let mut off = |spread: f64, bias: f64| format!("{:.2}", bias + spread * noise.next());
        let sphere = format!("{:.2}", -6.0 + f64::from(job % 40) / 4.0);
        let (a, b, c, d) = (off(0.05, 0.02), off(0.05, 0.0), off(1.2, 0.0), off(0.15, 0.05));
        lab.judged(
            &format!("9{job:03}"),
            None,
            &[
                (Quantity::SphereMeridian, &sphere, &a, "0.13"),
                (Quantity::Cylinder, "-1.00", &b, "0.13"),
                (Quantity::Axis, "90", &c, "3"),
                (Quantity::PrismImbalanceVertical, "0", &d, "0.33"),
            ],
        );
    }
    let mut report = |kind: &str, arguments: &[&str]| {
        let (csv, html) = lab.report(kind, arguments);
        std::fs::write(Lab::kept(kind), html).expect("kept to be looked at");
        csv
    };
    let agreement = report("agreement", &["--first", "focimeter-1", "--second", "A. Thorne"]);
    assert!(agreement.number("mean sphere", "SD of a difference") < 0.1);
    let gauge = report("gauge", &["--practice", "--tolerance", "0.26", "--instrument", "none"]);
    let moss = gauge.number("Gauge R&R (crossed, by analysis of variance): mean sphere", "mean of D. Moss");
    let ray = gauge.number("Gauge R&R (crossed, by analysis of variance): mean sphere", "mean of C. Ray");
    assert!(moss > ray, "the bias put in is found: {moss} and {ray}");
    let drift = report("drift", &[]);
    assert!(drift.0.keys().any(|(_, figure)| figure.contains("cumulative sum beyond")), "the shift is found");
    let capability = report("capability", &[]);
    assert!(capability.number("sphere meridian", "all: Cpk") < 1.0);
    let practice = report("practice", &["--person", "F. Hale"]);
    assert_eq!(practice.note("F. Hale: sphere meridian", "s_r, change a day"), "getting more repeatable");
    let pareto = report("pareto", &[]);
    assert!(pareto.number("Fails by quantity", "prism imbalance vertical") > 0.0);
}
