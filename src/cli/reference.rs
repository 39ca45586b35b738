//! `fociline reference`: the register of reference lenses, and checks with them.

use super::ledger::local;
use super::{Answer, Stop, WhichLedger, hand, json, words};
use crate::bench::entry::TextHash;
use crate::bench::entry::{Entry, Seq};
use crate::bench::standing::{Standing, State};
use crate::check::ReferenceLens;
use crate::check::limits::Limits;
use crate::check::reference::CheckOutcome;
use crate::judge::files::from_json;
use crate::judge::verdict::Hold;
use crate::parsers::reading::JobNumber;
use crate::station::asked::Asked;
use jiff::{Timestamp, ZonedDateTime};
use std::path::PathBuf;

#[derive(Debug, clap::Subcommand)]
pub(super) enum ReferenceCommand {
    /// Put a lens into the register, or a revision of one
    ///
    /// Its name is like a job number: scan it, lay the lens on the instrument, and the reading is a
    /// check.
    Add {
        #[command(flatten)]
        ledger: WhichLedger,
        /// A JSON file: {"name": "REF+5", "serial": "T-105", "sphere": 4.98, "uncertainty": 0.01,
        /// "due": "2027-03-01"}; also cylinder, axis, prism (as in an order) and certificate
        file: PathBuf,
        /// Who enters it
        #[arg(long, value_name = "NAME")]
        by: String,
    },
    /// List the lenses with their due dates, and how each instrument stands, checked or not
    ///
    /// Ends with 1 where an instrument is not in order, one of the settings that was never checked
    /// among them.
    List {
        #[command(flatten)]
        ledger: WhichLedger,
        /// Print the lenses as JSON Lines
        #[arg(long)]
        json: bool,
    },
    /// Say that a reading on record was taken of a reference lens
    Check {
        #[command(flatten)]
        ledger: WhichLedger,
        /// The reading's entry number
        reading: u64,
        /// The reference lens
        #[arg(long)]
        lens: JobNumber,
        /// Who says so
        #[arg(long, value_name = "NAME")]
        by: String,
    },
}

pub(super) fn run(command: ReferenceCommand) -> Answer {
    match command {
        ReferenceCommand::Add { ledger, file, by } => {
            let text = super::text_of(&file)?;
            let lens: ReferenceLens = from_json(&text)
                .map_err(|why| Stop::Input(format!("{}: not a reference lens: {why}", file.display())))?;
            print(hand::record(&ledger, Asked::ReferenceLens { lens: Box::new(lens), by })?)
        }
        ReferenceCommand::Check { ledger, reading, lens, by } => {
            print(hand::record(&ledger, Asked::Check { reading: Seq(reading), lens, by })?)
        }
        ReferenceCommand::List { ledger, json } => list(&ledger, json),
    }
}

/// Prints what was recorded; no where an instrument is found wanting.
fn print(entries: Vec<crate::bench::entry::Numbered>) -> Answer {
    let mut good = true;
    for numbered in &entries {
        match &numbered.entry {
            Entry::ReferenceLens(entry) => {
                println!("entry {}  {}", numbered.seq, words::reference_lens(entry))
            }
            Entry::InstrumentCheck(check) => {
                good &= check.outcome == CheckOutcome::Good;
                println!("entry {}  {}", numbered.seq, words::instrument_check(check));
            }
            Entry::Drift(drift) => println!("entry {}  {}", numbered.seq, words::drift(drift)),
            _ => {}
        }
    }
    Ok(good)
}

fn list(which: &WhichLedger, as_json: bool) -> Answer {
    let settings = which.station.as_deref().map(super::settings).transpose()?;
    let checks = settings.as_ref().map(|settings| &settings.checks);
    let limits = checks.map_or_else(Limits::default, |checks| checks.limits.clone());
    let hold = checks.and_then(|checks| checks.hold.clone());
    let named: Vec<&str> =
        settings.iter().flat_map(|settings| &settings.instruments).map(|of| of.name.as_str()).collect();
    let shown = hold.clone().unwrap_or(Hold { every_hours: 24, lenses: Vec::new() });
    let mut standing = Standing::new(limits.drift(), TextHash::of(limits.text()));
    for numbered in which.reader()?.reference_and_checks(Seq(u64::MAX)).map_err(Stop::failed)? {
        standing.take(&numbered);
    }
    let today = ZonedDateTime::now().date();
    for (seq, entry) in standing.lenses() {
        if as_json {
            println!("{}", json(entry));
        } else {
            let overdue = if entry.lens.due < today { "  OVERDUE" } else { "" };
            println!("entry {seq}  {}{overdue}", words::reference_lens(entry));
        }
    }
    let mut all = true;
    for (instrument, checks) in standing.instruments(&named) {
        let state = standing.state(instrument, &shown, Timestamp::now());
        all &= state == State::InOrder;
        if as_json {
            continue;
        }
        match &state {
            State::InOrder => println!("{instrument}: in order"),
            State::NotInOrder(why) => println!("NOT IN ORDER: {why}"),
        }
        for (lens, last) in checks {
            let void = if last.again { ", void: to be made again" } else { "" };
            println!("  {lens}: {}{void} (entry {}, {})", last.outcome, last.seq, local(last.time));
        }
    }
    if hold.is_none() && !as_json {
        println!("verdicts are not held back: no station with [checks] hold = true was named");
    }
    Ok(all)
}
