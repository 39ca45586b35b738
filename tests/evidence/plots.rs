//! Plots are well-formed, can be read by those who do not see them, hold every point, and have no
//! two labels on top of each other. Each is also left under the target folder, to be looked at.
//!
//! The lab and its readings are invented.

use crate::data::{answers, column, numbers, rows};
use crate::published::{cardiac, pairs};
use fociline::evidence::agreement::{Pair, Terms, agreement};
use fociline::evidence::astigmatism::{Point, cloud};
use fociline::evidence::chart::{Baseline, Cusum, Ewma, Individuals, NELSON, WESTERN_ELECTRIC, Width};
use fociline::evidence::plot::{self, Checks, Words};
use fociline::evidence::{Interval, axis, capability, gauge};
use roxmltree::{Document, Node};

/// Parses the plot, checks what every plot must have, and leaves it where it can be looked at.
fn check(name: &str, svg: &str) -> (usize, usize) {
    let folder = concat!(env!("CARGO_TARGET_TMPDIR"), "/plots");
    std::fs::create_dir_all(folder).unwrap();
    let shown = svg.replacen("</desc>", &format!("</desc>\n<style>{}</style>", plot::LOOK), 1);
    std::fs::write(format!("{folder}/{name}.svg"), shown).unwrap();

    assert!(!svg.contains("NaN") && !svg.contains("inf\""), "{name}");
    let document = Document::parse(svg).unwrap();
    let root = document.root_element();
    let mut children = root.children().filter(Node::is_element);
    for wanted in ["title", "desc"] {
        let child = children.next().unwrap();
        assert_eq!(child.tag_name().name(), wanted);
        assert!(child.text().is_some_and(|t| t.len() > 10), "{name}: {wanted}");
    }
    assert_eq!(root.attribute("role"), Some("img"));
    let view: Vec<f64> = root.attribute("viewBox").unwrap().split(' ').map(|v| v.parse().unwrap()).collect();

    let mut boxes: Vec<(String, [f64; 4])> = Vec::new();
    for text in document.descendants().filter(|n| n.has_tag_name("text")) {
        let words = text.text().unwrap_or("");
        if words.is_empty() {
            continue;
        }
        let number = |a: &str| text.attribute(a).unwrap().parse::<f64>().unwrap();
        let class = text.attribute("class").unwrap_or("");
        let per = match class {
            "heading" => 9.0,
            "quiet" => 6.6,
            _ => 7.2,
        };
        let width = words.chars().count() as f64 * per;
        let left = number("x")
            - match text.attribute("text-anchor").unwrap() {
                "start" => 0.0,
                "middle" => width / 2.0,
                _ => width,
            };
        let mut place = [left, number("y") - 10.5, left + width, number("y") + 2.0];
        if text.attribute("transform").is_some() {
            let (x, y) = (number("x"), number("y"));
            place = [x - 10.5, y - width / 2.0, x + 2.0, y + width / 2.0];
        }
        assert!(
            place[0] >= -2.0
                && place[1] >= view[1]
                && place[2] <= view[2] + 2.0
                && place[3] <= view[1] + view[3],
            "{name}: {words:?} leaves the picture: {place:?}"
        );
        for (other, b) in &boxes {
            let apart = place[2] <= b[0] || b[2] <= place[0] || place[3] <= b[1] || b[3] <= place[1];
            assert!(apart, "{name}: {words:?} lies on {other:?}");
        }
        boxes.push((words.to_owned(), place));
    }
    let count = |tag: &str, classes: &[&str]| {
        document
            .descendants()
            .filter(|n| n.has_tag_name(tag) && classes.contains(&n.attribute("class").unwrap_or("")))
            .count()
    };
    (count("circle", &["point", "bar"]), count("rect", &["alarm"]))
}

