//! Passes on what comes in on either side, and has it captured.

use super::super::line::{Change, End, Happened, Heard, Inputs, Work};
use super::super::listening::Silence;
use super::super::port::state_of;
use super::super::settings::{Host, Instrument};
use super::capture::{Capture, Note};
use super::host;
use super::turn::Turn;
use crate::bench::entry::{Gap, PortState, Sender};
use crate::parsers::frame::{Frame, Framer};
use jiff::Timestamp;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::Instant;

/// With so many bytes waiting for the instrument the host is not read on: it waits, as on a slow line.
const AHEAD: usize = 8 * 1024;
/// Bytes that were not passed on are added up for so long before it is said.
const ADDED_UP: Duration = Duration::from_secs(5);
/// How long the last words may take at the end.
const LAST_WORDS: Duration = Duration::from_secs(2);

pub(super) struct Relay<C> {
    name: String,
    device: String,
    host_device: String,
    instrument: End,
    host: End,
    /// The host uses the instrument's line settings, and changes them.
    shares_settings: bool,
    /// What is shown to the other side when it is opened.
    inputs: [Option<Inputs>; 2],
    framer: Framer,
    silence: Silence,
    turn: Turn,
    unsent: [Option<Unsent>; 2],
    capture: Arc<Capture>,
    clock: C,
}

struct Unsent {
    bytes: u64,
    since: Timestamp,
    until: Timestamp,
    say_at: Instant,
}

impl<C: Fn() -> Timestamp> Relay<C> {
    pub(super) fn new(
        instrument: &Instrument,
        host: &Host,
        port: End,
        capture: Arc<Capture>,
        clock: C,
    ) -> Self {
        let framing = instrument.reader.framing();
        Self {
            name: instrument.name.clone(),
            device: instrument.port.device.to_string(),
            host_device: host.to_string(),
            instrument: port,
            host: host::end(host, &instrument.port),
            shares_settings: !matches!(host, Host::Port(_)),
            inputs: [None, None],
            framer: Framer::new(framing.clone()),
            silence: Silence::of(framing),
            turn: Turn::default(),
            unsent: [None, None],
            capture,
            clock,
        }
    }

    pub(super) async fn run(mut self, shutdown: impl Future<Output = ()>) {
        let mut shutdown = std::pin::pin!(shutdown);
        loop {
            let host_waits = self.instrument.is_open() && self.instrument.waiting() > AHEAD;
            self.host.read_on(!host_waits);
            let wake_at = self.wake_at();
            let wake = async {
                match wake_at {
                    Some(at) => tokio::time::sleep_until(at).await,
                    None => std::future::pending().await,
                }
            };
            // What is to be sent is sent before more is read; the host is read only so far ahead.
            tokio::select! {
                biased;
                () = &mut shutdown => break,
                () = wake => self.woken(),
                happened = self.host.next() => self.at_host(happened),
                // A host that waits is read on once the instrument has taken what waited for it.
                happened = self.instrument.next_or(host_waits) => if let Some(happened) = happened {
                    self.at_instrument(happened);
                },
            }
        }
        self.end().await;
    }

    /// Passes on what the system holds already, so that nothing that arrived is lost.
    async fn end(mut self) {
        let until = Instant::now() + LAST_WORDS;
        let (instrument_open, host_open) = (self.instrument.is_open(), self.host.is_open());
        while self.instrument.is_open()
            && let Some(happened) = self.instrument.left(until).await
        {
            self.at_instrument(happened);
        }
        while self.host.is_open()
            && let Some(happened) = self.host.left(until).await
        {
            self.at_host(happened);
        }
        // What came from the host last is on its way to the instrument.
        while self.instrument.is_open()
            && !self.instrument.is_flushed()
            && let Ok(happened) = tokio::time::timeout_at(until, self.instrument.next_or(true)).await
            && let Some(happened) = happened
        {
            self.at_instrument(happened);
        }
        self.finish_frame();
        self.end_turn();
        self.say_unsent(true);
        if instrument_open && self.instrument.is_open() {
            self.state(Sender::Instrument, PortState::Closed, None);
        }
        if host_open && self.host.is_open() {
            self.state(Sender::Host, PortState::Closed, None);
        }
    }

    fn keep(&self, note: Note) {
        self.capture.keep(note, (self.clock)());
    }

    fn state(&self, of: Sender, state: PortState, why: Option<String>) {
        let port = match of {
            Sender::Instrument => state_of(&self.name, &self.device, state, why),
            Sender::Host => state_of(&super::host_name(&self.name), &self.host_device, state, why),
        };
        self.keep(Note::Port(port));
    }

    fn frames(&self, frames: impl IntoIterator<Item = Frame>) {
        frames.into_iter().for_each(|frame| self.keep(Note::Frame(frame)));
    }

    fn finish_frame(&mut self) {
        let last = self.framer.finish();
        self.frames(last);
    }

