//! A person's hands: repeatability and bias of each practice sitting, and where both are going.

use super::CONFIDENCE;
use super::agreement::{axis_figures, entries_of};
use super::document::{Figure, Report, Section};
use super::records::{Filters, Records, Taken};
use super::values::{self, Value};
use crate::bench::entry::{Entry, Purpose};
use crate::evidence::practice::{Direction, Practice, Sitting, Take, direction, practice as progress};
use crate::evidence::trend::Trend;
use crate::evidence::{Unfit, axis, plot};
use crate::parsers::reading::{Eye, Lens};
use std::collections::{BTreeMap, BTreeSet};

/// Every person who practised, or the one of the filters.
///
/// A lens's reference is its certificate, else the mean of what instruments measured of it in the
/// same time range.
pub fn practice(records: &Records, filters: &Filters) -> Report {
    let mut report = Report::new("Practice", records, filters);
    let is_practice = |taken: &&Taken| {
        taken.purpose == Some(Purpose::Practice)
            && filters.person.as_ref().is_none_or(|only| *only == taken.by)
    };
    let taken: Vec<&Taken> = records.taken.iter().filter(is_practice).collect();
    report.rests_on(entries_of(taken.iter().copied()));
    let references = References::of(records);
    let persons: BTreeSet<&str> = taken.iter().map(|taken| taken.by.as_str()).collect();
    if persons.is_empty() {
        let mut section = Section::new("No practice");
        section.figures.push(Figure::told("practice", "not enough: have 0, need 1 (practice readings)"));
        report.sections.push(section);
    }
    for person in persons {
        let of_person: Vec<&Taken> = taken.iter().copied().filter(|taken| taken.by == person).collect();
        for value in [values::SPHERE, values::CYLINDER] {
            report.sections.push(of_value(person, &of_person, value, &references));
        }
        report.sections.push(of_axis(person, &of_person, &references));
    }
    report
}

/// What each lens should read.
struct References {
    certified: BTreeMap<String, Lens>,
    measured: BTreeMap<String, Vec<Lens>>,
}

impl References {
    fn of(records: &Records) -> Self {
        let mut references = Self { certified: BTreeMap::new(), measured: BTreeMap::new() };
        for numbered in &records.checks {
            if let Entry::ReferenceLens(entry) = &numbered.entry {
                let power = entry.lens.power();
                let lens = Lens {
                    sphere: Some(power.sphere()),
                    cylinder: Some(power.cylinder()),
                    axis: power.axis(),
                    prism: entry.lens.prism.clone(),
                    ..Lens::default()
                };
                references.certified.insert(entry.lens.name.to_string(), lens);
            }
        }
        for taken in records.taken.iter().filter(|taken| taken.purpose.is_none()) {
            references.measured.entry(taken.lens_name()).or_default().push(taken.lens.clone());
        }
        references
    }

    fn number(&self, taken: &Taken, of: impl Fn(&Lens) -> Option<f64>) -> Option<f64> {
        if let Some(lens) = self.certified.get(taken.job.as_str()) {
            return of(lens);
        }
        let numbers: Vec<f64> = self.measured.get(&taken.lens_name())?.iter().filter_map(of).collect();
        (!numbers.is_empty()).then(|| numbers.iter().sum::<f64>() / numbers.len() as f64)
    }

    /// The lens to compare with as a whole: certified, or as an instrument measured it last.
    fn lens(&self, taken: &Taken) -> Option<&Lens> {
        let measured = || self.measured.get(&taken.lens_name()).and_then(|lenses| lenses.last());
        self.certified.get(taken.job.as_str()).or_else(measured)
    }
}

/// Readings sitting by sitting, in their order, with the day counted from the first.
fn sittings<'t>(taken: &[&'t Taken]) -> Vec<(&'t str, f64, Vec<&'t Taken>)> {
    let mut found: Vec<(&str, f64, Vec<&Taken>)> = Vec::new();
    let Some(first) = taken.first() else { return found };
    for taken in taken {
        let name = taken.sitting.as_deref().unwrap_or_default();
        match found.iter_mut().find(|(known, _, _)| *known == name) {
            Some((_, _, takes)) => takes.push(taken),
            None => {
                let days = taken.time.duration_since(first.time).as_secs_f64() / 86_400.0;
                found.push((name, days, vec![taken]));
            }
        }
    }
    found
}

fn of_value(person: &str, taken: &[&Taken], value: Value, references: &References) -> Section {
    let of = |lens: &Lens| (value.of)(lens, Eye::Right);
    let number = |taken: &Taken| of(&taken.lens);
    let reference = |taken: &Taken| references.number(taken, of);
    worked_out(person, value.name, value.unit, taken, &number, &reference)
}

