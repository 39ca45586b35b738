//! Manual readings, checks, drift and what hosts say in words, for lines on a terminal.

use crate::bench::entry::{
    ChartKind, CrossCheckEntry, DriftEntry, GapEntry, HostEntry, InstrumentCheckEntry, ManualEntry, Purpose,
    ReferenceLensEntry,
};
use crate::check::crosscheck::Outcome;
use crate::check::reference::CheckItem;
use crate::judge::verdict::ItemOutcome;
use crate::judge::words::quantity;
use crate::parsers::notation;
use crate::parsers::reading::Lens;

/// A lens in one line, as the trade writes it.
pub(super) fn lens(lens: &Lens) -> String {
    let mut parts = Vec::new();
    parts.extend(lens.sphere.map(|sphere| format!("{:+}", sphere.value())));
    if let Some(cylinder) = lens.cylinder.filter(|cylinder| !cylinder.is_zero()) {
        let axis = lens.axis.map(|axis| format!(" x {axis}")).unwrap_or_default();
        parts.push(format!("{:+}{axis}", cylinder.value()));
    }
    parts.extend(lens.addition.map(|addition| format!("add {:+}", addition.value())));
    match lens.prism.as_deref() {
        Some([]) => parts.push("no prism".to_owned()),
        Some(prism) => parts.extend(prism.iter().map(|part| format!("{} base {}", part.amount, part.base))),
        None => {}
    }
    parts.join(" ")
}

/// What a host said.
pub(super) fn host(said: &HostEntry) -> String {
    let undelivered = if said.undelivered { " (not delivered: no instrument)" } else { "" };
    format!("{} host: {}{undelivered}", said.instrument, notation::to_text(&said.bytes))
}

/// Bytes that did not get where they should.
pub(super) fn gap(gap: &GapEntry) -> String {
    let GapEntry { instrument, of, gap, bytes, since, until } = gap;
    format!("{instrument}: {bytes} bytes of the {of} {gap}, from {since} to {until}")
}

fn whose(manual: &ManualEntry) -> String {
    match manual.eye {
        Some(eye) => format!("job {} {eye}", manual.job),
        None => format!("lens {}", manual.job),
    }
}

pub(super) fn manual(manual: &ManualEntry) -> String {
    let purpose = if manual.purpose == Purpose::Practice { "practice, " } else { "" };
    let blind = if manual.blind { "blind" } else { "the instrument's value was known" };
    format!("{} read by {}: {} ({purpose}{blind})", whose(manual), manual.by, lens(&manual.lens))
}

pub(super) fn cross_check(check: &CrossCheckEntry) -> String {
    let outcome = match (check.outcome, check.suspect) {
        (Outcome::DifferentLens, Some(suspect)) => suspect.words().to_owned(),
        (outcome, _) => outcome.to_string(),
    };
    let distance = check.difference.distance.map(|d| format!(", {} D apart", d.value().normalize()));
    format!(
        "job {} {}: {} and {}: {outcome}{}",
        check.job,
        check.eye,
        check.by,
        check.instrument,
        distance.unwrap_or_default()
    )
}

pub(super) fn reference_lens(entry: &ReferenceLensEntry) -> String {
    let known = &entry.lens;
    let certified = Lens {
        sphere: Some(known.sphere),
        cylinder: known.cylinder,
        axis: known.axis,
        prism: known.prism.clone(),
        ..Lens::default()
    };
    format!(
        "reference lens {} (serial {}): {}, due {}, revision {} ({})",
        known.name,
        known.serial,
        lens(&certified),
        known.due,
        entry.revision,
        entry.by
    )
}

pub(super) fn instrument_check(check: &InstrumentCheckEntry) -> String {
    let wrong: Vec<String> =
        check.items.iter().filter(|item| item.outcome != ItemOutcome::Pass).map(check_item).collect();
    let what = if wrong.is_empty() { "all within their limits".to_owned() } else { wrong.join("; ") };
    let notes = check.notes.iter().filter(|_| check.outcome != crate::check::reference::CheckOutcome::Good);
    let notes: String = notes.map(|note| format!("; {note}")).collect();
    format!("{} with {}: {}: {what}{notes} ({})", check.instrument, check.lens, check.outcome, check.by)
}

fn check_item(item: &CheckItem) -> String {
    let name = quantity(item.quantity);
    match (item.measured, item.deviation, item.limit) {
        (Some(measured), Some(deviation), Some(limit)) => {
            format!(
                "{name} {measured} for {}: off by {deviation} {}, limit {limit}",
                item.expected, item.unit
            )
        }
        (None, ..) => format!("{name} not measured"),
        _ => format!("{name}: {}", item.figures),
    }
}

pub(super) fn drift(drift: &DriftEntry) -> String {
    let chart = match drift.chart {
        ChartKind::Individuals => "individuals",
        ChartKind::Ewma => "weighted average",
        ChartKind::Cusum => "cumulative sum",
    };
    format!(
        "{} may drift: {} with {}: {} ({chart}, {}), since entry {}",
        drift.instrument,
        quantity(drift.quantity),
        drift.lens,
        drift.rule,
        drift.side,
        drift.since
    )
}
