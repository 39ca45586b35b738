//! `fociline report`: what the record says as a whole.

use super::{Answer, Stop, WhichLedger};
use crate::order::typed;
use crate::report::{self, Filters, Kind, Report};
use jiff::Timestamp;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub(super) struct ReportArgs {
    /// agreement (two instruments or persons), gauge (R&R), drift (checks with reference lenses),
    /// capability (bias, Cpk, yield), practice (a person's hands) or pareto (what fails)
    #[arg(value_parser = kind)]
    kind: Kind,
    #[command(flatten)]
    ledger: WhichLedger,
    /// From this time on: 2026-11-25, or 2026-11-25T08:00
    #[arg(long, value_parser = super::ledger::time_of)]
    since: Option<Timestamp>,
    /// Until this time; of a date, its whole day is meant
    #[arg(long, value_parser = super::ledger::until_of)]
    until: Option<Timestamp>,
    /// Only this instrument; of an agreement, a side (practice does not take it)
    #[arg(long)]
    instrument: Option<String>,
    /// Only this person; of an agreement, a side (drift does not take it)
    #[arg(long)]
    person: Option<String>,
    /// agreement: the one side, an instrument or a person
    #[arg(long)]
    first: Option<String>,
    /// agreement: the other side
    #[arg(long)]
    second: Option<String>,
    /// gauge: only these lenses, such as "4471 right" or REF+5
    #[arg(long = "lens", value_name = "LENS")]
    lenses: Vec<String>,
    /// gauge: persons' practice readings instead of their production ones
    #[arg(long)]
    practice: bool,
    /// gauge: the full width of the tolerance, for % tolerance
    #[arg(long, value_name = "D", value_parser = width, allow_negative_numbers = true)]
    tolerance: Option<f64>,
    /// Write the report as HTML: for the screen, and to print
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write the numbers as CSV (standard output where neither file is named)
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

fn kind(text: &str) -> Result<Kind, String> {
    let known = || Kind::ALL.map(Kind::name).join(", ");
    Kind::ALL
        .into_iter()
        .find(|kind| kind.name() == text)
        .ok_or_else(|| format!("expected one of {}", known()))
}

fn width(text: &str) -> Result<f64, String> {
    typed::number(text, &["D", "dpt"])
        .filter(|width: &f64| width.is_finite() && *width > 0.0)
        .ok_or_else(|| "expected the upper limit less the lower one, such as 0.26".to_owned())
}

pub(super) fn run(args: ReportArgs) -> Answer {
    let filters = Filters {
        from: args.since,
        until: args.until,
        instrument: args.instrument,
        person: args.person,
        first: args.first,
        second: args.second,
        lenses: args.lenses,
        practice: args.practice,
        tolerance: args.tolerance,
    };
    filters.check(args.kind).map_err(Stop::Input)?;
    if let (Some(html), Some(csv)) = (&args.html, &args.csv)
        && std::path::absolute(html).ok() == std::path::absolute(csv).ok()
    {
        let why = format!("--html and --csv both name {}: give each a file of its own", csv.display());
        return Err(Stop::Input(why));
    }
    let report = report::report(&args.ledger.reader()?, args.kind, &filters).map_err(Stop::failed)?;
    write(&report, args.html.as_deref(), args.csv.as_deref())
}

fn write(report: &Report, html: Option<&Path>, csv: Option<&Path>) -> Answer {
    let to = |path: &Path, text: String| {
        std::fs::write(path, text).map_err(|why| Stop::Failed(format!("{}: {why}", path.display())))
    };
    if let Some(path) = html {
        to(path, report.html())?;
    }
    match csv {
        Some(path) => to(path, report.csv())?,
        None if html.is_none() => print!("{}", report.csv()),
        None => {}
    }
    for warning in &report.warnings {
        eprintln!("{warning}");
    }
    Ok(true)
}
