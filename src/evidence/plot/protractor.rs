//! Axis errors around the half circle.

use super::axes::{Scale, number, signed};
use super::svg::{Anchor, Figure};
use crate::evidence::axis::{AxisErrors, error};

/// Axis errors on a protractor, 0 to 180 degrees as seen from in front of the wearer. The middle
/// arc is no error; outside it a point was measured anti-clockwise of the reference, inside it
/// clockwise. `points` are (reference axis, error), both in degrees; `limit` is shaded if given.
pub fn axis_errors(points: &[(f64, f64)], result: &AxisErrors, limit: Option<f64>, title: &str) -> String {
    let mut figure = Figure::new(348.0, title);
    let centre = (250.0, 276.0);
    let most = [result.largest, limit.unwrap_or(0.0), 1.0].into_iter().fold(0.0, f64::max) * 1.08;
    let radius = Scale::new(-most, most, 76.0, 204.0);
    let on = |axis: f64, r: f64| {
        let a = axis.to_radians();
        (centre.0 + r * a.cos(), centre.1 - r * a.sin())
    };
    let arc = |r: f64| -> Vec<(f64, f64)> { (0..=90).map(|i| on(f64::from(i) * 2.0, r)).collect() };
    if let Some(limit) = limit {
        let mut ring = arc(radius.at(-limit));
        ring.extend(arc(radius.at(limit)).into_iter().rev());
        figure.path(&ring, true, "band");
    }
    let (rings, decimals) = radius.ticks(3.0);
    for ring in &rings {
        figure.path(&arc(radius.at(*ring)), false, if *ring == 0.0 { "rule" } else { "grid" });
    }
    for i in 0..=12 {
        let axis = f64::from(i) * 15.0;
        figure.line(on(axis, radius.at(-most)), on(axis, radius.at(most)), "grid");
        if i % 2 == 0 {
            let at = on(axis, radius.at(most) + 20.0);
            figure.text((at.0, at.1 + 5.0), Anchor::Middle, "", &number(axis, 0));
        }
    }
    for ring in &rings {
        let at = on(0.0, radius.at(*ring));
        figure.text((at.0, at.1 + 18.0), Anchor::Middle, "quiet", &signed(*ring, decimals));
    }
    for (axis, off) in points {
        let off = error(*off, 0.0);
        // 180 is written for 0; on the protractor both ends are the same axis.
        let at = on(axis.rem_euclid(180.0), radius.at(off));
        match limit {
            Some(limit) if off.abs() > limit => {
                figure.rect((at.0 - 4.2, at.1 - 4.2), (at.0 + 4.2, at.1 + 4.2), "alarm");
            }
            _ => figure.circle(at, 4.2, "point"),
        }
    }
    let lines = [
        format!("mean {}°", signed(result.mean, 2)),
        format!("SD {}°", number(result.sd, 2)),
        format!("largest {}°", number(result.largest, 1)),
        format!("n = {}", result.n),
    ];
    figure.text((centre.0, 320.0), Anchor::Middle, "", &lines.join(", "));
    let foot = "reference axis around, error in degrees along the radius";
    figure.foot(340.0, foot);
    let description = format!("Axis errors of {} readings: {}.", result.n, lines[..3].join(", "));
    figure.finish(title, &description)
}
