//! Charts of checks with reference lenses: one for each instrument, lens and quantity.

use super::document::{Figure, Report, Section, entry_ranges};
use super::records::{Filters, Records};
use super::values::{in_words, plot_unit};
use crate::bench::drift::{Charts, Point};
use crate::bench::entry::{ChartKind, Entry, Seq};
use crate::check::reference::CheckItem;
use crate::evidence::plot::{self, Checks, Words};
use crate::judge::verdict::Quantity;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// A check's place on the charts.
struct Charted {
    seq: Seq,
    time: Timestamp,
    deviation: f64,
    point: Point,
}

#[derive(Default)]
struct Series {
    charts: Option<Charts>,
    unit: &'static str,
    checks: Vec<Seq>,
    /// Those that the baseline was made from.
    baseline: Vec<(Seq, Timestamp)>,
    /// As far as they lie in the range: what they were off by.
    baseline_shown: Vec<f64>,
    shown: Vec<Charted>,
}

/// Individuals, weighted averages and cumulative sums of every instrument, lens and quantity.
pub fn drift(records: &Records, filters: &Filters) -> Report {
    let mut report = Report::new("Drift of instruments", records, filters);
    let mut series: BTreeMap<(String, String, Quantity), Series> = BTreeMap::new();
    for numbered in &records.checks {
        let Entry::InstrumentCheck(check) = &numbered.entry else { continue };
        if filters.instrument.as_ref().is_some_and(|only| *only != check.instrument) {
            continue;
        }
        let in_range = filters.from.is_none_or(|from| numbered.time >= from);
        for item in &check.items {
            let key = (check.instrument.clone(), check.lens.to_string(), item.quantity);
            let series = series.entry(key).or_default();
            series.unit = unit(item);
            series.checks.push(numbered.seq);
            let charts = series.charts.get_or_insert_with(|| Charts::new(records.limits.drift()));
            let before = charts.progress().0;
            let point = charts.push(numbered.seq, check.outcome, item);
            if charts.progress().0 > before {
                series.baseline.push((numbered.seq, numbered.time));
                let shown = item.deviation.filter(|_| in_range).map(crate::optics::float);
                series.baseline_shown.extend(shown);
            }
            if let (Some(point), true, Some(deviation)) = (point, in_range, item.deviation) {
                series.shown.push(Charted {
                    seq: numbered.seq,
                    time: numbered.time,
                    deviation: crate::optics::float(deviation),
                    point,
                });
            }
        }
    }
    if series.is_empty() {
        let mut section = Section::new("No checks");
        section
            .figures
            .push(Figure::told("checks", "not enough: have 0, need 1 (checks with a reference lens)"));
        report.sections.push(section);
    }
    for ((instrument, lens, quantity), series) in series {
        report.rests_on(series.checks.iter().copied());
        report.sections.push(section(&format!("{instrument}, {lens}: {}", in_words(quantity)), &series));
    }
    report
}

fn unit(item: &CheckItem) -> &'static str {
    match &*item.unit {
        "deg" => "deg",
        "prism-D" => "prism-D",
        _ => "D",
    }
}

fn section(heading: &str, series: &Series) -> Section {
    let mut section = Section::new(heading);
    let Some(charts) = &series.charts else { return section };
    let Some(baseline) = charts.baseline() else {
        let (have, need) = charts.progress();
        let why = format!("not enough: have {have}, need {need} (good checks for a baseline)");
        section.figures.push(Figure::told("drift", why));
        return section;
    };
    let made_from: Vec<Seq> = series.baseline.iter().map(|check| check.0).collect();
    section.says.push(format!(
        "The baseline was made from {} good checks, {}: entries {}. The charts go on with the checks after them.",
        made_from.len(),
        days(series.baseline.iter().map(|check| check.1)),
        entry_ranges(&made_from)
    ));
    let n = series.shown.len();
    section
        .figures
        .push(Figure::new("centre of the baseline", baseline.centre, series.unit).of(charts.progress().0));
    section
        .figures
        .push(Figure::new("sigma of the baseline", baseline.sigma, series.unit).of(charts.progress().0));
    if n == 0 {
        section.figures.push(Figure::told(
            "checks in this range",
            "not enough: have 0, need 1 (checks after the baseline)",
        ));
        return section;
    }
    section.figures.extend(series.shown.last().map(|last| {
        Figure::new("latest deviation", last.deviation, series.unit).of(n).note(format!("entry {}", last.seq))
    }));
    let mut told = 0;
    for (at, charted) in series.shown.iter().enumerate() {
        // What began before the range and still fires is told once, at its first check.
        for (chart, signal) in charted.point.signals().filter(|(_, signal)| at == 0 || !signal.continues) {
            told += 1;
            let since = charts.check_at(signal.since).unwrap_or(charted.seq);
            section.figures.push(
                Figure::new(
                    format!("{}: {}, entry {}", name(chart), signal.rule, charted.seq),
                    charted.deviation,
                    series.unit,
                )
                .note(format!("since entry {since}; {}", signal.source)),
            );
        }
    }
    section.says.push(match told {
        0 => "No rule fires: nothing speaks for drift.".to_owned(),
        1 => "One rule fires: look at the instrument.".to_owned(),
        n => format!("{n} rules fire: look at the instrument."),
    });
    let title = |chart: ChartKind| format!("{heading}: {}", name(chart));
    let [individuals, ewma, cusum] = [ChartKind::Individuals, ChartKind::Ewma, ChartKind::Cusum].map(title);
    let charted = || series.shown.iter().map(|charted| charted.time);
    let charted_days = format!("check number, {}", days(charted()));
    let checks = Checks { title: &charted_days, before: series.baseline.len(), baseline: &[] };
    let unseen = series.baseline.len() - series.baseline_shown.len();
    let with_baseline = series.baseline.iter().skip(unseen).map(|check| check.1).chain(charted());
    let title = format!("check number, {}", days(with_baseline));
    let all = Checks { title: &title, baseline: &series.baseline_shown, ..checks };
    let points: Vec<_> = series.shown.iter().map(|charted| charted.point.individuals.clone()).collect();
    section.plots.push(plot::individuals(&points, baseline, all, words(&individuals, series.unit)));
    let points: Vec<_> = series.shown.iter().map(|charted| charted.point.ewma.clone()).collect();
    section.plots.push(plot::ewma(&points, baseline, checks, words(&ewma, series.unit)));
    let points: Vec<_> = series.shown.iter().map(|charted| charted.point.cusum.clone()).collect();
    section.plots.push(plot::cusum(
        &points,
        charts.decision().unwrap_or_default(),
        checks,
        words(&cusum, series.unit),
    ));
    section
}

/// The first and the last day of times in their order, in UTC.
fn days(mut times: impl DoubleEndedIterator<Item = Timestamp>) -> String {
    let day = |time: Timestamp| time.strftime("%Y-%m-%d").to_string();
    match (times.next().map(day), times.next_back().map(day)) {
        (Some(first), Some(last)) if first != last => format!("{first} to {last}"),
        (first, _) => first.unwrap_or_default(),
    }
}

fn name(chart: ChartKind) -> &'static str {
    match chart {
        ChartKind::Individuals => "individuals",
        ChartKind::Ewma => "weighted average",
        ChartKind::Cusum => "cumulative sums",
    }
}

fn words<'t>(title: &'t str, unit: &'static str) -> Words<'t> {
    Words { title, quantity: "deviation", unit: plot_unit(unit) }
}