/// The values of an attribute over all elements of that tag and class, in the order drawn.
fn drawn(svg: &str, tag: &str, class: &str, attribute: &str) -> Vec<f64> {
    let document = Document::parse(svg).unwrap();
    document
        .descendants()
        .filter(|n| n.has_tag_name(tag) && n.attribute("class") == Some(class))
        .map(|n| n.attribute(attribute).unwrap().parse().unwrap())
        .collect()
}

#[track_caller]
fn about(got: f64, want: f64) {
    assert!((got - want).abs() < 0.02, "drawn at {got}, belongs at {want}");
}

fn mean(of: &[f64]) -> f64 {
    of.iter().sum::<f64>() / of.len() as f64
}

const SPHERE: Words<'static> =
    Words { title: "Sphere at Tarnvale Lens Works", quantity: "sphere", unit: "D" };

const CHECKS: Checks<'static> =
    Checks { title: "check number, 2026-01-05 to 2026-03-20", before: 0, baseline: &[] };

/// The stored series, in place of random numbers.
fn noise() -> Vec<f64> {
    numbers(&answers("computed.json", "/run_rules"), "/points")
}

#[test]
fn agreement_plots() {
    let z = noise();
    let lenses: Vec<String> = (0..48).map(|i| format!("lens {i}")).collect();
    let made: Vec<Pair> = lenses
        .iter()
        .enumerate()
        .map(|(i, lens)| {
            let second = -6.0 + 0.25 * i as f64;
            Pair { lens, first: second + 0.02 + 0.035 * z[i], second }
        })
        .collect();
    let result = agreement(&made, Terms::default()).unwrap();
    let words = Words { title: "Manual reading and focimeter 1: sphere", ..SPHERE };
    let svg = plot::agreement(&made, &result, "manual", "focimeter 1", words);
    assert_eq!(check("agreement", &svg), (48, 0));
    // The bias line lies at the mean height of the points, and the limits evenly about it.
    let heights = drawn(&svg, "circle", "point", "cy");
    let bias = drawn(&svg, "line", "rule", "y1")[0];
    about(mean(&heights), bias);
    let limits = drawn(&svg, "line", "limit", "y1");
    about(mean(&limits), bias);
    // Up is plus.
    let highest = (0..48).max_by(|a, b| made[*a].difference().total_cmp(&made[*b].difference())).unwrap();
    assert!(heights.iter().all(|h| *h >= heights[highest]));

    let data = cardiac();
    let repeated = pairs(&data);
    let result = agreement(&repeated, Terms::default()).unwrap();
    let svg = plot::agreement(
        &repeated,
        &result,
        "RV",
        "IC",
        Words { title: "Repeated readings", quantity: "output", unit: "l/min" },
    );
    assert_eq!(check("agreement-repeated", &svg), (60, 0));
}

#[test]
fn names_cannot_break_the_file() {
    let lens = ["a", "b", "c"];
    let made: Vec<Pair> = lens
        .iter()
        .enumerate()
        .map(|(i, lens)| Pair { lens, first: i as f64, second: (i * i) as f64 })
        .collect();
    let result = agreement(&made, Terms::default()).unwrap();
    let hostile = "<script>&\"'\u{1}\u{ffff}";
    let svg = plot::agreement(
        &made,
        &result,
        hostile,
        hostile,
        Words { title: "Names <&>  as typed", quantity: hostile, unit: "D" },
    );
    check("hostile", &svg);
    assert!(!svg.contains("<script"));
}

