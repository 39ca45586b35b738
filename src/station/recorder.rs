//! Events in, committed entries out.
//!
//! One thread steps the core, one writes the ledger: what has queued while a transaction was
//! under way goes into the next one. Entries are handed on only after their commit. When the
//! ledger cannot be written the entries wait, the queue fills, and the ports are not read on:
//! nothing is dropped and nothing is shown.

use crate::bench::entry::{Numbered, Seq};
use crate::bench::event::Event;
use crate::bench::{Bench, Setup};
use crate::ledger::{Head, Ledger, LedgerError, Reader};
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::sync::{broadcast, mpsc, oneshot, watch};

/// How many handfuls of events may wait for the core, and how many of entries for the writer.
const QUEUE: usize = 16;
/// How many transactions may wait to be shown before some are skipped.
const SHOWN: usize = 1024;
/// How many entries go into one transaction at most.
const BATCH: usize = 2048;
/// The pause before a failed write is tried again.
const RETRY: Duration = Duration::from_millis(500);
/// How often it is written down how far feeds have come.
const KEEP_CURSORS: Duration = Duration::from_secs(1);

/// Whether what happens is being recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Health {
    /// It is.
    Recording,
    /// It is not, for this reason. Entries wait.
    NotRecording {
        /// What is wrong, and what to do.
        why: String,
    },
}

struct Incoming {
    events: Vec<Event>,
    time: Timestamp,
    done: Option<oneshot::Sender<Arc<[Numbered]>>>,
}

struct Stepped {
    entries: Vec<Numbered>,
    done: Option<oneshot::Sender<Arc<[Numbered]>>>,
}

/// Where events are handed in.
#[derive(Clone)]
pub struct Recorder {
    incoming: mpsc::Sender<Incoming>,
    committed: broadcast::Sender<Arc<[Numbered]>>,
    health: watch::Receiver<Health>,
    cursors: Cursors,
}

/// How far feeds have come, until it is written.
type Cursors = Arc<Mutex<BTreeMap<String, Seq>>>;

/// The recorder's threads: they end when the last [`Recorder`] is dropped.
pub struct Threads {
    core: JoinHandle<()>,
    writer: JoinHandle<Ledger>,
}

/// The recorder was shut down, or one of its threads ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the station is shutting down")]
pub struct Closed;

impl Recorder {
    /// Opens the ledger at `path` and starts recording. Gives the recorder, its threads, and the
    /// ledger's head as it was found.
    ///
    /// # Errors
    /// When the ledger cannot be opened for writing.
    pub fn start(path: &Path, setup: Setup) -> Result<(Recorder, Threads, Head), LedgerError> {
        let ledger = Ledger::open(path)?;
        let past = Reader::open(path)?;
        let head = ledger.head();
        let bench = Bench::new(setup, head.seq);
        let (incoming, events) = mpsc::channel(QUEUE);
        let (stepped, to_write) = sync_channel(QUEUE);
        let (committed, _) = broadcast::channel(SHOWN);
        let (say_health, health) = watch::channel(Health::Recording);
        let say_health = Arc::new(say_health);
        let on_disk = Arc::new(AtomicU64::new(head.seq.0));
        let core =
            Core { bench, past, stepped, on_disk: Arc::clone(&on_disk), health: Arc::clone(&say_health) };
        let cursors = Cursors::default();
        let writer = Writer {
            ledger,
            on_disk,
            health: say_health,
            committed: committed.clone(),
            cursors: Arc::clone(&cursors),
        };
        let threads = Threads {
            core: std::thread::spawn(move || core.run(events)),
            writer: std::thread::spawn(move || writer.run(to_write)),
        };
        Ok((Recorder { incoming, committed, health, cursors }, threads, head))
    }

    /// Hands in events that happened together; completes when there is room for more.
    ///
    /// # Errors
    /// When the recorder is shut down.
    pub async fn submit(&self, events: Vec<Event>, time: Timestamp) -> Result<(), Closed> {
        self.incoming.send(Incoming { events, time, done: None }).await.map_err(|_| Closed)
    }

    /// Hands in events that happened together, from a thread that may block.
    ///
    /// # Errors
    /// When the recorder is shut down.
    pub fn submit_blocking(&self, events: Vec<Event>, time: Timestamp) -> Result<(), Closed> {
        self.incoming.blocking_send(Incoming { events, time, done: None }).map_err(|_| Closed)
    }

    /// Hands in an event and waits until what comes of it is committed.
    ///
    /// # Errors
    /// When the recorder is shut down.
    pub async fn record(&self, event: Event, time: Timestamp) -> Result<Arc<[Numbered]>, Closed> {
        let (done, committed) = oneshot::channel();
        self.incoming
            .send(Incoming { events: vec![event], time, done: Some(done) })
            .await
            .map_err(|_| Closed)?;
        committed.await.map_err(|_| Closed)
    }

    /// What is committed from now on, a transaction at a time.
    pub fn committed(&self) -> broadcast::Receiver<Arc<[Numbered]>> {
        self.committed.subscribe()
    }

    /// Has it written down how far a feed has come; soon, and without waiting. What is not written
    /// because the disk is full or the power fails, the feed sends once more.
    pub fn keep_cursor(&self, feed: &str, seq: Seq) {
        let mut cursors = self.cursors.lock().unwrap_or_else(PoisonError::into_inner);
        cursors.insert(feed.to_owned(), seq);
    }

