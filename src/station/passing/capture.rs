//! What passed and is to be recorded: a bounded buffer between passing on and the ledger.

use super::super::listening::log_port;
use super::super::recorder::Recorder;
use crate::bench::entry::{Gap, GapEntry, HostEntry, PortEntry, Sender};
use crate::bench::event::Event;
use crate::parsers::frame::Frame;
use jiff::{SignedDuration, Timestamp};
use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;

/// What a note takes up besides its bytes, roughly.
const COST: usize = 128;
/// How much is handed to the recorder at a time, in bytes.
const BATCH: usize = 64 * 1024;
/// What waited longer than this before it could be recorded is recorded with the time it came in.
const LATE: SignedDuration = SignedDuration::from_secs(1);

/// Something to be recorded.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Note {
    /// The instrument sent a frame.
    Frame(Frame),
    /// The host sent bytes; they were delivered or not.
    Host { bytes: Vec<u8>, undelivered: bool },
    /// A port was opened or lost.
    Port(PortEntry),
    /// Bytes did not get where they should.
    Missing { of: Sender, gap: Gap, bytes: u64, since: Timestamp },
    /// A word for the log.
    Word(String),
}

impl Note {
    fn cost(&self) -> usize {
        COST + match self {
            Self::Frame(frame) => frame.bytes.len(),
            Self::Host { bytes, .. } => bytes.len(),
            _ => 0,
        }
    }
}

#[derive(Default)]
struct Kept {
    notes: VecDeque<(Timestamp, Note)>,
    /// What the notes take up, those being written included.
    taken: usize,
    missed: Vec<Missed>,
    /// The last state of each port whose note did not fit.
    states: Vec<(Timestamp, PortEntry)>,
    closed: bool,
}

/// Bytes that were not captured, or of which it could not be kept that they were not passed on.
struct Missed {
    of: Sender,
    gap: Gap,
    bytes: u64,
    since: Timestamp,
    until: Timestamp,
}

pub(super) struct Capture {
    kept: Mutex<Kept>,
    news: Notify,
    room: usize,
}

impl Capture {
    pub(super) fn new(room: usize) -> Self {
        Self { kept: Mutex::default(), news: Notify::new(), room }
    }

    /// Nothing in here panics half way.
    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps a note until it is recorded; where there is no room, counts what is not. Never waits.
    pub(super) fn keep(&self, note: Note, now: Timestamp) {
        let mut kept = self.lock();
        if kept.is_missing() && kept.taken <= self.room / 2 {
            kept.say_missed();
        }
        if kept.is_missing() || kept.taken + note.cost() > self.room {
            kept.miss(note, now);
        } else {
            kept.push(note, now);
        }
        drop(kept);
        self.news.notify_one();
    }

    /// Nothing more comes.
    pub(super) fn close(&self) {
        self.lock().closed = true;
        self.news.notify_one();
    }

    /// The next notes, and what they take up; nothing at the end.
    async fn next(&self) -> Option<(Vec<(Timestamp, Note)>, usize)> {
        loop {
            {
                let mut kept = self.lock();
                if kept.notes.is_empty() {
                    kept.say_missed();
                }
                let (mut batch, mut taken) = (Vec::new(), 0);
                while taken < BATCH
                    && let Some((time, note)) = kept.notes.pop_front()
                {
                    taken += note.cost();
                    batch.push((time, note));
                }
                if !batch.is_empty() {
                    return Some((batch, taken));
                }
                if kept.closed {
                    return None;
                }
            }
            self.news.notified().await;
        }
    }

    /// What took up so much is handed on.
    fn written(&self, taken: usize) {
        self.lock().taken -= taken;
    }
}

impl Kept {
    fn push(&mut self, note: Note, time: Timestamp) {
        self.taken += note.cost();
        self.notes.push_back((time, note));
    }

    fn is_missing(&self) -> bool {
        !self.states.is_empty() || !self.missed.is_empty()
    }

    fn miss(&mut self, note: Note, now: Timestamp) {
        let (of, gap, bytes, since) = match note {
            Note::Frame(frame) => (Sender::Instrument, Gap::NotCaptured, frame.bytes.len() as u64, now),
            Note::Host { bytes, .. } => (Sender::Host, Gap::NotCaptured, bytes.len() as u64, now),
            Note::Missing { of, gap, bytes, since } => (of, gap, bytes, since),
            Note::Port(port) => {
                self.states.retain(|(_, other)| other.name != port.name);
                self.states.push((now, port));
                return;
            }
            // The log alone has these.
            Note::Word(_) => return,
        };
        match self.missed.iter_mut().find(|missed| (missed.of, missed.gap) == (of, gap)) {
            Some(missed) => (missed.bytes, missed.until) = (missed.bytes + bytes, now),
            None => self.missed.push(Missed { of, gap, bytes, since, until: now }),
        }
    }

