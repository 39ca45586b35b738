//! `fociline run`: a station.

use super::lines::Lines;
use super::{Answer, Stop, block_on, json, settings};
use crate::bench::entry::Entry;
use crate::bridge;
use crate::page;
use crate::station::recorder::Health;
use crate::station::run::{RunError, Shown, run as run_station};
use crate::station::settings::Settings;
use jiff::Timestamp;
use jiff::tz::TimeZone;
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
    let (standing, feeds) = bridge::beside(settings).map_err(Stop::input)?;
    let page = page::beside(settings, standing).map_err(Stop::input)?;
    let attached = feeds.into_iter().chain(page).collect();
    let lines = Lines::new(settings, output.timezone.clone());
    let show = move |shown| output.show(shown, &lines);
    run_station(settings, Timestamp::now, stop, show, attached).await.map(|()| true).map_err(
        |why| match why {
            RunError::Ledger(why) => Stop::Failed(format!("{}: {why}", settings.ledger.display())),
            other => Stop::failed(other),
        },
    )
}

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
    fn show(&self, shown: Shown, lines: &Lines) {
        match shown {
            Shown::Committed(entries) => {
                for numbered in entries.iter() {
                    match &numbered.entry {
                        Entry::Verdict(verdict) if self.json => println!("{}", json(verdict)),
                        _ if self.json => {}
                        _ => {
                            if let Some(line) = lines.of(numbered, &entries) {
                                anstream::println!("{line}");
                            }
                        }
                    }
                }
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
}
