//! Two instruments or persons on the same lenses (Bland and Altman).

use super::CONFIDENCE;
use super::document::{Figure, Report, Section};
use super::records::{Filters, Records, Taken};
use super::values::{self, Value, plot_unit};
use crate::bench::entry::{Purpose, Seq};
use crate::evidence::agreement::{Agreement, Pair, Terms, agreement as agree};
use crate::evidence::plot::{self, Words};
use crate::evidence::{astigmatism, axis};
use crate::parsers::reading::Eye;
use std::collections::BTreeMap;

/// How many names are listed before the rest is only counted.
const NAMED: usize = 8;

/// Agreement of `filters.first` and `filters.second`; where they are left out, of the instrument
/// and the person with the most readings.
pub fn agreement(records: &Records, filters: &Filters) -> Report {
    let Some((first, second)) = sides(records, filters) else {
        let mut report = Report::new("Agreement", records, filters);
        report.warnings.push(
            "two sides are needed, instruments or persons: fewer than two have read anything in this range"
                .to_owned(),
        );
        return report;
    };
    let mut report = Report::new(&format!("Agreement of {first} and {second}"), records, filters);
    let paired = paired(records, &first, &second, &mut report);
    report.rests_on(paired.iter().flat_map(|pair| [pair.first.seq, pair.second.seq]));
    for value in values::ALL {
        report.sections.extend(of_value(&paired, value, &first, &second));
    }
    report.sections.push(axes(&paired, &first, &second));
    report
}

/// A lens read by both.
struct Both<'r> {
    lens: String,
    first: &'r Taken,
    second: &'r Taken,
}

impl Both<'_> {
    fn eye(&self) -> Eye {
        self.first.eye.unwrap_or(Eye::Right)
    }
}

fn counts(taken: &Taken) -> bool {
    taken.purpose != Some(Purpose::Practice)
}

fn sides(records: &Records, filters: &Filters) -> Option<(String, String)> {
    let mut readings: BTreeMap<(bool, &str), usize> = BTreeMap::new();
    for taken in records.taken.iter().filter(|taken| counts(taken)) {
        *readings.entry((taken.purpose.is_some(), &taken.by)).or_default() += 1;
    }
    let most = |persons: bool, but: Option<&str>| {
        let of_kind = readings.iter().filter(|((person, name), _)| *person == persons && Some(*name) != but);
        // The first by name of those with the most.
        of_kind.rev().max_by_key(|(_, count)| **count).map(|((_, name), _)| (*name).to_owned())
    };
    let [first, second] = filters.sides().unwrap_or_default().map(|side| side.map(str::to_owned));
    let but = second.as_deref();
    let first = first.or_else(|| most(false, but)).or_else(|| most(true, but))?;
    let but = Some(first.as_str());
    let second = second.or_else(|| most(true, but)).or_else(|| most(false, but))?;
    Some((first, second))
}

/// Pairs the readings of each lens in their order: the first of the one with the first of the
/// other, and so on. What has no partner is told.
fn paired<'r>(records: &'r Records, first: &str, second: &str, report: &mut Report) -> Vec<Both<'r>> {
    let other_lenses = records.other_lenses();
    let mut lenses: BTreeMap<String, (Vec<&Taken>, Vec<&Taken>)> = BTreeMap::new();
    for taken in records.taken.iter().filter(|taken| counts(taken)) {
        if taken.by != first && taken.by != second {
            continue;
        }
        if let Some((seq, check)) = other_lenses.get(&taken.seq) {
            let why = check.suspect.map_or("different lens likely", |suspect| suspect.words());
            report.warnings.push(format!(
                "mixed lenses: reading {} of {} is left out, {why} (cross-check, entry {seq})",
                taken.seq,
                taken.lens_name()
            ));
            continue;
        }
        let of_lens = lenses.entry(taken.lens_name()).or_default();
        if taken.by == first { of_lens.0.push(taken) } else { of_lens.1.push(taken) }
    }
    let mut paired = Vec::new();
    let mut alone = (Vec::new(), Vec::new());
    for (lens, (by_first, by_second)) in lenses {
        match (by_first.is_empty(), by_second.is_empty()) {
            (false, true) => alone.0.push(lens),
            (true, _) => alone.1.push(lens),
            _ => {
                let pairs = by_first.into_iter().zip(by_second);
                paired.extend(pairs.map(|(first, second)| Both { lens: lens.clone(), first, second }));
            }
        }
    }
    for (side, lenses) in [(first, alone.0), (second, alone.1)] {
        if !lenses.is_empty() {
            report.warnings.push(format!("read by {side} only, and left out: {}", names(&lenses)));
        }
    }
    paired
}

