//! A whole station: started, run until it is told to stop, ended with nothing lost.

use super::intake;
use super::port::{Heard, Listener, keep_open};
use super::recorder::{Closed, Health, Recorder};
use super::settings::Settings;
use crate::bench::Setup;
use crate::bench::entry::{InForce, InForceEntry, Numbered, TextHash};
use crate::bench::event::Event;
use crate::ledger::LedgerError;
use crate::parsers::frame::{End, FrameSpec, Framer};
use jiff::Timestamp;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{broadcast, watch};
use tokio::task::JoinSet;

/// How long the end may take before what is left is given up.
const DRAIN: Duration = Duration::from_secs(10);
/// A difference between the computer's clock and its steady one that counts as a jump.
const CLOCK_STEP: f64 = 2.0;
/// A barcode reader that sends no terminator is taken to be done after this silence.
const SCANNER_IDLE_MS: u32 = 200;
const SCANNER_MAX: usize = 256;

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
        job_hold: settings.job_hold,
        software: env!("CARGO_PKG_VERSION").to_owned(),
    }
}

/// Runs a station until `shutdown` completes, or a fault ends it.
///
/// # Errors
/// When the ledger cannot be opened, or the end is not in order.
pub async fn run<C, S>(
    settings: &Settings,
    clock: C,
    shutdown: impl Future<Output = ()>,
    show: S,
) -> Result<(), RunError>
where
    C: Fn() -> Timestamp + Clone + Send + Sync + 'static,
    S: FnMut(Shown) + Send + 'static,
{
    let (recorder, threads, head) = Recorder::start(&settings.ledger, setup(settings))?;
    let shown = tokio::spawn(show_committed(recorder.committed(), recorder.health(), show));
    let (stop, stopped) = watch::channel(false);
    let mut tasks = JoinSet::new();

    let started = async {
        let started = Event::Started { texts: texts_in_force(settings) };
        recorder.submit(vec![Event::Checkpoint(head.checkpoint()), started], clock()).await
    };
    if let Err(Closed) = started.await {
        tracing::error!("recording ended before the station started");
    }
    for instrument in &settings.instruments {
        let mut listener = InstrumentListener {
            name: instrument.name.clone(),
            framer: Framer::new(instrument.reader.framing().clone()),
            silence: silence(instrument.reader.framing()),
            recorder: recorder.clone(),
            clock: clock.clone(),
        };
        let (name, port, stopped) = (instrument.name.clone(), instrument.port.clone(), wait(stopped.clone()));
        tasks.spawn(async move { keep_open(&name, &port, &mut listener, stopped).await });
    }
    for scanner in &settings.scanners {
        let mut listener = ScannerListener {
            name: scanner.name.clone(),
            framer: Framer::new(scanner_framing()),
            silence: silence(&scanner_framing()),
            recorder: recorder.clone(),
            clock: clock.clone(),
        };
        let (name, port, stopped) = (scanner.name.clone(), scanner.port.clone(), wait(stopped.clone()));
        tasks.spawn(async move { keep_open(&name, &port, &mut listener, stopped).await });
    }
    if let Some(folder) = settings.orders.clone() {
        let (recorder, clock, stopped) = (recorder.clone(), clock.clone(), wait(stopped.clone()));
        tasks.spawn(async move { intake::watch(&folder, &recorder, clock, stopped).await });
    }
    {
        let (recorder, clock, stopped) = (recorder.clone(), clock.clone(), wait(stopped.clone()));
        tasks.spawn(async move { watch_clock(&recorder, clock, stopped).await });
    }

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

async fn wait(mut stopped: watch::Receiver<bool>) {
    // An error means that the sender is gone, which is the end too.
    let _ = stopped.wait_for(|stopped| *stopped).await;
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

struct InstrumentListener<C> {
    name: String,
    framer: Framer,
    silence: Option<Duration>,
    recorder: Recorder,
    clock: C,
}

impl<C: Fn() -> Timestamp + Send + Sync> Listener for InstrumentListener<C> {
    fn idle(&self) -> Option<Duration> {
        self.silence
    }

    async fn hear(&mut self, heard: Heard<'_>) {
        let mut frames = Vec::new();
        let mut port = None;
        match heard {
            Heard::Bytes(bytes) => self.framer.push(bytes, |frame| frames.push(frame)),
            Heard::Idle => frames.extend(self.framer.idle()),
            Heard::State(state) => {
                frames.extend(self.framer.finish());
                port = Some(state);
            }
        }
        let event = |frame| Event::Frame { instrument: self.name.clone(), frame };
        let events: Vec<Event> = frames.into_iter().map(event).collect();
        if !events.is_empty() && self.recorder.submit(events, (self.clock)()).await.is_err() {
            tracing::error!(instrument = self.name, "frames could not be recorded: recording has ended");
        }
        if let Some(port) = port {
            record_port(&self.recorder, port, (self.clock)()).await;
        }
    }
}

struct ScannerListener<C> {
    name: String,
    framer: Framer,
    silence: Option<Duration>,
    recorder: Recorder,
    clock: C,
}

fn silence(framing: &FrameSpec) -> Option<Duration> {
    framing.silence().map(|milliseconds| Duration::from_millis(milliseconds.into()))
}

fn scanner_framing() -> FrameSpec {
    FrameSpec { max: SCANNER_MAX, idle: Some(SCANNER_IDLE_MS), ..FrameSpec::ended_by(End::any_newline()) }
}

impl<C: Fn() -> Timestamp + Send + Sync> Listener for ScannerListener<C> {
    fn idle(&self) -> Option<Duration> {
        self.silence
    }

    async fn hear(&mut self, heard: Heard<'_>) {
        let mut frames = Vec::new();
        match heard {
            Heard::Bytes(bytes) => self.framer.push(bytes, |frame| frames.push(frame)),
            Heard::Idle => frames.extend(self.framer.idle()),
            Heard::State(port) => {
                frames.extend(self.framer.finish());
                record_port(&self.recorder, port, (self.clock)()).await;
            }
        }
        for frame in frames {
            let line = frame.bytes.trim_ascii().to_vec();
            if line.is_empty() {
                continue;
            }
            let event = Event::Scanned { scanner: self.name.clone(), line };
            if self.recorder.submit(vec![event], (self.clock)()).await.is_err() {
                tracing::error!(scanner = self.name, "a scan could not be recorded: recording has ended");
            }
        }
    }
}

async fn record_port(recorder: &Recorder, port: crate::bench::entry::PortEntry, time: Timestamp) {
    use crate::bench::entry::PortState;
    let why = port.why.clone().unwrap_or_default();
    match port.state {
        PortState::Opened => tracing::info!(name = port.name, device = port.device, "port open"),
        PortState::Closed => tracing::info!(name = port.name, device = port.device, "port closed"),
        PortState::Lost => tracing::error!(name = port.name, device = port.device, why, "port lost"),
        PortState::Unavailable => {
            tracing::warn!(name = port.name, device = port.device, why, "port not available; trying again");
        }
    }
    if recorder.submit(vec![Event::Port(port)], time).await.is_err() {
        tracing::error!("a port's state could not be recorded: recording has ended");
    }
}
