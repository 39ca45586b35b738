//! `fociline ledger`: search, show, prove, correct, export.

use super::progress::progress;
use super::{Answer, Stop, WhichLedger, hand, json, show, words};
use crate::bench::entry::{CheckpointEntry, Entry, NOT_SIGNED_IN, Says, Seq};
use crate::bench::envelope::Envelope;
use crate::judge::verdict::{Outcome, Quantity};
use crate::ledger::{self, Format, Hash, Ledger, Query, Reader, Table};
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::asked::Asked;
use crate::station::notes::Wanted;
use jiff::{Timestamp, ZonedDateTime};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Subcommand)]
pub(super) enum LedgerCommand {
    /// Find entries by job, time, instrument, person, outcome or quantity out of limit
    Search(SearchArgs),
    /// Show one entry: what it holds, and what was said of it later
    Show {
        #[command(flatten)]
        ledger: WhichLedger,
        /// The entry's number
        entry: u64,
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
    /// Prove that nothing was altered: the whole chain, the triggers, the search tables
    Verify {
        #[command(flatten)]
        ledger: WhichLedger,
        /// A checkpoint kept elsewhere (in a log, on a certificate) that must agree: the number of
        /// entries and the hash of the last of them
        #[arg(long, value_name = "ENTRIES:HASH", value_parser = checkpoint)]
        checkpoint: Vec<CheckpointEntry>,
    },
    /// Derive every verdict again from the raw bytes, and compare
    Rederive {
        #[command(flatten)]
        ledger: WhichLedger,
        /// Only this job
        #[arg(long)]
        job: Option<JobNumber>,
    },
    /// Drop the search tables and make them again from the entries
    Rebuild {
        #[command(flatten)]
        ledger: WhichLedger,
    },
    /// Write entries, or one of the views for auditors, as CSV or JSON Lines
    Export {
        #[command(flatten)]
        ledger: WhichLedger,
        /// entries, frames, readings, orders, verdicts, verdict_items, crosschecks,
        /// instrument_checks or events
        #[arg(long, default_value = "entries", value_parser = table)]
        table: Table,
        /// csv or jsonl
        #[arg(long, default_value = "csv", value_parser = format)]
        format: Format,
        /// From this entry on
        #[arg(long, default_value_t = 1)]
        first: u64,
        /// Up to this entry
        #[arg(long)]
        last: Option<u64>,
        /// The file to write (standard output where it is left out)
        #[arg(long, value_name = "FILE")]
        to: Option<PathBuf>,
    },
    /// Copy the ledger to a new file while it is in use
    Backup {
        #[command(flatten)]
        ledger: WhichLedger,
        /// The new file
        to: PathBuf,
    },
    /// Say that a reading, of an instrument or by hand, does not count (nothing is deleted)
    ///
    /// While the station runs it is handed to it: name the station then, not the ledger.
    Void {
        #[command(flatten)]
        ledger: WhichLedger,
        #[command(flatten)]
        note: NoteArgs,
    },
    /// Say to which job, or to which eye, a reading belongs
    ///
    /// While the station runs it is handed to it: name the station then, not the ledger.
    Assign {
        #[command(flatten)]
        ledger: WhichLedger,
        #[command(flatten)]
        note: NoteArgs,
        /// The job it belongs to (left out: the job it has)
        #[arg(long)]
        job: Option<JobNumber>,
        /// The eye of a lens that came without one: right or left
        #[arg(long, value_parser = eye)]
        eye: Option<Eye>,
    },
}

#[derive(Debug, clap::Args)]
pub(super) struct SearchArgs {
    #[command(flatten)]
    ledger: WhichLedger,
    /// Jobs whose number starts so
    #[arg(long)]
    job: Option<String>,
    /// From this time on: 2026-11-25, or 2026-11-25T08:00
    #[arg(long, value_parser = time_of)]
    since: Option<Timestamp>,
    /// Until this time; of a date, its whole day is meant
    #[arg(long, value_parser = until_of)]
    until: Option<Timestamp>,
    /// The instrument's name in the settings
    #[arg(long)]
    instrument: Option<String>,
    /// Who measured or said something
    #[arg(long)]
    person: Option<String>,
    /// pass, fail, borderline or incomplete
    #[arg(long, value_parser = named::<Outcome>)]
    outcome: Option<Outcome>,
    /// A quantity that is out of its limit, such as axis
    #[arg(long, value_name = "QUANTITY", value_parser = named::<Quantity>)]
    out_of_limit: Option<Quantity>,
    /// At most this many, the latest first
    #[arg(long, default_value_t = 50)]
    limit: usize,
    /// Print JSON Lines
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
pub(super) struct NoteArgs {
    /// The reading's entry number
    entry: u64,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: String,
    /// Who says so
    #[arg(long, default_value = NOT_SIGNED_IN)]
    by: String,
}

fn named<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_json::from_value(serde_json::Value::String(text.to_owned())).map_err(|why| why.to_string())
}

pub(super) fn eye(text: &str) -> Result<Eye, String> {
    named(text)
}

fn table(text: &str) -> Result<Table, String> {
    let known = || Table::ALL.map(Table::name).join(", ");
    Table::ALL
        .into_iter()
        .find(|table| table.name() == text)
        .ok_or_else(|| format!("expected one of {}", known()))
}

fn format(text: &str) -> Result<Format, String> {
    match text {
        "csv" => Ok(Format::Csv),
        "jsonl" => Ok(Format::JsonLines),
        _ => Err("expected csv or jsonl".to_owned()),
    }
}

fn checkpoint(text: &str) -> Result<CheckpointEntry, String> {
    text.split_once(':')
        .and_then(|(entries, head)| Some((entries.parse().ok()?, head.parse::<Hash>().ok()?)))
        .map(|(entries, head)| CheckpointEntry { entries, head: head.to_string() })
        .ok_or_else(|| "expected the number of entries, a colon and the hash, such as 1204:5f3a…".to_owned())
}

/// A date or a time of this computer's time zone, or a time with its zone.
pub(super) fn time_of(text: &str) -> Result<Timestamp, String> {
    time_after(text, 0)
}

/// The same as an end: a date stands for the end of that day.
pub(super) fn until_of(text: &str) -> Result<Timestamp, String> {
    let is_date = !text.contains([':', 'T', ' ']);
    time_after(text, i64::from(is_date))
}

fn time_after(text: &str, days: i64) -> Result<Timestamp, String> {
    let here = jiff::tz::TimeZone::system();
    let local = || {
        let time = text.parse::<jiff::civil::DateTime>()?.checked_add(jiff::Span::new().days(days))?;
        here.to_timestamp(time)
    };
    text.parse::<Timestamp>()
        .or_else(|_| local())
        .map_err(|_| "expected a date such as 2026-11-25, or a time such as 2026-11-25T08:00".to_owned())
}

pub(super) fn run(command: LedgerCommand) -> Answer {
    match command {
        LedgerCommand::Search(args) => search(args),
        LedgerCommand::Show { ledger, entry, json } => show_entry(&ledger.reader()?, Seq(entry), json),
        LedgerCommand::Verify { ledger, checkpoint } => verify(&ledger.reader()?, &checkpoint),
        LedgerCommand::Rederive { ledger, job } => rederive(&ledger.reader()?, job.as_ref()),
        LedgerCommand::Rebuild { ledger } => {
            let mut writer = Ledger::open(&ledger.path()?).map_err(Stop::failed)?;
            writer.rebuild().map_err(Stop::failed)?;
            println!("the search tables were made again from {} entries", writer.head().seq);
            Ok(true)
        }
        LedgerCommand::Export { ledger, table, format, first, last, to } => {
            let range = Seq(first)..=last.map_or(Seq(u64::MAX), Seq);
            export(&ledger.reader()?, table, range, format, to.as_deref())
        }
        LedgerCommand::Backup { ledger, to } => {
            let progress = progress("pages");
            let head =
                ledger.reader()?.backup(&to, |done, of| progress.at(done, of)).map_err(Stop::failed)?;
            progress.done();
            println!("{} entries copied to {}; the last has the hash {}", head.seq, to.display(), head.hash);
            Ok(true)
        }
        LedgerCommand::Void { ledger, note } => add_note(&ledger, note, Wanted::Void),
        LedgerCommand::Assign { ledger, note, job, eye } => {
            add_note(&ledger, note, Wanted::Assign { job, eye })
        }
    }
}

fn search(args: SearchArgs) -> Answer {
    let query = Query {
        job_prefix: args.job.unwrap_or_default(),
        from: args.since,
        until: args.until,
        instrument: args.instrument,
        person: args.person,
        outcome: args.outcome,
        out_of_limit: args.out_of_limit,
        limit: args.limit,
        ..Query::default()
    };
    let found = args.ledger.reader()?.search(&query).map_err(Stop::failed)?;
    for hit in &found {
        let numbered = &hit.numbered;
        if args.json {
            println!("{}", json(&Envelope::from(numbered)));
        } else {
            anstream::println!(
                "{:>9}  {}  {:<10} {}",
                numbered.seq,
                local(numbered.time),
                numbered.entry.kind(),
                summary(&numbered.entry)
            );
        }
    }
    if found.is_empty() && !args.json {
        eprintln!("nothing found");
    }
    Ok(true)
}

/// A time of this computer's time zone, to the second.
pub(super) fn local(time: Timestamp) -> String {
    ZonedDateTime::new(time, jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M:%S").to_string()
}

/// What an entry says, in one line.
pub(super) fn summary(entry: &Entry) -> String {
    match entry {
        Entry::Frame(frame) => match &frame.reject {
            Some(reject) => format!("{}: not read: {reject}", frame.instrument),
            None => format!("{}: {}", frame.instrument, crate::parsers::notation::to_text(&frame.bytes)),
        },
        Entry::Reading(reading) => format!(
            "{} {}: {}",
            reading.job.as_ref().map_or_else(|| "no job".to_owned(), |job| format!("job {job}")),
            reading.instrument,
            json(&reading.reading)
        ),
        Entry::Order(order) => {
            format!("job {} revision {} ({})", order.order.job, order.revision, order.source)
        }
        Entry::Verdict(verdict) => {
            format!("job {} {} {}", verdict.job, show::word(verdict), show::reason(verdict))
        }
        Entry::Job(job) => match &job.job {
            Some(number) => format!("job {number} chosen ({})", job.by),
            None => {
                format!("{} is not a job number ({})", job.scanned.as_deref().unwrap_or_default(), job.by)
            }
        },
        Entry::Note(note) => format!(
            "{} entry {}{}: {} ({})",
            match note.says {
                Says::Void => "void:",
                Says::Assign => "assigned:",
                Says::Remark => "remark on",
            },
            note.about,
            note.job.as_ref().map(|job| format!(", job {job}")).unwrap_or_default(),
            note.reason,
            note.by
        ),
        Entry::Port(port) => {
            format!("{} {} {}", port.name, json(&port.state), port.why.as_deref().unwrap_or_default())
        }
        Entry::Clock(clock) => format!("the clock jumped by {} s", clock.step_seconds),
        Entry::InForce(text) => format!("{} {} {}", json(&text.what), text.name, text.hash),
        Entry::Software(software) => format!("{} {}", software.version, json(&software.state)),
        Entry::Person(person) => {
            let words =
                [Some(json(&person.did)), person.name.clone(), person.why.clone(), person.from.clone()];
            format!("{} (by {})", words.into_iter().flatten().collect::<Vec<_>>().join(" "), person.by)
        }
        Entry::Override(signed) => format!(
            "fail overridden: entry {}, job {}: {}; {} ({}, {})",
            signed.about, signed.job, signed.meaning, signed.reason, signed.by, signed.role
        ),
        Entry::Checkpoint(checkpoint) => format!("{} entries, head {}", checkpoint.entries, checkpoint.head),
        Entry::Manual(manual) => words::manual(manual),
        Entry::CrossCheck(check) => words::cross_check(check),
        Entry::ReferenceLens(entry) => words::reference_lens(entry),
        Entry::InstrumentCheck(check) => words::instrument_check(check),
        Entry::Drift(drift) => words::drift(drift),
        Entry::Host(said) => words::host(said),
        Entry::Gap(gap) => words::gap(gap),
    }
}

fn show_entry(record: &Reader, seq: Seq, as_json: bool) -> Answer {
    let Some(numbered) = record.entry(seq).map_err(Stop::failed)? else {
        return Err(Stop::Input(format!("there is no entry {seq}")));
    };
    let later = record.what_refers_to(seq).map_err(Stop::failed)?;
    if as_json {
        println!("{}", json(&Envelope::from(&numbered)));
        return Ok(true);
    }
    println!("entry {}  {}  {}", numbered.seq, local(numbered.time), numbered.entry.kind());
    match &numbered.entry {
        Entry::Verdict(verdict) => {
            anstream::print!("{}", show::table(verdict));
            if let Some(basis) = &verdict.basis {
                let readings: Vec<String> = basis.readings.iter().map(u64::to_string).collect();
                println!(
                    "  from order entry {}, reading entries {}, rules {}, fociline {}",
                    basis.order,
                    readings.join(", "),
                    basis.rules,
                    basis.software
                );
                if !basis.checks.is_empty() {
                    let checks: Vec<String> = basis.checks.iter().map(u64::to_string).collect();
                    println!("  instrument checks in force: entries {}", checks.join(", "));
                }
            }
        }
        Entry::InForce(text) => println!("{}", text.text.trim_end()),
        other => {
            let value: serde_json::Value = serde_json::from_str(&other.payload()).map_err(Stop::failed)?;
            println!("{}", serde_json::to_string_pretty(&value).map_err(Stop::failed)?);
        }
    }
    for entry in later {
        anstream::println!("later: entry {}  {}  {}", entry.seq, local(entry.time), summary(&entry.entry));
    }
    Ok(true)
}

fn verify(record: &Reader, checkpoints: &[CheckpointEntry]) -> Answer {
    let progress = progress("entries");
    let found =
        ledger::verify(record, checkpoints, |done, of| progress.at(done, of)).map_err(Stop::failed)?;
    progress.done();
    for finding in &found.findings {
        println!("{finding}");
    }
    if found.more > 0 {
        println!("… and {} more", found.more);
    }
    let head = &found.head;
    if found.is_sound() {
        println!("{} entries, {} checkpoints: nothing was altered", found.entries, found.checkpoints);
        println!(
            "head {}:{}  (keep it elsewhere: it shows later whether the end was cut off)",
            head.seq, head.hash
        );
    } else {
        println!(
            "{} entries: NOT SOUND, {} findings",
            found.entries,
            found.findings.len() as u64 + found.more
        );
    }
    Ok(found.is_sound())
}

fn rederive(record: &Reader, job: Option<&JobNumber>) -> Answer {
    let progress = progress("entries");
    let report = ledger::rederive(record, job, |done, of| progress.at(done, of)).map_err(Stop::failed)?;
    progress.done();
    for difference in &report.differences {
        println!("{difference}");
    }
    println!(
        "{} readings and {} verdicts derived again from the raw bytes, {} cross-checks, {} instrument checks and {} \
         drifts from what they rest on: {}",
        report.readings,
        report.verdicts,
        report.cross_checks,
        report.checks,
        report.drifts,
        if report.differences.is_empty() {
            "all as recorded".to_owned()
        } else {
            format!("{} differ", report.differences.len())
        }
    );
    Ok(report.differences.is_empty())
}

fn export(
    record: &Reader,
    table: Table,
    range: RangeInclusive<Seq>,
    format: Format,
    to: Option<&Path>,
) -> Answer {
    let rows = match to {
        None => record.export(table, range, format, std::io::stdout().lock()),
        Some(path) => {
            let file = std::fs::File::create(path)
                .map_err(|why| Stop::Failed(format!("{}: {why}", path.display())))?;
            record.export(table, range, format, std::io::BufWriter::new(file))
        }
    };
    eprintln!("{} rows written", rows.map_err(Stop::failed)?);
    Ok(true)
}

fn add_note(which: &WhichLedger, args: NoteArgs, says: Wanted) -> Answer {
    let NoteArgs { entry, reason, by } = args;
    for numbered in hand::record(which, Asked::Note { about: Seq(entry), says, reason, by })? {
        anstream::println!("entry {}  {}", numbered.seq, summary(&numbered.entry));
    }
    Ok(true)
}