/// Names, and how many more there are.
pub(super) fn names(all: &[String]) -> String {
    let shown = all.iter().take(NAMED).cloned().collect::<Vec<_>>().join(", ");
    if all.len() > NAMED { format!("{shown} and {} more", all.len() - NAMED) } else { shown }
}

fn of_value(paired: &[Both], value: Value, first: &str, second: &str) -> Option<Section> {
    let pairs: Vec<Pair> = paired
        .iter()
        .filter_map(|both| {
            let (one, other) =
                ((value.of)(&both.first.lens, both.eye())?, (value.of)(&both.second.lens, both.eye())?);
            Some(Pair { lens: &both.lens, first: one, second: other })
        })
        .collect();
    if pairs.is_empty() && value.name != values::MEAN.name {
        return None;
    }
    let mut section = Section::new(value.name);
    match agree(&pairs, Terms::default()) {
        Err(why) => section.figures.push(Figure::missing("agreement", &why)),
        Ok(found) => {
            section.figures = figures(&found, value.unit, first, second);
            if found.components.len() > 1 {
                section.says.push(
                    "Lenses were read more than once: the form for repeated measures, in which differences of one lens \
                     are not taken for independent ones."
                        .to_owned(),
                );
            }
            let title = format!("{}: {first} less {second}", value.name);
            let words = Words { title: &title, quantity: value.name, unit: plot_unit(value.unit) };
            section.plots.push(plot::agreement(&pairs, &found, first, second, words));
        }
    }
    Some(section)
}

fn figures(found: &Agreement, unit: &'static str, first: &str, second: &str) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new("bias", found.bias, unit)
            .within(found.bias_interval)
            .of(found.n)
            .note(format!("{first} less {second}; {} lenses", found.lenses)),
        Figure::new("lower limit of agreement", found.limits.low, unit)
            .within(found.lower_interval)
            .of(found.n),
        Figure::new("upper limit of agreement", found.limits.high, unit)
            .within(found.upper_interval)
            .of(found.n)
            .note("about 95 % of differences lie between the limits"),
        Figure::new("SD of a difference", found.sd, unit).of(found.n),
    ];
    figures.extend(found.components.iter().map(|component| {
        let zero = if component.set_to_zero { "estimate below zero, taken as zero" } else { "" };
        Figure::new(format!("SD {}", component.what), component.variance.sqrt(), unit).note(zero)
    }));
    figures
}

fn axes(paired: &[Both], first: &str, second: &str) -> Section {
    let mut section = Section::new("axis and astigmatism");
    let points: Vec<(f64, f64)> = paired
        .iter()
        .filter_map(|both| {
            let (one, other) = (values::axis(&both.first.lens)?, values::axis(&both.second.lens)?);
            Some((other, axis::error(one, other)))
        })
        .collect();
    let errors: Vec<f64> = points.iter().map(|point| point.1).collect();
    match axis::axis_errors(&errors) {
        Err(why) => section.figures.push(Figure::missing("axis", &why)),
        Ok(found) => {
            section.figures.extend(axis_figures(&found));
            let title = format!("Axis: {first} less {second}");
            section.plots.push(plot::axis_errors(&points, &found, None, &title));
        }
    }
    let points: Vec<_> =
        paired.iter().filter_map(|both| values::astigmatic(&both.first.lens, &both.second.lens)).collect();
    section.extend_with_cloud(&points, &format!("Astigmatism: {first} less {second}"));
    section
}

pub(super) fn axis_figures(found: &axis::AxisErrors) -> [Figure; 3] {
    [
        Figure::new("axis, mean difference", found.mean, "deg").of(found.n),
        Figure::new("axis, circular SD", found.sd, "deg").of(found.n),
        Figure::new("axis, largest difference", found.largest, "deg")
            .of(found.n)
            .note("small cylinders turn easily: see the plane of J0 and J45 for what it amounts to"),
    ]
}

impl Section {
    /// Adds where astigmatic differences lie, as figures and as a plot.
    pub(super) fn extend_with_cloud(&mut self, points: &[astigmatism::Point], title: &str) {
        match astigmatism::cloud(points, CONFIDENCE) {
            Err(why) => self.figures.push(Figure::missing("astigmatic difference", &why)),
            Ok(cloud) => {
                let bias = if cloud.biased {
                    "a bias: none at all lies outside the confidence region"
                } else {
                    "no bias shown"
                };
                self.figures.push(Figure::new("mean difference in J0", cloud.centroid.j0, "D").of(cloud.n));
                self.figures.push(
                    Figure::new("mean difference in J45", cloud.centroid.j45, "D").of(cloud.n).note(bias),
                );
                self.plots.push(plot::double_angle(points, &cloud, title));
            }
        }
    }
}

/// The entries of readings.
pub(super) fn entries_of<'r>(taken: impl IntoIterator<Item = &'r Taken>) -> Vec<Seq> {
    taken.into_iter().map(|taken| taken.seq).collect()
}
