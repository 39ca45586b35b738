//! A whole station: started, run until it is told to stop, ended with nothing lost.

use super::attach::{Attached, Handles, Stopped};
use super::instrument::InstrumentListener;
use super::intake;
use super::passing;
use super::port::keep_open;
use super::recorder::{Closed, Health, Recorder};
use super::scanner::ScannerListener;
use super::settings::Settings;
use crate::bench::Setup;
use crate::bench::entry::{InForce, InForceEntry, Numbered, TextHash};
use crate::bench::event::Event;
use crate::ledger::LedgerError;
use jiff::Timestamp;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{broadcast, watch};
use tokio::task::JoinSet;

/// How long the end may take before what is left is given up.
const DRAIN: Duration = Duration::from_secs(10);
/// A difference between the computer's clock and its steady one that counts as a jump.
const CLOCK_STEP: f64 = 2.0;

/// What there is to show.
#[derive(Debug)]
pub enum Shown {
    /// These entries are on record.
    Committed(Arc<[Numbered]>),
    /// More was committed than could be shown; the ledger has it.
    Skipped(u64),
    /// Whether what happens is being recorded has changed.
    Health(Health),
}

/// Why a station ended otherwise than in order.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The ledger could not be opened.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The end took too long.
    #[error(
        "the ledger could not be written within {} seconds of the end: what came in last is not on record", DRAIN.as_secs()
    )]
    NotDrained,
    /// A thread ended by a fault of the program.
    #[error("a fault in the program: {0}")]
    Fault(String),
}

/// A text as it is recorded to be in force.
pub fn text_in_force(what: InForce, name: &str, text: &str) -> InForceEntry {
    InForceEntry { what, name: name.to_owned(), hash: TextHash::of(text), text: text.to_owned() }
}

/// The texts that are in force at a station.
pub fn texts_in_force(settings: &Settings) -> Vec<InForceEntry> {
    let mut texts = vec![
        text_in_force(InForce::Settings, &settings.name, &settings.text),
        text_in_force(InForce::Rules, settings.rules.name(), settings.rules.text()),
        text_in_force(InForce::Limits, settings.checks.limits.name(), settings.checks.limits.text()),
    ];
    for instrument in &settings.instruments {
        for reader in instrument.reader.parts() {
            let layout = text_in_force(InForce::Layout, reader.name(), &reader.text());
            if !texts.contains(&layout) {
                texts.push(layout);
            }
        }
    }
    texts
}

/// How the core is set up for a station.
pub fn setup(settings: &Settings) -> Setup {
    Setup {
        instruments: settings
            .instruments
            .iter()
            .map(|instrument| (instrument.name.clone(), instrument.reader.clone()))
            .collect(),
        rules: settings.rules.clone(),
        limits: settings.checks.limits.clone(),
        hold: settings.checks.hold.clone(),
        job_hold: settings.job_hold,
        software: env!("CARGO_PKG_VERSION").to_owned(),
    }
}