#[test]
fn control_charts() {
    let z = noise();
    let words = Words { title: "Focimeter 1 on the +5.00 D reference lens", ..SPHERE };
    let readings: Vec<f64> = (0..60).map(|i| 5.0 + 0.015 * z[i] + if i > 44 { 0.022 } else { 0.0 }).collect();
    let baseline = Baseline::from_readings(&readings[..30]).unwrap();

    let mut chart = Individuals::new(baseline, WESTERN_ELECTRIC);
    let steps: Vec<_> = readings.iter().map(|x| chart.push(*x).unwrap()).collect();
    let fired = steps.iter().filter(|s| !s.signals.is_empty()).count();
    let (points, alarms) = check("individuals", &plot::individuals(&steps, baseline, CHECKS, words));
    // Each point once above, and once below as a range but for the first; each rule once in the key.
    let rules: std::collections::HashSet<_> = steps.iter().flat_map(|s| &s.signals).map(|s| s.rule).collect();
    assert!(fired > 0);
    assert_eq!(points + alarms, 60 + 59 + rules.len());

    let mut chart = Ewma::new(baseline, 0.2, 3.0, Width::Growing).unwrap();
    let steps: Vec<_> = readings.iter().map(|x| chart.push(*x).unwrap()).collect();
    let (points, alarms) = check("ewma", &plot::ewma(&steps, baseline, CHECKS, words));
    assert!(alarms > 1);
    assert_eq!(points + alarms, 60 + 1);

    let mut chart = Cusum::new(baseline, 0.5, 5.0).unwrap();
    let steps: Vec<_> = readings.iter().map(|x| chart.push(*x).unwrap()).collect();
    let (points, alarms) = check("cusum", &plot::cusum(&steps, chart.decision(), CHECKS, words));
    assert!(alarms > 1);
    // Sums at rest, at 0, have no point of their own.
    let moving: usize =
        steps.iter().map(|s| usize::from(s.point.above > 0.0) + usize::from(s.point.below > 0.0)).sum();
    assert_eq!(points + alarms, moving + 1);

    // Of a later part, every point lies between the axes, behind the checks of the baseline.
    let mut chart = Individuals::new(baseline, WESTERN_ELECTRIC);
    let steps: Vec<_> = readings[30..].iter().map(|x| chart.push(*x).unwrap()).collect();
    let checks = Checks { before: 30, baseline: &readings[10..30], ..CHECKS };
    let svg = plot::individuals(&steps, baseline, checks, words);
    check("individuals-baseline", &svg);
    // One more stands in the key.
    assert_eq!(drawn(&svg, "circle", "third", "cx").len(), 20 + 1);
    let svg = plot::individuals(&steps[20..], baseline, Checks { before: 30, ..CHECKS }, words);
    let x = drawn(&svg, "circle", "bar", "cx");
    assert!(!x.is_empty() && x.iter().all(|x| (84.0..=384.0).contains(x)), "{x:?}");
    assert!(svg.contains(">55<"), "counted on from the baseline: {svg}");

    // A sum far out draws both limits near 0: their names are kept apart.
    let far = Baseline::new(0.0, 0.01).unwrap();
    let mut chart = Cusum::new(far, 0.5, 5.0).unwrap();
    let steps: Vec<_> = [0.0, -11.0].iter().map(|x| chart.push(*x).unwrap()).collect();
    check("cusum-far", &plot::cusum(&steps, chart.decision(), CHECKS, words));

    // The handbook's process in control, many rules at once, and a chart that has just begun.
    let calm = column("nist_individuals.csv", 1);
    let baseline = Baseline::from_readings(&calm).unwrap();
    let mut chart = Individuals::new(baseline, NELSON);
    let steps: Vec<_> = calm.iter().map(|x| chart.push(*x).unwrap()).collect();
    let flow = Words { title: "Ten batches, all calm", quantity: "flow", unit: "l/min" };
    let svg = plot::individuals(&steps, baseline, CHECKS, flow);
    assert_eq!(check("individuals-calm", &svg).1, 0);
    // The centre line lies at the mean height of the readings it was made from.
    about(mean(&drawn(&svg, "circle", "bar", "cy")[..10]), drawn(&svg, "line", "rule", "y1")[0]);
    check("individuals-one", &plot::individuals(&steps[..1], baseline, CHECKS, flow));
    check("individuals-none", &plot::individuals(&[], baseline, CHECKS, flow));

    let baseline = Baseline::new(0.0, 1.0).unwrap();
    let mut chart = Individuals::new(baseline, NELSON);
    let steps: Vec<_> = z.iter().map(|x| chart.push(*x).unwrap()).collect();
    check("individuals-busy", &plot::individuals(&steps, baseline, CHECKS, SPHERE));
}