    /// Has what was missed recorded.
    fn say_missed(&mut self) {
        for Missed { of, gap, bytes, since, until } in std::mem::take(&mut self.missed) {
            self.push(Note::Missing { of, gap, bytes, since }, until);
        }
        for (time, port) in std::mem::take(&mut self.states) {
            self.push(Note::Port(port), time);
        }
    }
}

/// Records what is captured until nothing more comes.
pub(super) async fn record(
    instrument: &str,
    capture: &Capture,
    recorder: &Recorder,
    clock: impl Fn() -> Timestamp,
) {
    while let Some((notes, taken)) = capture.next().await {
        let now = clock();
        let events: Vec<Event> =
            notes.into_iter().filter_map(|(time, note)| event(instrument, note, time, now)).collect();
        if !events.is_empty() && recorder.submit(events, now).await.is_err() {
            tracing::error!(instrument, "what passes could not be recorded: recording has ended");
            return;
        }
        capture.written(taken);
    }
}

fn event(instrument: &str, note: Note, time: Timestamp, now: Timestamp) -> Option<Event> {
    let instrument = instrument.to_owned();
    let arrived = (now.duration_since(time) > LATE).then_some(time);
    Some(match note {
        Note::Frame(frame) => Event::Passed { instrument, frame, arrived },
        Note::Host { bytes, undelivered } => {
            Event::Host(HostEntry { instrument, bytes, undelivered, arrived })
        }
        Note::Port(port) => {
            log_port(&port);
            Event::Port(port)
        }
        Note::Missing { of, gap, bytes, since } => {
            let entry = GapEntry { instrument, of, gap, bytes, since, until: time };
            let (name, gap) = (&entry.instrument, entry.gap);
            tracing::error!(name, bytes, %since, until = %time, %of, %gap, "a gap");
            Event::Gap(entry)
        }
        Note::Word(word) => {
            tracing::warn!(name = instrument, "{word}");
            return None;
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::entry::PortState;
    use crate::parsers::frame::Ended;

    fn frame(length: usize) -> Note {
        Note::Frame(Frame { bytes: vec![b'x'; length], ended: Ended::Complete })
    }

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(second).expect("in range")
    }

    fn state(state: PortState) -> Note {
        Note::Port(PortEntry { name: "host".into(), device: "d".into(), state, why: None })
    }

    async fn all(capture: &Capture) -> Vec<(Timestamp, Note)> {
        let mut notes = Vec::new();
        while let Some((batch, taken)) = capture.next().await {
            notes.extend(batch);
            capture.written(taken);
        }
        notes
    }

    #[tokio::test]
    async fn what_fits_comes_out_as_it_went_in() {
        let capture = Capture::new(1000);
        let notes = [frame(10), state(PortState::Opened), Note::Host { bytes: vec![0], undelivered: true }];
        notes.iter().zip(0..).for_each(|(note, second)| capture.keep(note.clone(), at(second)));
        capture.close();
        assert_eq!(
            all(&capture).await,
            notes.into_iter().zip(0..).map(|(note, n)| (at(n), note)).collect::<Vec<_>>()
        );
    }

    #[tokio::test]
    async fn what_does_not_fit_is_counted_and_said_in_its_place() {
        let capture = Capture::new(2 * (COST + 300));
        capture.keep(frame(300), at(1));
        capture.keep(frame(300), at(2));
        capture.keep(frame(7), at(3));
        capture.keep(Note::Host { bytes: vec![0; 5], undelivered: false }, at(4));
        capture.keep(state(PortState::Lost), at(5));
        capture.keep(state(PortState::Opened), at(6));
        let unpassed = Note::Missing { of: Sender::Host, gap: Gap::NotPassedOn, bytes: 2, since: at(5) };
        capture.keep(unpassed.clone(), at(6));
        // It would fit if it came first; in between there would be no order.
        capture.keep(frame(0), at(7));
        let (batch, taken) = capture.next().await.expect("two frames");
        assert_eq!(batch, [(at(1), frame(300)), (at(2), frame(300))]);
        // They are not on record yet, and take their room.
        capture.keep(frame(9), at(8));
        capture.written(taken);
        capture.keep(frame(3), at(9));
        capture.close();
        let missing = |of, bytes, since| Note::Missing { of, gap: Gap::NotCaptured, bytes, since: at(since) };
        assert_eq!(
            all(&capture).await,
            [
                (at(8), missing(Sender::Instrument, 16, 3)),
                (at(4), missing(Sender::Host, 5, 4)),
                (at(6), unpassed),
                (at(6), state(PortState::Opened)),
                (at(9), frame(3)),
            ]
        );
    }

    #[tokio::test]
    async fn a_gap_is_said_although_nothing_follows() {
        let capture = Capture::new(COST + 100);
        capture.keep(frame(100), at(1));
        capture.keep(frame(50), at(2));
        capture.close();
        let missing =
            Note::Missing { of: Sender::Instrument, gap: Gap::NotCaptured, bytes: 50, since: at(2) };
        assert_eq!(all(&capture).await, [(at(1), frame(100)), (at(2), missing)]);
    }
}
