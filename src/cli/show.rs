//! How verdicts are written for a person.

use crate::judge::verdict::{Item, ItemOutcome, Outcome, Side, Verdict};
use crate::judge::words::{self, quantity, side, unit};
use anstyle::{AnsiColor, Style};
use rust_decimal::Decimal;
use std::fmt::Write;

/// How wide a table is.
const WIDTH: usize = 94;

fn outcome_style(outcome: Outcome) -> Style {
    let colour = match outcome {
        Outcome::Pass => AnsiColor::Green,
        Outcome::Fail => AnsiColor::Red,
        Outcome::Borderline => AnsiColor::Yellow,
        Outcome::Incomplete => AnsiColor::Cyan,
    };
    Style::new().bold().fg_color(Some(colour.into()))
}

fn item_style(outcome: ItemOutcome) -> Style {
    match outcome {
        ItemOutcome::Fail => Style::new().bold().fg_color(Some(AnsiColor::Red.into())),
        ItemOutcome::Borderline => Style::new().fg_color(Some(AnsiColor::Yellow.into())),
        ItemOutcome::NotMeasured | ItemOutcome::NotJudged => Style::new().dimmed(),
        ItemOutcome::Pass => Style::new(),
    }
}

/// The word of an outcome, as it stands at the head of a line.
pub(super) fn outcome(outcome: Outcome) -> String {
    let style = outcome_style(outcome);
    format!("{style}{:<10}{style:#}", outcome.to_string().to_uppercase())
}

/// The word of a verdict. One that is held back does not show how it came out.
pub(super) fn word(verdict: &Verdict) -> String {
    if verdict.held.is_none() {
        return outcome(verdict.outcome);
    }
    let style = Style::new().bold().fg_color(Some(AnsiColor::Magenta.into()));
    format!("{style}INSTRUMENT NOT IN ORDER{style:#}")
}

/// A number as it stands in a line; a dash where there is none.
fn number(value: Option<Decimal>, unit: &str) -> String {
    value.map_or_else(|| "-".to_owned(), |value| words::number(value, unit))
}

fn named(item: &Item) -> String {
    format!("{} {}", side(item.eye), quantity(item.quantity))
}

fn with_limit(item: &Item) -> String {
    let unit = unit(&item.unit);
    format!(
        "{} {} for {}: off by {} {unit}, limit {}",
        named(item),
        number(item.measured, &item.unit),
        number(item.ordered, &item.unit),
        number(item.deviation, &item.unit),
        number(item.limit, &item.unit)
    )
}

/// The reason for a verdict in one line.
pub(super) fn reason(verdict: &Verdict) -> String {
    if let Some(why) = &verdict.held {
        return format!("{why}. Check it with its reference lenses, then measure again");
    }
    let of = |outcome: ItemOutcome| verdict.items.iter().filter(move |item| item.outcome == outcome);
    let words: Vec<String> = match verdict.outcome {
        Outcome::Pass => {
            vec![format!("{} quantities within their limits", of(ItemOutcome::Pass).count())]
        }
        Outcome::Fail => of(ItemOutcome::Fail).map(with_limit).collect(),
        Outcome::Borderline => of(ItemOutcome::Borderline).map(with_limit).collect(),
        Outcome::Incomplete => {
            let missing = |wanted| {
                of(ItemOutcome::NotMeasured)
                    .filter(move |item| item.eye == wanted && item.ordered.is_some())
                    .map(|item| quantity(item.quantity))
                    .collect::<Vec<_>>()
            };
            let missing_of = |eye| {
                let missing = missing(eye);
                (!missing.is_empty()).then(|| format!("{}: {} not measured", side(eye), missing.join(", ")))
            };
            let mut words: Vec<String> =
                [Side::Right, Side::Left].into_iter().filter_map(missing_of).collect();
            // What the pair lacks follows from a lens that is missing, and goes without saying.
            if words.is_empty() {
                words.extend(missing_of(Side::Pair));
            }
            if words.is_empty() {
                words = of(ItemOutcome::NotJudged)
                    .map(|item| format!("{} not covered by this rule set", named(item)))
                    .collect();
            }
            words
        }
    };
    words.join("; ")
}

/// A verdict in one line, with the time that it was given, as `HH:MM:SS`.
pub(super) fn line(time: &str, verdict: &Verdict) -> String {
    format!("{time}  job {:<10} {} {}", verdict.job, word(verdict), reason(verdict))
}

fn indented(text: &str, indent: &str) -> String {
    textwrap::fill(text, textwrap::Options::new(WIDTH).initial_indent(indent).subsequent_indent(indent))
}

/// A verdict with every item, over several lines.
pub(super) fn table(verdict: &Verdict) -> String {
    let mut text = String::new();
    let mut write = || -> std::fmt::Result {
        writeln!(text, "job {}  {} {}", verdict.job, word(verdict), reason(verdict))?;
        writeln!(
            text,
            "  {:<32} {:>9} {:>9} {:>9} {:>9}  {:>5}  outcome",
            "", "ordered", "measured", "off by", "limit", "used"
        )?;
        for item in &verdict.items {
            let style = item_style(item.outcome);
            let used = match (item.deviation, item.limit) {
                (Some(deviation), Some(limit)) if !limit.is_zero() => {
                    format!("{} %", (deviation.abs() / limit * Decimal::ONE_HUNDRED).round())
                }
                _ => String::new(),
            };
            let limit = match item.limit {
                Some(_) => format!("{} {}", number(item.limit, &item.unit), unit(&item.unit)),
                None => String::new(),
            };
            writeln!(
                text,
                "  {style}{:<32} {:>9} {:>9} {:>9} {:>9}  {:>5}  {}{style:#}",
                named(item),
                number(item.ordered, &item.unit),
                number(item.measured, &item.unit),
                number(item.deviation, &item.unit),
                limit,
                used,
                item.outcome,
            )?;
            for note in &item.notes {
                writeln!(text, "{}", indented(note, "      "))?;
            }
        }
        let rules = format!("rules: {}; decision: {}", verdict.rules, verdict.decision);
        for line in std::iter::once(&rules).chain(&verdict.notes) {
            writeln!(text, "{}", indented(line, "  "))?;
        }
        Ok(())
    };
    write().expect("writing into a String cannot fail");
    text
}
