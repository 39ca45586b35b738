//! Astigmatic differences in the double-angle plane.

use super::axes::{Scale, number, signed};
use super::svg::{Anchor, Figure};
use crate::evidence::astigmatism::{Cloud, Point};

/// Differences as points (J0 to the right, J45 up, in dioptres), with rings of equal size, spokes
/// named after the axis of the minus cylinder they stand for, the ellipse that holds single
/// differences (dashed) and the confidence ellipse of the centroid (filled).
pub fn double_angle(points: &[Point], cloud: &Cloud, title: &str) -> String {
    let mut figure = Figure::new(632.0, title);
    let centre = (250.0, 264.0);
    let reach = points.iter().map(|p| p.j0.hypot(p.j45));
    let ellipse = cloud.centroid.j0.hypot(cloud.centroid.j45) + cloud.spread_region.major;
    let most = reach.chain([ellipse]).fold(0.0, f64::max).max(1e-6) * 1.04;
    let radius = Scale::new(0.0, most, 0.0, 200.0);
    let on = |j0: f64, j45: f64| (centre.0 + radius.at(j0), centre.1 - radius.at(j45));

    let (rings, decimals) = radius.ticks(4.0);
    for ring in rings.iter().filter(|r| **r > 0.0) {
        figure.circle(centre, radius.at(*ring), "grid");
    }
    figure.circle(centre, 200.0, "frame");
    for i in 0..8 {
        let a = f64::from(i) * std::f64::consts::FRAC_PI_4;
        let end = |r: f64| (centre.0 + r * a.cos(), centre.1 - r * a.sin());
        figure.line(centre, end(200.0), "grid");
        let axis = if i == 0 { 180.0 } else { f64::from(i) * 22.5 };
        let at = end(222.0);
        figure.text((at.0, at.1 + 5.0), Anchor::Middle, "", &number(axis, if i % 2 == 0 { 0 } else { 1 }));
    }
    let at = on(cloud.centroid.j0, cloud.centroid.j45);
    let half = |e: &crate::evidence::astigmatism::Ellipse| (radius.at(e.major), radius.at(e.minor));
    figure.ellipse(at, half(&cloud.spread_region), cloud.spread_region.turn, "limit");
    for p in points {
        figure.circle(on(p.j0, p.j45), 4.0, "point");
    }
    figure.ellipse(at, half(&cloud.centroid_region), cloud.centroid_region.turn, "alarm-trace");
    figure.line((at.0 - 6.0, at.1), (at.0 + 6.0, at.1), "alarm-trace");
    figure.line((at.0, at.1 - 6.0), (at.0, at.1 + 6.0), "alarm-trace");
    // Ring labels last and beside the spoke, so that points do not cover them.
    for ring in rings.iter().filter(|r| **r > 0.0) {
        let at = (centre.0 + radius.at(*ring) * 0.9239, centre.1 + radius.at(*ring) * 0.3827 + 5.0);
        figure.text(at, Anchor::Middle, "tag", &number(*ring, decimals));
    }

    let facts = [
        ("mean J0", format!("{} D", signed(cloud.centroid.j0, 3))),
        ("mean J45", format!("{} D", signed(cloud.centroid.j45, 3))),
        ("n", cloud.n.to_string()),
    ];
    for (i, (name, value)) in facts.iter().enumerate() {
        let y = 524.0 + 22.0 * i as f64;
        figure.text((40.0, y), Anchor::Start, "", name);
        figure.text((216.0, y), Anchor::End, "strong", value);
    }
    let verdict = if cloud.biased { "a bias is shown" } else { "no bias is shown" };
    figure.text((290.0, 524.0), Anchor::Start, "", verdict);
    figure.line((290.0, 541.0), (316.0, 541.0), "limit");
    figure.text((324.0, 546.0), Anchor::Start, "quiet", "single readings");
    figure.line((290.0, 563.0), (316.0, 563.0), "alarm-trace");
    figure.text((324.0, 568.0), Anchor::Start, "quiet", "mean, confidence");
    let foot = "J0 to the right, J45 up; rings in dioptres; spokes: axis of the minus cylinder";
    figure.foot(600.0, foot);
    let description = format!(
        "{} astigmatic differences in the double-angle plane: mean J0 {} D, mean J45 {} D; {verdict}.",
        cloud.n,
        signed(cloud.centroid.j0, 3),
        signed(cloud.centroid.j45, 3),
    );
    figure.finish(title, &description)
}
