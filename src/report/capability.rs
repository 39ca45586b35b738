//! How the process lies in its tolerances: bias, Cpk and yield for each quantity, lens kind and
//! power band, from the last verdict on each job.

use super::CONFIDENCE;
use super::document::{Figure, Report, Section};
use super::records::{Filters, Judged, JudgedItem, Records};
use super::values::in_words;
use crate::evidence::Interval;
use crate::evidence::capability::{capability as capable, share};
use crate::evidence::plot::{self, Words};
use crate::judge::verdict::{ItemOutcome, Outcome, Quantity, Side};
use crate::order::LensKind;
use std::collections::BTreeMap;

/// Upper ends of the power bands, dioptres, by the magnitude of the ordered sphere meridian. They
/// only sort the results; no limit hangs on them.
const BANDS: [f64; 4] = [2.0, 4.0, 6.0, 10.0];

/// Deviations are taken as shares of their limit, since limits differ from order to order: -1 and 1
/// are the limits then, whatever they were. The bias is in the quantity's own unit.
pub fn capability(records: &Records, filters: &Filters) -> Report {
    let mut report = Report::new("Capability of the process", records, filters);
    let counted = counted(records, &mut report);
    report.rests_on(counted.iter().map(|judged| judged.seq));
    report.sections.push(yields(&counted));
    let mut quantities: BTreeMap<Quantity, Vec<(LensKind, usize, JudgedItem)>> = BTreeMap::new();
    for judged in &counted {
        for item in
            judged.items.iter().filter(|item| item.deviation.is_some() && item.limit.is_some_and(|l| l > 0.0))
        {
            quantities.entry(item.quantity).or_default().push((judged.lens, band(judged, item.eye), *item));
        }
    }
    for (quantity, items) in quantities {
        report.sections.push(section(quantity, &items));
    }
    report
}

/// The verdicts that count: those held back do not.
pub(super) fn counted<'r>(records: &'r Records, report: &mut Report) -> Vec<&'r Judged> {
    let held = records.verdicts.iter().filter(|judged| judged.held).count();
    if held > 0 {
        report.warnings.push(format!(
            "{held} jobs are left out: their last verdict was held back because an instrument was not in order"
        ));
    }
    records.verdicts.iter().filter(|judged| !judged.held).collect()
}

/// The power band of one eye's lens, or of the stronger one for the pair.
fn band(judged: &Judged, eye: Side) -> usize {
    let power = judged
        .items
        .iter()
        .filter(|item| item.quantity == Quantity::SphereMeridian && (item.eye == eye || eye == Side::Pair))
        .filter_map(|item| item.ordered)
        .fold(0.0, |most: f64, power| most.max(power.abs()));
    BANDS.iter().position(|end| power <= *end).unwrap_or(BANDS.len())
}

/// A power band in words.
fn band_name(band: usize) -> String {
    match (band.checked_sub(1).and_then(|below| BANDS.get(below)), BANDS.get(band)) {
        (None, Some(to)) => format!("up to {to} D"),
        (Some(from), Some(to)) => format!("{from} to {to} D"),
        (Some(from), None) => format!("over {from} D"),
        (None, None) => "any power".to_owned(),
    }
}

fn yields(counted: &[&Judged]) -> Section {
    let mut section = Section::new("Yield");
    section.says.push(
        "Jobs whose last verdict is a pass, out of those decided. Incomplete ones are not decided."
            .to_owned(),
    );
    let mut add = |name: &str, of: Vec<&&Judged>| {
        let decided = of.iter().filter(|judged| judged.outcome != Outcome::Incomplete).count();
        let passed = of.iter().filter(|judged| judged.outcome == Outcome::Pass).count();
        let open = of.len() - decided;
        section.figures.push(match share(passed, decided, CONFIDENCE) {
            Err(why) => Figure::missing(name, &why),
            Ok(found) => {
                let percent = Interval { low: 100.0 * found.interval.low, high: 100.0 * found.interval.high };
                let note = if open > 0 { format!("{open} incomplete besides") } else { String::new() };
                Figure::new(name, 100.0 * found.share, "%").within(percent).of(found.of).note(note)
            }
        });
    };
    add("all jobs", counted.iter().collect());
    for kind in LensKind::ALL {
        let of: Vec<_> = counted.iter().filter(|judged| judged.lens == kind).collect();
        if !of.is_empty() {
            add(&kind.to_string(), of);
        }
    }
    section
}

fn unit_of(quantity: Quantity) -> &'static str {
    use Quantity::*;
    match quantity {
        Axis => "deg",
        SphereMeridian | SecondMeridian | Cylinder | Addition | SecondAddition => "D",
        Pd | NearPd | SegmentHeight | ReferenceHeight => "mm",
        PrismHorizontal | PrismVertical | Prism | PrismImbalanceHorizontal | PrismImbalanceVertical => {
            "prism-D"
        }
    }
}

fn section(quantity: Quantity, items: &[(LensKind, usize, JudgedItem)]) -> Section {
    let quantity_name = in_words(quantity);
    let mut section = Section::new(quantity_name.clone());
    let all: Vec<&JudgedItem> = items.iter().map(|(_, _, item)| item).collect();
    figures(&mut section, "all", &all, unit_of(quantity));
    let mut groups: BTreeMap<(String, usize), Vec<&JudgedItem>> = BTreeMap::new();
    for (kind, band, item) in items {
        groups.entry((kind.to_string(), *band)).or_default().push(item);
    }
    if groups.len() > 1 {
        for ((kind, band), group) in &groups {
            figures(&mut section, &format!("{kind}, {}", band_name(*band)), group, unit_of(quantity));
        }
    }
    let values = shares_of_limit(&all);
    if let Ok(found) = capable(&values, LIMITS, CONFIDENCE) {
        let title = format!("{quantity_name}: deviation in limits (1 L = the limit)");
        let words = Words { title: &title, quantity: "deviation", unit: "L" };
        section.plots.push(plot::capability(&values, &found, words));
    }
    section
}

const LIMITS: Interval = Interval { low: -1.0, high: 1.0 };

fn shares_of_limit(items: &[&JudgedItem]) -> Vec<f64> {
    items.iter().filter_map(|item| Some(item.deviation? / item.limit?)).collect()
}

fn figures(section: &mut Section, group: &str, items: &[&JudgedItem], unit: &'static str) {
    let deviations: Vec<f64> = items.iter().filter_map(|item| item.deviation).collect();
    match capable(&shares_of_limit(items), LIMITS, CONFIDENCE) {
        Err(why) => section.figures.push(Figure::missing(group, &why).column("Cpk")),
        Ok(found) => {
            let sample = crate::evidence::sample::Sample::of(&deviations);
            section.figures.push(
                Figure::new(group, sample.mean, unit)
                    .column("bias")
                    .within(sample.mean_interval(CONFIDENCE))
                    .of(found.n),
            );
            section.figures.push(Figure::new(group, found.cpk, "").column("Cpk").of(found.n));
            section.figures.push(Figure::new(group, found.ppk, "").column("Ppk").of(found.n));
        }
    }
    let passed = items.iter().filter(|item| item.outcome == ItemOutcome::Pass).count();
    section.figures.push(match share(passed, items.len(), CONFIDENCE) {
        Err(why) => Figure::missing(group, &why).column("passed"),
        Ok(found) => {
            let percent = Interval { low: 100.0 * found.interval.low, high: 100.0 * found.interval.high };
            Figure::new(group, 100.0 * found.share, "%").column("passed").within(percent).of(found.of)
        }
    });
}
