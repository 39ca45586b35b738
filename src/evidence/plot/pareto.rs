//! Causes by frequency.

use super::axes::{Frame, Scale, number};
use super::svg::{Anchor, Figure, fitted};
use crate::evidence::capability::Cause;

/// Causes that get a bar of their own.
const MOST: usize = 12;

/// Bars for the causes, the most frequent on top, with the share reached so far as a line. Beyond
/// twelve the rest is taken together.
pub fn pareto(causes: &[Cause], title: &str) -> String {
    let total: usize = causes.iter().map(|c| c.count).sum();
    let mut shown: Vec<(String, usize, f64)> =
        causes.iter().take(MOST).map(|c| (c.name.clone(), c.count, c.cumulative)).collect();
    let rest: usize = causes.iter().skip(MOST).map(|c| c.count).sum();
    if rest > 0 {
        shown.push((format!("{} others", causes.len() - MOST), rest, 1.0));
    }
    let each = 42.0;
    let bottom = 66.0 + each * shown.len() as f64;
    let mut figure = Figure::new(bottom + 60.0, title);
    let frame = Frame { x: Scale::new(0.0, 100.0, 14.0, 384.0), y: Scale::new(0.0, 1.0, bottom, 58.0) };
    for x in frame.x.ticks(5.0).0 {
        frame.upright(&mut figure, x, "grid");
    }
    figure.text((432.0, 48.0), Anchor::End, "quiet", "count");
    figure.text((490.0, 48.0), Anchor::End, "quiet", "so far");
    let mut line = Vec::new();
    for (i, (name, count, so_far)) in shown.iter().enumerate() {
        let y = 66.0 + each * i as f64;
        let share = 100.0 * *count as f64 / total.max(1) as f64;
        // A name stands above its bar: beside it there is no room for a long one.
        figure.text((frame.left() + 4.0, y + 12.0), Anchor::Start, "", &fitted(name, 366.0));
        figure.rect((frame.left(), y + 18.0), (frame.x.at(share), y + 38.0), "bar");
        figure.text((432.0, y + 33.0), Anchor::End, "strong", &count.to_string());
        let text = format!("{} %", number(100.0 * so_far, 0));
        figure.text((490.0, y + 33.0), Anchor::End, "", &text);
        line.push((frame.x.at(100.0 * so_far), y + 28.0));
    }
    figure.path(&line, false, "second-trace");
    for at in line {
        figure.circle(at, 3.6, "second");
    }
    frame.horizontal(&mut figure, "percent of all; line: all causes so far", number);
    figure.line((frame.left(), 58.0), (frame.left(), bottom), "frame");
    let parts: Vec<String> = shown.iter().map(|s| format!("{} {}", s.0, s.1)).collect();
    figure.finish(title, &format!("{total} in all: {}.", parts.join(", ")))
}
