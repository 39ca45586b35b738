//! `fociline run`: a station.

use super::account::picture;
use super::{Answer, Stop, block_on, json, settings, show, words};
use crate::bench::entry::{Entry, JobFrom, Numbered, PortState};
use crate::page;
use crate::parsers::frame::Ended;
use crate::parsers::reader::Reader;
use crate::station::recorder::Health;
use crate::station::run::{RunError, Shown, run as run_station};
use crate::station::settings::Settings;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::io::IsTerminal;
use std::path::PathBuf;
use tokio::signal::unix::{SignalKind, signal};

#[derive(Debug, clap::Args)]
pub(super) struct RunArgs {
    /// The station's settings (see contrib/station.example.toml)
    #[arg(long, value_name = "STATION.TOML")]
    station: PathBuf,
    /// Print each verdict as a line of JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: RunArgs) -> Answer {
    let settings = settings(&args.station)?;
    logs();
    block_on(async {
        let stop = stop_signal().map_err(Stop::failed)?;
        station(&settings, stop, Output { json: args.json, timezone: TimeZone::system() }).await
    })
}

/// Runs a station and prints what is committed.
pub(super) async fn station(settings: &Settings, stop: impl Future<Output = ()>, output: Output) -> Answer {
    let attached = page::beside(settings).map_err(Stop::input)?.into_iter().collect();
    let readers: BTreeMap<String, Reader> = settings
        .instruments
        .iter()
        .map(|instrument| (instrument.name.clone(), instrument.reader.clone()))
        .collect();
    let show = move |shown| output.show(shown, &readers);
    run_station(settings, Timestamp::now, stop, show, attached).await.map(|()| true).map_err(
        |why| match why {
            RunError::Ledger(why) => Stop::Failed(format!("{}: {why}", settings.ledger.display())),
            other => Stop::failed(other),
        },
    )
}

/// How many bytes of a frame that was not read are shown.
const PICTURED: usize = 210;

/// Logs go to standard error: for people on a terminal, as JSON otherwise. `FOCILINE_LOG` sets
/// how much (`debug`, `info`, `warn`, …).
pub(super) fn logs() {
    let filter = tracing_subscriber::EnvFilter::try_from_env("FOCILINE_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    let builder = tracing_subscriber::fmt().with_writer(std::io::stderr).with_env_filter(filter);
    // A second subscriber in one process is refused; the first one serves.
    let _ = if std::io::stderr().is_terminal() {
        builder.with_target(false).compact().try_init()
    } else {
        builder.json().try_init()
    };
}

/// Completes at the first SIGINT or SIGTERM; the second one ends the program at once.
pub(super) fn stop_signal() -> std::io::Result<impl Future<Output = ()>> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let (first, stop) = tokio::sync::oneshot::channel();
    tokio::spawn(async move {
        let mut next = async || {
            tokio::select! {
                _ = interrupt.recv() => 130,
                _ = terminate.recv() => 143,
            }
        };
        next().await;
        // The station may have ended by itself meanwhile.
        let _ = first.send(());
        let status = next().await;
        eprintln!("fociline: stopped at once; what was not committed is lost");
        std::process::exit(status);
    });
    Ok(async move {
        let _ = stop.await;
    })
}

/// Where and how committed entries are printed.
#[derive(Clone)]
pub(super) struct Output {
    pub(super) json: bool,
    pub(super) timezone: TimeZone,
}

impl Output {
    fn show(&self, shown: Shown, readers: &BTreeMap<String, Reader>) {
        match shown {
            Shown::Committed(entries) => {
                entries.iter().for_each(|entry| self.entry(entry, &entries, readers))
            }
            Shown::Skipped(missed) => {
                eprintln!("{missed} transactions were not shown here; the ledger has them");
            }
            Shown::Health(Health::Recording) => eprintln!("RECORDING AGAIN"),
            Shown::Health(Health::NotRecording { why }) => {
                eprintln!("NOT RECORDING: {why}. Do not release lenses measured now");
            }
        }
    }