/// Axes are counted on from the reference, or from the first reading of the lens, so that 178 and 2
/// are neighbours in a mean.
fn of_axis(person: &str, taken: &[&Taken], references: &References) -> Section {
    let mut origins: BTreeMap<String, f64> = BTreeMap::new();
    for taken in taken {
        let reference = references.lens(taken).and_then(values::axis);
        if let Some(origin) = reference.or_else(|| values::axis(&taken.lens)) {
            origins.entry(taken.lens_name()).or_insert(origin);
        }
    }
    let number = |taken: &Taken| {
        let origin = *origins.get(&taken.lens_name())?;
        Some(origin + axis::error(values::axis(&taken.lens)?, origin))
    };
    let reference = |taken: &Taken| {
        let origin = *origins.get(&taken.lens_name())?;
        Some(origin + axis::error(references.lens(taken).and_then(values::axis)?, origin))
    };
    let mut section = worked_out(person, "axis", "deg", taken, &number, &reference);
    let points: Vec<(f64, f64)> = taken
        .iter()
        .filter_map(|taken| {
            let known = reference(taken)?;
            Some((known, axis::error(number(taken)?, known)))
        })
        .collect();
    let errors: Vec<f64> = points.iter().map(|point| point.1).collect();
    if let Ok(found) = axis::axis_errors(&errors) {
        section.figures.extend(axis_figures(&found));
        section.plots.push(plot::axis_errors(&points, &found, None, &format!("{person}: axis errors")));
    }
    let apart: Vec<_> =
        taken.iter().filter_map(|taken| values::astigmatic(&taken.lens, references.lens(taken)?)).collect();
    if !apart.is_empty() {
        section.extend_with_cloud(&apart, &format!("{person}: astigmatic errors"));
    }
    section
}

fn worked_out(
    person: &str,
    name: &str,
    unit: &'static str,
    taken: &[&Taken],
    number: &dyn Fn(&Taken) -> Option<f64>,
    reference: &dyn Fn(&Taken) -> Option<f64>,
) -> Section {
    let sittings = sittings(taken);
    let lenses: BTreeMap<_, String> = taken.iter().map(|taken| (taken.seq, taken.lens_name())).collect();
    let takes = |of: &[&Taken]| -> Vec<Take> {
        of.iter()
            .filter_map(|taken| {
                Some(Take {
                    lens: lenses.get(&taken.seq)?,
                    value: number(taken)?,
                    reference: reference(taken),
                })
            })
            .collect()
    };
    let given: Vec<Sitting> =
        sittings.iter().map(|(name, at, of)| Sitting { name, at: *at, takes: takes(of) }).collect();
    let mut section = Section::new(format!("{person}: {name}"));
    section.figures = figures(&progress(&given, CONFIDENCE), unit);
    section
}

fn figures(found: &Practice, unit: &'static str) -> Vec<Figure> {
    let mut figures = Vec::new();
    for sitting in &found.sittings {
        let name = || sitting.name.clone();
        match &sitting.repeatability {
            Err(why) => figures.push(Figure::missing(name(), why).column("s_r")),
            Ok(repeat) => {
                figures.push(
                    Figure::new(name(), repeat.s_r, unit)
                        .column("s_r")
                        .within(repeat.s_r_interval)
                        .of(repeat.n),
                );
                figures.push(Figure::new(name(), repeat.r, unit).column("r = 2.77 s_r").of(repeat.n));
            }
        }
        match &sitting.bias {
            Err(why) => figures.push(Figure::missing(name(), why).column("bias")),
            Ok(bias) => {
                let shown = if bias.shown { "a bias: the interval leaves 0 out" } else { "no bias shown" };
                figures.push(
                    Figure::new(name(), bias.mean, unit)
                        .column("bias")
                        .within(bias.interval)
                        .of(bias.n)
                        .note(shown),
                );
            }
        }
    }
    figures.push(trend(
        "s_r, change a day",
        &found.repeatability_trend,
        unit,
        ["getting less repeatable", "getting more repeatable"],
    ));
    figures.push(trend("bias, change a day", &found.bias_trend, unit, ["reading higher", "reading lower"]));
    figures
}

fn trend(name: &str, found: &Result<Trend, Unfit>, unit: &'static str, words: [&str; 2]) -> Figure {
    match found {
        Err(why) => Figure::missing(name, why),
        Ok(trend) => {
            let note = match direction(trend) {
                Direction::Rising => words[0],
                Direction::Falling => words[1],
                Direction::NotShown => "no change shown",
            };
            Figure::new(name, trend.slope, unit).within(trend.slope_interval).of(trend.n).note(note)
        }
    }
}