/// Runs a station until `shutdown` completes, or a fault ends it. What is `attached` runs beside
/// it.
///
/// # Errors
/// When the ledger cannot be opened, or the end is not in order.
pub async fn run<C, S>(
    settings: &Settings,
    clock: C,
    shutdown: impl Future<Output = ()>,
    show: S,
    attached: Vec<Attached>,
) -> Result<(), RunError>
where
    C: Fn() -> Timestamp + Clone + Send + Sync + 'static,
    S: FnMut(Shown) + Send + 'static,
{
    let (recorder, threads, head) = Recorder::start(&settings.ledger, setup(settings))?;
    let shown = tokio::spawn(show_committed(recorder.committed(), recorder.health(), show));
    let (stop, stopped) = watch::channel(false);
    let stopped = Stopped::new(stopped);
    let mut tasks = JoinSet::new();

    let started = async {
        let started = Event::Started { texts: texts_in_force(settings) };
        recorder.submit(vec![Event::Checkpoint(head.checkpoint()), started], clock()).await
    };
    if let Err(Closed) = started.await {
        tracing::error!("recording ended before the station started");
    }
    for instrument in &settings.instruments {
        if let Some(host) = &instrument.host {
            match passing::start(instrument, host, recorder.clone(), clock.clone(), stopped.clone()) {
                Ok(task) => drop(tasks.spawn(task)),
                Err(why) => return Err(RunError::Fault(format!("no thread for {}: {why}", instrument.name))),
            }
            continue;
        }
        let mut listener = InstrumentListener::new(instrument, recorder.clone(), clock.clone());
        let (name, port, stopped) =
            (instrument.name.clone(), instrument.port.clone(), stopped.clone().wait());
        tasks.spawn(async move { keep_open(&name, &port, &mut listener, stopped).await });
    }
    for scanner in &settings.scanners {
        let mut listener = ScannerListener::new(scanner, recorder.clone(), clock.clone());
        let (name, port, stopped) = (scanner.name.clone(), scanner.port.clone(), stopped.clone().wait());
        tasks.spawn(async move { keep_open(&name, &port, &mut listener, stopped).await });
    }
    if let Some(folder) = settings.orders.clone() {
        let (recorder, clock, stopped) = (recorder.clone(), clock.clone(), stopped.clone().wait());
        let ledger = settings.ledger.clone();
        tasks.spawn(async move { intake::watch(&folder, &ledger, &recorder, clock, stopped).await });
    }
    {
        let (recorder, clock, stopped) = (recorder.clone(), clock.clone(), stopped.clone().wait());
        tasks.spawn(async move { watch_clock(&recorder, clock, stopped).await });
    }
    let handles = Handles {
        recorder: recorder.clone(),
        settings: Arc::new(settings.clone()),
        clock: Arc::new(clock.clone()),
        stopped,
    };
    for task in attached {
        tasks.spawn(task(handles.clone()));
    }
    drop(handles);

    let mut fault = None;
    tokio::select! {
        () = shutdown => {}
        Some(ended) = tasks.join_next() => {
            // None of these tasks ends by itself.
            fault = Some(ended.err().map_or_else(|| "recording ended".to_owned(), |why| why.to_string()));
        }
    }
    tracing::info!("stopping");
    let _ = stop.send(true);
    let drained = tokio::time::timeout(DRAIN, async {
        while let Some(ended) = tasks.join_next().await {
            if let Err(why) = ended {
                fault.get_or_insert(why.to_string());
            }
        }
        let _ = recorder.record(Event::Stopped, clock()).await;
        drop(recorder);
        tokio::task::spawn_blocking(|| threads.join()).await
    })
    .await;
    let ledger = match drained {
        Err(_) => return Err(RunError::NotDrained),
        Ok(Err(why)) => return Err(RunError::Fault(why.to_string())),
        Ok(Ok(Err(why))) => return Err(RunError::Fault(why)),
        Ok(Ok(Ok(ledger))) => ledger,
    };
    let head = ledger.head();
    tracing::info!(entries = head.seq.0, head = %head.hash, "stopped; every entry is on record");
    drop(ledger);
    // The sender is gone with the writer: this ends once everything is shown.
    let _ = shown.await;
    match fault {
        Some(why) => Err(RunError::Fault(why)),
        None => Ok(()),
    }
}

async fn show_committed(
    mut committed: broadcast::Receiver<Arc<[Numbered]>>,
    mut health: watch::Receiver<Health>,
    mut show: impl FnMut(Shown),
) {
    let mut health_is_open = true;
    loop {
        tokio::select! {
            biased;
            changed = health.changed(), if health_is_open => match changed {
                Ok(()) => show(Shown::Health(health.borrow_and_update().clone())),
                Err(_) => health_is_open = false,
            },
            entries = committed.recv() => match entries {
                Ok(entries) => show(Shown::Committed(entries)),
                Err(broadcast::error::RecvError::Lagged(missed)) => show(Shown::Skipped(missed)),
                Err(broadcast::error::RecvError::Closed) => return,
            },
        }
    }
}

async fn watch_clock(recorder: &Recorder, clock: impl Fn() -> Timestamp, shutdown: impl Future<Output = ()>) {
    let mut shutdown = std::pin::pin!(shutdown);
    let (mut steady, mut wall) = (Instant::now(), clock());
    loop {
        tokio::select! {
            () = tokio::time::sleep(Duration::from_secs(1)) => {}
            () = &mut shutdown => return,
        }
        let now = clock();
        let seconds = now.duration_since(wall).as_secs_f64() - steady.elapsed().as_secs_f64();
        if seconds.abs() >= CLOCK_STEP {
            tracing::warn!(seconds, "the computer's clock jumped");
            if recorder.submit(vec![Event::ClockStepped { seconds }], now).await.is_err() {
                return;
            }
        }
        (steady, wall) = (Instant::now(), now);
    }
}
