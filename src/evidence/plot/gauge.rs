//! Shares of each source of spread.

use super::axes::{Frame, Scale, number};
use super::svg::{Anchor, Figure, text_width};
use crate::evidence::gauge::{Row, Source, Study};

/// One kind of bar: its name, its look, its value in a row.
type Kind = (&'static str, &'static str, fn(&Row) -> Option<f64>);

const KINDS: [Kind; 3] = [
    ("% of total variance", "third", |r| Some(r.percent_contribution)),
    ("% of total spread", "bar", |r| Some(r.percent_study)),
    // What the lenses differ by is no error of measurement, whatever the tolerance.
    ("% of tolerance", "second", |r| r.percent_tolerance.filter(|_| r.source != Source::Lens)),
];

/// Bars for each source of a gauge study: share of variance, of spread, and of the tolerance. Dotted
/// lines stand at 10 and 30 percent, AIAG's guide values for the last two (from memory).
pub fn gauge(study: &Study, title: &str) -> String {
    // With the interaction pooled, "person" says what "reproducibility" has said.
    let told = |s| s == Source::Total || s == Source::Person && study.pooled;
    let rows: Vec<&Row> = study.rows.iter().filter(|r| !told(r.source)).collect();
    let kinds: Vec<&Kind> = KINDS.iter().filter(|k| rows.iter().any(|r| (k.2)(r).is_some())).collect();
    let (bar, gap) = (15.0, 16.0);
    let each = bar * kinds.len() as f64 + gap;
    let bottom = 84.0 + each * rows.len() as f64;
    let mut figure = Figure::new(bottom + 92.0, title);
    let most = rows.iter().flat_map(|r| kinds.iter().filter_map(|k| (k.2)(r))).fold(100.0, f64::max);
    let frame =
        Frame { x: Scale::new(0.0, most * 1.02, 164.0, 440.0), y: Scale::new(0.0, 1.0, bottom, 76.0) };
    let mut x = 14.0;
    for (name, class, _) in &kinds {
        figure.rect((x, 42.0), (x + 12.0, 54.0), class);
        figure.text((x + 18.0, 53.0), Anchor::Start, "", name);
        x += text_width(name) + 32.0;
    }
    for x in frame.x.ticks(6.0).0 {
        frame.upright(&mut figure, x, "grid");
    }
    for mark in [10.0, 30.0] {
        frame.upright(&mut figure, mark, "guide");
    }
    frame.horizontal(&mut figure, "percent", number);
    figure.line((frame.left(), 76.0), (frame.left(), bottom), "frame");
    for (i, row) in rows.iter().enumerate() {
        let top = 84.0 + each * i as f64;
        let middle = top + bar * kinds.len() as f64 / 2.0;
        // Parts of a sum stand indented under it.
        let inset = matches!(row.source, Source::Repeatability | Source::Reproducibility)
            .then_some(1.0)
            .or_else(|| matches!(row.source, Source::Person | Source::Interaction).then_some(2.0));
        let name = row.source.name();
        let class = if inset.is_some() { "" } else { "strong" };
        let at = 14.0 + 12.0 * inset.unwrap_or(0.0);
        figure.text((at, middle + 5.0), Anchor::Start, class, name);
        for (j, (_, class, value)) in kinds.iter().enumerate() {
            let Some(value) = value(row) else { continue };
            let y = top + bar * j as f64;
            figure.rect((frame.left(), y + 1.0), (frame.x.at(value), y + bar - 1.0), class);
            let text = match (row.set_to_zero, j) {
                (true, 0) => "0 (estimate below zero)".to_owned(),
                (true, _) => continue,
                _ => number(value, 1),
            };
            figure.text((frame.x.at(value) + 6.0, y + bar - 2.5), Anchor::Start, "quiet", &text);
        }
    }
    let foot = format!(
        "{} lenses, {} persons, {} readings each; {} distinct categories; dotted: 10 and 30 percent",
        study.lenses,
        study.persons.len(),
        study.repeats,
        study.distinct_categories
    );
    figure.foot(bottom + 66.0, &foot);
    let parts: Vec<String> = rows
        .iter()
        .map(|r| format!("{} {}% of total spread", r.source.name(), number(r.percent_study, 1)))
        .collect();
    figure.finish(title, &format!("{}. {foot}.", parts.join(", ")))
}