    fn entry(&self, numbered: &Numbered, batch: &[Numbered], readers: &BTreeMap<String, Reader>) {
        let time = numbered.time.to_zoned_datetime(self.timezone.clone()).strftime("%H:%M:%S").to_string();
        match &numbered.entry {
            Entry::Verdict(verdict) if self.json => println!("{}", json(verdict)),
            Entry::Verdict(verdict) => anstream::println!("{}", show::line(&time, verdict)),
            _ if self.json => {}
            Entry::Reading(reading) => {
                let of_this = |other: &&Numbered| match &other.entry {
                    Entry::Verdict(verdict) => {
                        verdict.basis.as_ref().is_some_and(|basis| basis.readings.contains(&numbered.seq.0))
                    }
                    _ => false,
                };
                let check = |other: &Numbered| matches!(&other.entry, Entry::InstrumentCheck(check) if check.reading == numbered.seq);
                if batch.iter().any(|other| of_this(&other) || check(other)) {
                    return;
                }
                let what = match (&reading.job, reading.job_from) {
                    (Some(job), _) if reading.reading.unspecified.is_some() => {
                        format!("job {job:<10} reading {} does not say which eye it is for", numbered.seq)
                    }
                    (Some(job), _) => format!("job {job:<10} measured; not judged: no order for this job"),
                    (None, JobFrom::Nobody | JobFrom::Station | JobFrom::Frame) => {
                        format!("reading {} belongs to no job: scan a job before measuring", numbered.seq)
                    }
                };
                println!("{time}  {what}");
            }
            Entry::Frame(frame) => {
                if let Some(reject) = &frame.reject {
                    println!("{time}  {}: frame {} not read: {reject}", frame.instrument, numbered.seq);
                    let whole = frame.ended == Ended::Complete;
                    let reader = readers.get(&frame.instrument).filter(|_| whole);
                    let spans = reader.map(|reader| reader.account(&frame.bytes).spans).unwrap_or_default();
                    // The ledger has the whole of what is too long for a screen.
                    let shown = &frame.bytes[..frame.bytes.len().min(PICTURED)];
                    anstream::print!(
                        "{}",
                        picture(shown, &spans, whole.then_some(reject.offset), "          ")
                    );
                }
            }
            Entry::Port(port) => {
                let why = port.why.as_deref().unwrap_or_default();
                match port.state {
                    PortState::Opened => println!("{time}  {}: port open", port.name),
                    PortState::Closed => println!("{time}  {}: port closed", port.name),
                    PortState::Lost => println!("{time}  {}: PORT LOST: {why}", port.name),
                    PortState::Unavailable => println!("{time}  {}: no port: {why}", port.name),
                    PortState::Silent => println!("{time}  {}: NO ANSWER: {why}", port.name),
                    PortState::Answering => println!("{time}  {}: answers again", port.name),
                }
            }
            Entry::Job(job) => match (&job.job, &job.scanned) {
                (Some(number), _) => println!("{time}  job {number:<10} chosen ({})", job.by),
                (None, scanned) => println!(
                    "{time}  {}: {:?} is not a job number; the job chosen before still holds",
                    job.by,
                    scanned.as_deref().unwrap_or_default()
                ),
            },
            Entry::Order(order) => {
                println!(
                    "{time}  job {:<10} order, revision {} ({})",
                    order.order.job, order.revision, order.source
                );
            }
            Entry::Manual(manual) => println!("{time}  {}", words::manual(manual)),
            Entry::CrossCheck(check) => println!("{time}  {}", words::cross_check(check)),
            Entry::InstrumentCheck(check) => println!("{time}  CHECK {}", words::instrument_check(check)),
            Entry::ReferenceLens(entry) => println!("{time}  {}", words::reference_lens(entry)),
            Entry::Drift(drift) => println!("{time}  DRIFT {}", words::drift(drift)),
            Entry::Gap(gap) => println!("{time}  GAP {}", words::gap(gap)),
            _ => {}
        }
    }
}