#[test]
fn gauge_bars() {
    let data = rows("aiag_gauge_rr.csv");
    let readings = || data.iter().map(|r| (r[2].as_str(), r[0].as_str(), r[3].parse().unwrap()));
    for (name, terms) in [
        ("gauge", gauge::Terms { tolerance: Some(6.0), ..Default::default() }),
        ("gauge-kept", gauge::Terms { pool_above: 1.0, ..Default::default() }),
        ("gauge-over", gauge::Terms { tolerance: Some(1.0), pool_above: 1.0, ..Default::default() }),
    ] {
        let study = gauge::study(readings(), terms).unwrap();
        let svg = plot::gauge(&study, "Three persons, ten lenses, three times");
        check(name, &svg);
        // Bars after the key's square, one for each source but the last, as long as their percent.
        let bars = drawn(&svg, "rect", "bar", "width");
        let share = |i: usize| bars[i] / bars[bars.len() - 1];
        let percent =
            |s| study.row(s).unwrap().percent_study / study.row(gauge::Source::Lens).unwrap().percent_study;
        assert!((share(1) - percent(gauge::Source::Measuring)).abs() < 1e-3);
        assert!((share(2) - percent(gauge::Source::Repeatability)).abs() < 1e-3);
        assert_eq!(svg.contains("% of tolerance"), terms.tolerance.is_some());
        assert_eq!(svg.contains("estimate below zero"), terms.pool_above == 1.0);
    }
}

#[test]
fn capability_histogram() {
    let values: Vec<f64> = noise().iter().map(|z| 0.012 + 0.036 * z).collect();
    let limits = Interval { low: -0.13, high: 0.13 };
    let result = capability::capability(&values, limits, 0.95).unwrap();
    let (_, alarms) =
        check("capability", &plot::capability(&values, &result, Words { quantity: "deviation", ..SPHERE }));
    assert!(alarms > 0);
    // Each value has its part of the bars' height.
    let svg = plot::capability(&values, &result, SPHERE);
    let heights = [drawn(&svg, "rect", "bar", "height"), drawn(&svg, "rect", "alarm", "height")];
    let [inside, outside] = heights.map(|h| h.iter().sum::<f64>());
    let want = result.inside.count as f64 / (400 - result.inside.count) as f64;
    assert!((inside / outside / want - 1.0).abs() < 0.01);
    let result = capability::capability(&values[..5], limits, 0.95).unwrap();
    check("capability-few", &plot::capability(&values[..5], &result, SPHERE));
    let mut wild = values;
    wild.push(25.0);
    let result = capability::capability(&wild, limits, 0.95).unwrap();
    check("capability-wild", &plot::capability(&wild, &result, SPHERE));
}

#[test]
fn pareto_bars() {
    let names = ["axis", "cylinder", "sphere meridian", "addition", "prism imbalance, vertical"];
    let causes = names.iter().enumerate().flat_map(|(i, n)| std::iter::repeat_n(*n, 40 / (i * i + 1) + 1));
    let bars = capability::pareto(causes).unwrap();
    let svg = plot::pareto(&bars, "Why lenses were sent back");
    check("pareto", &svg);
    let widths = drawn(&svg, "rect", "bar", "width");
    for (bar, width) in bars.iter().zip(&widths) {
        about(*width, widths[0] * bar.count as f64 / bars[0].count as f64);
    }
    // The line starts at the end of the first bar.
    about(drawn(&svg, "circle", "second", "cx")[0], drawn(&svg, "rect", "bar", "x")[0] + widths[0]);
    let many: Vec<String> = (0..30).map(|i| format!("a cause with a rather long name, number {i}")).collect();
    let bars = capability::pareto(many.iter().map(String::as_str)).unwrap();
    let svg = plot::pareto(&bars, "Thirty causes of equal weight");
    check("pareto-many", &svg);
    assert!(svg.contains("18 others"));
    check("pareto-one", &plot::pareto(&bars[..1], "A single cause"));
}

