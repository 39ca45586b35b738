//! `fociline order`: add, list, show.

use super::{Answer, Stop, WhichLedger, hand, json, settings, text_of};
use crate::bench::Bench;
use crate::bench::entry::{Entry, OrderEntry};
use crate::bench::event::Event;
use crate::ledger::{Ledger, LedgerError, Reader};
use crate::order::intake::{self, Intake};
use crate::parsers::reading::JobNumber;
use crate::station::settings::Settings;
use jiff::Timestamp;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Subcommand)]
pub(super) enum OrderCommand {
    /// Take in order files: .json, .jsonl or .csv
    ///
    /// A job that has an order gets a revision of it; the earlier one stays on record. Where the
    /// station is running, the files are handed to it through its orders folder.
    Add {
        #[command(flatten)]
        ledger: WhichLedger,
        /// The files
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
    },
    /// List jobs that have an order
    List {
        #[command(flatten)]
        ledger: WhichLedger,
        /// Only jobs whose number starts so
        #[arg(long, default_value = "")]
        job: String,
        /// At most this many
        #[arg(long, default_value_t = 100)]
        limit: usize,
        /// Print JSON Lines
        #[arg(long)]
        json: bool,
    },
    /// Show a job's order: every revision, the last one last
    Show {
        #[command(flatten)]
        ledger: WhichLedger,
        /// The job's number
        job: JobNumber,
        /// Print JSON Lines
        #[arg(long)]
        json: bool,
    },
}

pub(super) fn run(command: OrderCommand) -> Answer {
    match command {
        OrderCommand::Add { ledger, files } => add(&ledger, &files),
        OrderCommand::List { ledger, job, limit, json } => list(&ledger.reader()?, &job, limit, json),
        OrderCommand::Show { ledger, job, json } => show(&ledger.reader()?, &job, json),
    }
}

fn add(which: &WhichLedger, files: &[PathBuf]) -> Answer {
    let settings = which.station.as_deref().map(settings).transpose()?;
    // All files are read before anything is recorded, so that a slip in a name applies nothing.
    let read = files
        .iter()
        .map(|file| Ok((file, intake::read(&file.to_string_lossy(), &text_of(file)?))))
        .collect::<Result<Vec<(&PathBuf, Intake)>, Stop>>()?;
    match Ledger::open(&which.path()?) {
        Ok(ledger) => record(ledger, settings.as_ref(), read),
        Err(LedgerError::InUse { .. })
            if settings.as_ref().is_some_and(|settings| settings.orders.is_some()) =>
        {
            let folder = settings.and_then(|settings| settings.orders).expect("checked just above");
            hand_over(&folder, files)
        }
        Err(why @ LedgerError::InUse { .. }) => Err(Stop::Failed(format!(
            "{why}; name the station (--station STATION.TOML) whose settings have an [orders] folder, and the files are handed to it"
        ))),
        Err(why) => Err(Stop::failed(why)),
    }
}

fn record(mut ledger: Ledger, settings: Option<&Settings>, read: Vec<(&PathBuf, Intake)>) -> Answer {
    let mut past = Reader::open(ledger.path()).map_err(Stop::failed)?;
    let mut bench = Bench::new(super::setup_for(settings, &past)?, ledger.head().seq);
    let mut refused = Vec::new();
    for (file, intake) in read {
        let name = file.display();
        for (line, order) in intake.orders {
            let job = order.job.clone();
            let event = Event::Ordered {
                order: Box::new(order),
                source: format!("{name} line {line}"),
                by: None,
                dropped: intake.dropped.clone(),
            };
            let entries = bench.step(&event, Timestamp::now(), &mut past).map_err(Stop::failed)?;
            ledger.append(&entries).map_err(Stop::failed)?;
            match entries.iter().find_map(|numbered| order_of(&numbered.entry)) {
                Some(order) => println!("job {job}: order taken in, revision {}", order.revision),
                None => println!("job {job}: this order is on record already; nothing changed"),
            }
        }
        if !intake.dropped.is_empty() {
            println!("{name}: left out and not recorded: {}", intake.dropped.join(", "));
        }
        refused.extend(intake.refused.iter().map(|refusal| format!("{name}: {refusal}")));
    }
    if refused.is_empty() { Ok(true) } else { Err(Stop::Input(refused.join("\nfociline: "))) }
}

fn order_of(entry: &Entry) -> Option<&OrderEntry> {
    match entry {
        Entry::Order(order) => Some(order),
        _ => None,
    }
}

/// Hands the files to a running station, and waits until it has taken them in.
fn hand_over(folder: &Path, files: &[PathBuf]) -> Answer {
    let mut all_taken = true;
    for file in files {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        match hand::over(folder, &name, &super::bytes_of(file)?)? {
            hand::Taken::In(_) => println!("{}: taken in by the running station", file.display()),
            hand::Taken::Not(reason) => {
                eprintln!("{reason}");
                all_taken = false;
            }
        }
    }
    if all_taken { Ok(true) } else { Err(Stop::Input("not every order was taken in".to_owned())) }
}

fn list(reader: &Reader, prefix: &str, limit: usize, as_json: bool) -> Answer {
    for job in reader.jobs(prefix, limit).map_err(Stop::failed)? {
        let Some((_, order)) = reader.latest_order(&job).map_err(Stop::failed)? else { continue };
        if as_json {
            println!("{}", json(&order));
        } else {
            println!(
                "{:<12} {:<14} revision {}  {}",
                job,
                order.order.lens,
                order.revision,
                if order.order.mounted { "mounted" } else { "uncut" }
            );
        }
    }
    Ok(true)
}

fn show(reader: &Reader, job: &JobNumber, as_json: bool) -> Answer {
    let history = reader.job_history(job).map_err(Stop::failed)?;
    let mut found = false;
    for numbered in &history {
        let Some(order) = order_of(&numbered.entry) else { continue };
        found = true;
        if as_json {
            println!("{}", json(order));
        } else {
            println!(
                "entry {}  {}  revision {} from {}\n{}",
                numbered.seq,
                numbered.time,
                order.revision,
                order.source,
                serde_json::to_string_pretty(&order.order).map_err(Stop::failed)?
            );
        }
    }
    if !found {
        eprintln!("no order for job {job} is on record");
    }
    Ok(found)
}
