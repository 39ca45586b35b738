//! Where a measurement's spread comes from: gauge R&R, and repeatability and reproducibility for
//! each lens (ISO 5725-2).

use super::agreement::{entries_of, names};
use super::document::{Figure, Report, Section};
use super::records::{Filters, Records, Taken};
use super::values::{self, Value};
use crate::bench::entry::Purpose;
use crate::evidence::gauge::{Study, Terms, study};
use crate::evidence::plot;
use crate::evidence::precision::reproducibility;
use crate::parsers::reading::Eye;
use std::collections::{BTreeMap, BTreeSet};

/// A crossed study: every instrument and person that takes part has read every lens equally often.
///
/// Production readings, or with `filters.practice` practice readings of persons; instruments take
/// part in either. Without `filters.lenses`, the lenses that at least two have read.
pub fn gauge(records: &Records, filters: &Filters) -> Report {
    let purpose = if filters.practice { "practice readings" } else { "production readings" };
    let mut report = Report::new("Gauge repeatability and reproducibility", records, filters);
    report.about.push(("of persons".to_owned(), purpose.to_owned()));
    let chosen = chosen(records, filters, &mut report);
    report.rests_on(entries_of(chosen.iter().copied()));
    for value in [values::MEAN, values::CYLINDER] {
        report.sections.push(of_value(&chosen, value, filters.tolerance));
    }
    report.sections.push(by_lens(&chosen, values::MEAN));
    report
}

/// The readings of the study.
fn chosen<'r>(records: &'r Records, filters: &Filters, report: &mut Report) -> Vec<&'r Taken> {
    let wanted = if filters.practice { Purpose::Practice } else { Purpose::Production };
    let other_lenses = records.other_lenses();
    let takes_part = |taken: &&Taken| {
        let name = if taken.purpose.is_some() { &filters.person } else { &filters.instrument };
        taken.purpose.is_none_or(|purpose| purpose == wanted)
            && name.as_ref().is_none_or(|name| *name == taken.by)
            && (filters.lenses.is_empty() || filters.lenses.contains(&taken.lens_name()))
    };
    let mut all: Vec<&Taken> = records.taken.iter().filter(takes_part).collect();
    all.retain(|taken| match other_lenses.get(&taken.seq) {
        None => true,
        Some((seq, _)) => {
            let lens = taken.lens_name();
            report.warnings.push(format!(
                "mixed lenses: reading {} of {lens} is left out, a different lens is likely (cross-check, entry {seq})",
                taken.seq
            ));
            false
        }
    });
    if filters.lenses.is_empty() {
        let mut readers: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
        for taken in &all {
            readers.entry(taken.lens_name()).or_default().insert(&taken.by);
        }
        let alone: Vec<String> =
            readers.iter().filter(|(_, by)| by.len() < 2).map(|(lens, _)| lens.clone()).collect();
        if !alone.is_empty() {
            report.warnings.push(format!("read by one only, and left out: {}", names(&alone)));
        }
        all.retain(|taken| readers.get(&taken.lens_name()).is_some_and(|by| by.len() > 1));
    }
    all
}

fn of_value(chosen: &[&Taken], value: Value, tolerance: Option<f64>) -> Section {
    let mut section = Section::new(format!("Gauge R&R (crossed, by analysis of variance): {}", value.name));
    let readings: Vec<(String, &str, f64)> = chosen
        .iter()
        .filter_map(|taken| {
            let number = (value.of)(&taken.lens, taken.eye.unwrap_or(Eye::Right))?;
            Some((taken.lens_name(), taken.by.as_str(), number))
        })
        .collect();
    let terms = Terms { tolerance, ..Terms::default() };
    match study(readings.iter().map(|(lens, by, number)| (lens.as_str(), *by, *number)), terms) {
        Err(why) => section.figures.push(Figure::missing("study", &why)),
        Ok(found) => {
            section.figures.extend(figures(&found, value));
            section.plots.push(plot::gauge(&found, &format!("Gauge R&R: {}", value.name)));
        }
    }
    section
}

fn figures(found: &Study, value: Value) -> Vec<Figure> {
    let mut figures = Vec::new();
    let n = found.lenses * found.persons.len() * found.repeats;
    for row in &found.rows {
        let figure = |number, unit, column| Figure::new(row.source.name(), number, unit).column(column);
        let zero = if row.set_to_zero { "estimate below zero, taken as zero" } else { "" };
        figures.push(figure(row.sd, value.unit, "SD").of(n).note(zero));
        figures.push(figure(row.percent_contribution, "%", "% of variance"));
        figures.push(figure(row.percent_study, "%", "% study"));
        figures.extend(row.percent_tolerance.map(|percent| figure(percent, "%", "% tolerance")));
    }
    let pooled = if found.pooled { "person by lens taken together with repeatability" } else { "" };
    figures.push(Figure::new("person by lens: p", found.interaction_p, "").note(pooled));
    figures.push(Figure::new("distinct categories", found.distinct_categories as f64, ""));
    let means = found.persons.iter();
    figures.extend(means.map(|(person, mean)| Figure::new(format!("mean of {person}"), *mean, value.unit)));
    figures
}

fn by_lens(chosen: &[&Taken], value: Value) -> Section {
    let mut section =
        Section::new(format!("Repeatability and reproducibility of each lens (ISO 5725-2), {}", value.name));
    section.says.push(
        "Two results of one reader differ by more than r in one case of twenty, two results of different readers by \
         more than R."
            .to_owned(),
    );
    let mut lenses: BTreeMap<String, Vec<(&str, f64)>> = BTreeMap::new();
    for taken in chosen {
        if let Some(number) = (value.of)(&taken.lens, taken.eye.unwrap_or(Eye::Right)) {
            lenses.entry(taken.lens_name()).or_default().push((&taken.by, number));
        }
    }
    if lenses.is_empty() {
        section.figures.push(Figure::told("no lens", "not enough: have 0, need 1 (lenses read by two)"));
    }
    let mut unfit: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (lens, readings) in lenses {
        match reproducibility(&readings) {
            Err(why) => unfit.entry(why.to_string()).or_default().push(lens),
            Ok(found) => {
                let takers: Vec<&str> = found.takers.iter().map(|taker| taker.name.as_str()).collect();
                let figure = |what, number| Figure::new(lens.clone(), number, value.unit).column(what);
                section.figures.push(figure("r", found.r).of(found.n).note(takers.join(", ")));
                section.figures.push(figure("R", found.big_r).of(found.n));
            }
        }
    }
    section.figures.extend(unfit.into_iter().map(|(why, lenses)| Figure::told(names(&lenses), why)));
    section
}