    /// Whether what happens is being recorded, now and at each change.
    pub fn health(&self) -> watch::Receiver<Health> {
        self.health.clone()
    }
}

impl Threads {
    /// Waits for both threads to end. The ledger comes back for a last word.
    ///
    /// # Errors
    /// When a thread panicked.
    pub fn join(self) -> Result<Ledger, String> {
        self.core.join().map_err(|_| "the core's thread panicked".to_owned())?;
        self.writer.join().map_err(|_| "the ledger's thread panicked".to_owned())
    }
}

struct Core {
    bench: Bench,
    past: Reader,
    stepped: SyncSender<Stepped>,
    on_disk: Arc<AtomicU64>,
    health: Arc<watch::Sender<Health>>,
}

impl Core {
    fn run(mut self, mut events: mpsc::Receiver<Incoming>) {
        let mut handed_on = Seq(self.on_disk.load(Ordering::Acquire));
        while let Some(Incoming { events, time, done }) = events.blocking_recv() {
            let mut entries = Vec::with_capacity(3 * events.len());
            for event in &events {
                let looks_back = matches!(
                    event,
                    Event::Noted(_)
                        | Event::Scanned { .. }
                        | Event::CrossCheck { .. }
                        | Event::Checked { .. }
                );
                if looks_back {
                    // These look back at the record, so the record has to be complete; a scan can
                    // be a note.
                    self.wait_for(handed_on);
                }
                entries.append(&mut self.step(event, time));
            }
            self.bench.committed(Seq(self.on_disk.load(Ordering::Acquire)));
            if let Some(last) = entries.last() {
                handed_on = last.seq;
            }
            if self.stepped.send(Stepped { entries, done }).is_err() {
                return;
            }
        }
    }

    fn wait_for(&self, seq: Seq) {
        while self.on_disk.load(Ordering::Acquire) < seq.0 {
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn step(&mut self, event: &Event, time: Timestamp) -> Vec<Numbered> {
        loop {
            match self.bench.step(event, time, &mut self.past) {
                Ok(entries) => return entries,
                Err(why) => {
                    let why = why.to_string();
                    tracing::error!(%why, "the ledger cannot be read");
                    say(&self.health, Health::NotRecording { why });
                    std::thread::sleep(RETRY);
                }
            }
        }
    }
}

/// Tells of a change only; gives whether it was one.
fn say(health: &watch::Sender<Health>, now: Health) -> bool {
    health.send_if_modified(|before| {
        let changed = *before != now;
        *before = now;
        changed
    })
}

struct Writer {
    ledger: Ledger,
    on_disk: Arc<AtomicU64>,
    health: Arc<watch::Sender<Health>>,
    committed: broadcast::Sender<Arc<[Numbered]>>,
    cursors: Cursors,
}

impl Writer {
    fn run(mut self, to_write: Receiver<Stepped>) -> Ledger {
        let mut kept_at = Instant::now();
        loop {
            if kept_at.elapsed() >= KEEP_CURSORS {
                self.keep_cursors();
                kept_at = Instant::now();
            }
            let first = match to_write.recv_timeout(KEEP_CURSORS) {
                Ok(first) => first,
                Err(RecvTimeoutError::Timeout) => continue,
                Err(RecvTimeoutError::Disconnected) => break,
            };
            let mut batch = first.entries;
            let mut waiting = vec![(0..batch.len(), first.done)];
            while batch.len() < BATCH
                && let Ok(mut next) = to_write.try_recv()
            {
                let start = batch.len();
                batch.append(&mut next.entries);
                waiting.push((start..batch.len(), next.done));
            }
            self.commit(&batch);
            for (range, done) in waiting {
                if let Some(done) = done {
                    // Whoever asked may have gone; the entries are on record all the same.
                    let _ = done.send(Arc::from(&batch[range]));
                }
            }
            if !batch.is_empty() && self.committed.receiver_count() > 0 {
                let _ = self.committed.send(Arc::from(batch));
            }
        }
        self.keep_cursors();
        self.ledger
    }

    fn keep_cursors(&mut self) {
        let cursors = std::mem::take(&mut *self.cursors.lock().unwrap_or_else(PoisonError::into_inner));
        if cursors.is_empty() {
            return;
        }
        if let Err(why) = self.ledger.keep_cursors(&cursors) {
            tracing::debug!(%why, "how far feeds have come is written later");
            let mut waiting = self.cursors.lock().unwrap_or_else(PoisonError::into_inner);
            for (feed, seq) in cursors {
                waiting.entry(feed).or_insert(seq);
            }
        }
    }

    fn commit(&mut self, batch: &[Numbered]) {
        let Some(last) = batch.last() else { return };
        let mut failing = false;
        loop {
            match self.ledger.append(batch) {
                Ok(_) => break,
                Err(why) => {
                    let why = why.to_string();
                    if !failing {
                        tracing::error!(%why, waiting = batch.len(), "NOT RECORDING: the ledger cannot be written");
                    }
                    failing = true;
                    say(&self.health, Health::NotRecording { why });
                    std::thread::sleep(RETRY);
                }
            }
        }
        self.on_disk.store(last.seq.0, Ordering::Release);
        if say(&self.health, Health::Recording) {
            tracing::info!("recording again");
        }
    }
}
