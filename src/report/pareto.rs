//! What fails, and where decisions are close.

use super::CONFIDENCE;
use super::capability::counted;
use super::document::{Figure, Report, Section};
use super::records::{Filters, Judged, Records};
use super::values::in_words;
use crate::evidence::Interval;
use crate::evidence::capability::{Share, pareto as sorted, shares};
use crate::evidence::plot;
use crate::judge::verdict::ItemOutcome;

/// A decision is close where the deviation lies within this share of the limit from the limit, on
/// either side. It only sorts the results; no limit hangs on it.
const CLOSE: f64 = 0.1;

/// Quantities by how often they fail, and shares of borderline and of close decisions, from the
/// last verdict on each job.
pub fn pareto(records: &Records, filters: &Filters) -> Report {
    let mut report = Report::new("What fails, and where it is close", records, filters);
    let counted = counted(records, &mut report);
    report.rests_on(counted.iter().map(|judged| judged.seq));
    report.sections.push(fails(&counted));
    report.sections.push(close(&counted));
    report
}

fn fails(counted: &[&Judged]) -> Section {
    let mut section = Section::new("Fails by quantity");
    let failed =
        counted.iter().flat_map(|judged| &judged.items).filter(|item| item.outcome == ItemOutcome::Fail);
    let names: Vec<String> = failed.map(|item| in_words(item.quantity)).collect();
    match sorted(names.iter().map(String::as_str)) {
        Err(_) => {
            let told = format!("nothing failed in {} jobs", counted.len());
            section.figures.push(Figure::told("fails", told));
        }
        Ok(causes) => {
            for cause in &causes {
                let so_far = format!("{:.1} % so far", 100.0 * cause.cumulative);
                section.figures.push(Figure::new(cause.name.clone(), cause.count as f64, "").note(so_far));
            }
            section.plots.push(plot::pareto(&causes, "Fails by quantity"));
        }
    }
    section
}

fn close(counted: &[&Judged]) -> Section {
    let mut section = Section::new("Borderline and close decisions");
    section.says.push(format!(
        "Borderline: nearer to the limit than the declared uncertainty, so that neither pass nor fail is sure. Close: \
         within {:.0} % of the limit, on either side.",
        100.0 * CLOSE
    ));
    let items = || {
        let all = counted.iter().flat_map(|judged| &judged.items);
        all.filter_map(|item| {
            let used = item.deviation?.abs() / item.limit.filter(|limit| *limit > 0.0)?;
            Some((in_words(item.quantity), item.outcome, used))
        })
    };
    // A hair for the rounding of floats: 0.9 of a limit is close.
    let is_close = |used: f64| (used - 1.0).abs() <= CLOSE + 1e-9;
    let borderline: Vec<(String, bool)> =
        items().map(|(quantity, outcome, _)| (quantity, outcome == ItemOutcome::Borderline)).collect();
    let near: Vec<(String, bool)> = items().map(|(quantity, _, used)| (quantity, is_close(used))).collect();
    for (what, decisions) in [("borderline", borderline), ("close", near)] {
        match shares(decisions.iter().map(|(quantity, yes)| (quantity.as_str(), *yes)), CONFIDENCE) {
            Err(why) => section.figures.push(Figure::missing(what, &why)),
            Ok(mut found) => {
                found.sort_by(|a, b| b.1.share.total_cmp(&a.1.share).then_with(|| a.0.cmp(&b.0)));
                section.figures.extend(found.iter().map(|(quantity, share)| figure(what, quantity, share)));
            }
        }
    }
    section
}

fn figure(what: &'static str, quantity: &str, share: &Share) -> Figure {
    let percent = Interval { low: 100.0 * share.interval.low, high: 100.0 * share.interval.high };
    Figure::new(quantity, 100.0 * share.share, "%").column(what).within(percent).of(share.of)
}