    fn end_turn(&mut self) {
        self.turn.end().into_iter().for_each(|note| self.keep(note));
    }

    fn at_instrument(&mut self, happened: Happened) {
        match happened {
            Happened::Heard(Heard::Bytes(bytes)) => {
                self.host.send(bytes.clone());
                self.end_turn();
                self.silence.broken();
                let mut frames = Vec::new();
                self.framer.push(&bytes, |frame| frames.push(frame));
                self.frames(frames);
            }
            Happened::Heard(Heard::Break(what)) => {
                self.host.work(Work::Break(what));
            }
            Happened::Heard(Heard::Inputs(inputs)) => {
                self.inputs[Sender::Instrument as usize] = Some(inputs);
                self.host.work(Work::Cross(inputs));
            }
            Happened::Heard(Heard::Has(has)) => {
                self.is_set(has);
            }
            Happened::Heard(Heard::TurnedAway(who)) => self.keep(Note::Word(who)),
            Happened::Heard(Heard::Asks(_)) => {}
            Happened::Unsent(bytes) => self.unsent(Sender::Host, bytes),
            Happened::State(state, why) => {
                self.end_turn();
                self.finish_frame();
                self.say_unsent(true);
                self.state(Sender::Instrument, state, why);
                if let (PortState::Opened, Some(inputs)) = (state, self.inputs[Sender::Host as usize]) {
                    self.instrument.work(Work::Cross(inputs));
                }
            }
        }
    }

    fn at_host(&mut self, happened: Happened) {
        match happened {
            Happened::Heard(Heard::Bytes(bytes)) => {
                let notes = self.turn.take(&bytes, self.instrument.is_open());
                self.instrument.send(bytes);
                notes.into_iter().for_each(|note| self.keep(note));
            }
            Happened::Heard(Heard::Break(what)) => {
                self.instrument.work(Work::Break(what));
            }
            Happened::Heard(Heard::Inputs(inputs)) => {
                self.inputs[Sender::Host as usize] = Some(inputs);
                self.instrument.work(Work::Cross(inputs));
            }
            Happened::Heard(Heard::Asks(change)) => {
                if !self.instrument.work(Work::Change(change)) {
                    // It is set so as soon as it is there.
                    self.is_set(change);
                }
            }
            Happened::Heard(Heard::TurnedAway(who)) => {
                self.keep(Note::Word(format!("one host at a time: {who} was turned away")));
            }
            // The host's own port has settings of its own.
            Happened::Heard(Heard::Has(_)) => {}
            Happened::Unsent(bytes) => self.unsent(Sender::Instrument, bytes),
            Happened::State(state, why) => {
                self.end_turn();
                self.say_unsent(true);
                self.state(Sender::Host, state, why);
                if let (PortState::Opened, Some(inputs)) = (state, self.inputs[Sender::Instrument as usize]) {
                    self.host.work(Work::Cross(inputs));
                }
            }
        }
    }

    /// The instrument's line is set so: by its host, until the station starts again.
    fn is_set(&mut self, has: Change) {
        let mut settings = self.instrument.settings().clone();
        if settings.get(has.setting()) != has {
            self.keep(Note::Word(format!("the host has the line set: {has}")));
        }
        settings.set(has);
        if self.shares_settings {
            self.host.set(settings.clone());
        }
        self.instrument.set(settings);
        self.host.work(Work::Tell(has));
    }

    fn unsent(&mut self, of: Sender, bytes: usize) {
        let (bytes, now) = (bytes as u64, (self.clock)());
        match &mut self.unsent[of as usize] {
            Some(unsent) => (unsent.bytes, unsent.until) = (unsent.bytes + bytes, now),
            unsent => {
                let say_at = Instant::now() + ADDED_UP;
                *unsent = Some(Unsent { bytes, since: now, until: now, say_at });
            }
        }
    }

    /// Says what was not passed on, once enough of it is added up, or at once.
    fn say_unsent(&mut self, at_once: bool) {
        for of in [Sender::Instrument, Sender::Host] {
            let due = |unsent: &mut Unsent| at_once || unsent.say_at <= Instant::now();
            if let Some(Unsent { bytes, since, until, .. }) = self.unsent[of as usize].take_if(due) {
                self.capture.keep(Note::Missing { of, gap: Gap::NotPassedOn, bytes, since }, until);
            }
        }
    }

    fn wake_at(&self) -> Option<Instant> {
        let unsent = self.unsent.iter().flatten().map(|unsent| unsent.say_at);
        self.silence.over_at().into_iter().chain(self.turn.ends_at()).chain(unsent).min()
    }

    fn woken(&mut self) {
        if self.silence.is_over() {
            let frame = self.framer.idle();
            self.frames(frame);
        }
        if self.turn.ends_at().is_some_and(|at| at <= Instant::now()) {
            self.end_turn();
        }
        self.say_unsent(false);
    }
}