#[test]
fn protractor() {
    let points: Vec<(f64, f64)> = noise()
        .iter()
        .take(70)
        .enumerate()
        .map(|(i, z)| (((i * 37) % 180) as f64 + 1.0, 0.4 + 1.1 * z))
        .collect();
    let result = axis::axis_errors(&points.iter().map(|p| p.1).collect::<Vec<_>>()).unwrap();
    let beyond = points.iter().filter(|p| p.1.abs() > 2.0).count();
    let svg = plot::axis_errors(&points, &result, Some(2.0), "Axis: manual against focimeter 1");
    assert_eq!(check("axis", &svg), (70 - beyond, beyond));
    let few = [(90.0, 3.0), (90.0, -3.0), (180.0, 0.5)];
    let result = axis::axis_errors(&few.map(|p| p.1)).unwrap();
    let svg = plot::axis_errors(&few, &result, Some(2.0), "Beyond on either side");
    assert_eq!(check("axis-few", &svg), (1, 2));
    // At 90 both lie above the middle, the anti-clockwise one farther out.
    let (x, y) = (drawn(&svg, "rect", "alarm", "x"), drawn(&svg, "rect", "alarm", "y"));
    about(x[0] + 4.2, 250.0);
    about(x[1], x[0]);
    assert!(y[0] < y[1]);
    let svg = plot::axis_errors(&few, &result, None, "Axis without a limit");
    assert_eq!(check("axis-no-limit", &svg), (3, 0));
}

#[test]
fn double_angle_plane() {
    let stored = answers("computed.json", "/cloud/points");
    let points: Vec<Point> = stored
        .as_array()
        .unwrap()
        .iter()
        .map(|p| numbers(p, ""))
        .map(|p| Point { j0: p[0], j45: p[1] })
        .collect();
    let result = cloud(&points, 0.95).unwrap();
    let svg = plot::double_angle(&points, &result, "Astigmatism: manual minus focimeter 1");
    assert_eq!(check("double-angle", &svg), (25, 0));
    assert!(svg.contains("a bias is shown"));

    // Points, centroid and ellipse as drawn agree with each other: the dashed ellipse, turned as the
    // file says, holds the points that are within the region by their own numbers.
    let (x, y) = (drawn(&svg, "circle", "point", "cx"), drawn(&svg, "circle", "point", "cy"));
    let ellipse = |a: &str| drawn(&svg, "ellipse", "limit", a)[0];
    about(mean(&x), ellipse("cx"));
    about(mean(&y), ellipse("cy"));
    let top = (0..25).max_by(|a, b| points[*a].j45.total_cmp(&points[*b].j45)).unwrap();
    assert!(y.iter().all(|v| *v >= y[top]), "J45 is up");
    let transform = svg.split("<ellipse class=\"limit\"").nth(1).unwrap();
    let turn = transform.split("rotate(").nth(1).unwrap().split(' ').next().unwrap();
    let (s, c) = turn.parse::<f64>().unwrap().to_radians().sin_cos();
    let depth = |x: f64, y: f64, half: (f64, f64), (s, c): (f64, f64)| {
        ((c * x + s * y) / half.0).hypot((c * y - s * x) / half.1)
    };
    let region = result.spread_region;
    let own = region.turn.to_radians().sin_cos();
    for (i, p) in points.iter().enumerate() {
        let seen = depth(x[i] - ellipse("cx"), y[i] - ellipse("cy"), (ellipse("rx"), ellipse("ry")), (s, c));
        let centred = (p.j0 - result.centroid.j0, p.j45 - result.centroid.j45);
        about(seen, depth(centred.0, centred.1, (region.major, region.minor), own));
    }
}
