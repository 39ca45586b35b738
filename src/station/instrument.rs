//! An instrument's end of a port: bytes become frames, frames become entries, and the instrument
//! is answered once they are on record.

use super::listening::{Silence, record_port};
use super::port::{Heard, Levels, Listener};
use super::recorder::{Closed, Recorder};
use super::settings::Instrument;
use crate::bench::entry::{Entry, PortEntry, PortState};
use crate::bench::event::Event;
use crate::parsers::frame::{Frame, Framer};
use crate::parsers::talk::{Answering, Conversation, Talk};
use jiff::Timestamp;
use tokio::time::{Duration, Instant};

pub(super) struct InstrumentListener<C> {
    name: String,
    device: String,
    framer: Framer,
    silence: Silence,
    talk: Talk,
    conversation: Conversation,
    /// What the conversation counts its milliseconds from.
    since: Instant,
    recorder: Recorder,
    clock: C,
}

impl<C: Fn() -> Timestamp + Send + Sync> InstrumentListener<C> {
    pub(super) fn new(instrument: &Instrument, recorder: Recorder, clock: C) -> Self {
        let framing = instrument.reader.framing();
        let talk = instrument.reader.talk();
        Self {
            name: instrument.name.clone(),
            device: instrument.port.device.to_string(),
            silence: Silence::of(framing),
            framer: Framer::new(framing.clone()),
            conversation: Conversation::new(talk.clone()),
            talk,
            since: Instant::now(),
            recorder,
            clock,
        }
    }

    fn now(&self) -> u64 {
        u64::try_from(self.since.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// Records frames, and gives what is to be answered.
    async fn record(&mut self, frames: Vec<Frame>) -> Vec<u8> {
        let event = |frame| Event::Frame { instrument: self.name.clone(), frame };
        let events: Vec<Event> = frames.into_iter().map(event).collect();
        if events.is_empty() {
            return Vec::new();
        }
        let recorded = if self.talk == Talk::default() {
            self.recorder.submit(events, (self.clock)()).await.map(|()| Vec::new())
        } else {
            self.commit(events).await
        };
        match recorded {
            Ok(read) => {
                let now = self.now();
                self.conversation.recorded(read, now)
            }
            Err(Closed) => {
                tracing::error!(instrument = self.name, "frames could not be recorded: recording has ended");
                Vec::new()
            }
        }
    }

    /// Waits until the frames are on record, and says of each whether it was read: nothing is
    /// acknowledged before.
    async fn commit(&self, events: Vec<Event>) -> Result<Vec<bool>, Closed> {
        let mut read = Vec::with_capacity(events.len());
        for event in events {
            let entries = self.recorder.record(event, (self.clock)()).await?;
            read.push(entries.iter().any(|numbered| matches!(numbered.entry, Entry::Reading(_))));
        }
        Ok(read)
    }

    async fn answering(&self, answering: Option<Answering>) {
        let (state, why) = match answering {
            None => return,
            Some(Answering::Silent) => {
                (PortState::Silent, Some("it is asked for measurements and does not answer".to_owned()))
            }
            Some(Answering::Again) => (PortState::Answering, None),
        };
        let port = PortEntry { name: self.name.clone(), device: self.device.clone(), state, why };
        record_port(&self.recorder, port, (self.clock)()).await;
    }
}

impl<C: Fn() -> Timestamp + Send + Sync> Listener for InstrumentListener<C> {
    fn wake_at(&self) -> Option<Instant> {
        let ask_at = self.conversation.ask_at().map(|at| self.since + Duration::from_millis(at));
        self.silence.over_at().into_iter().chain(ask_at).min()
    }

    fn levels(&self) -> Levels {
        Levels { dtr: self.talk.dtr, rts: self.talk.rts }
    }

    async fn hear(&mut self, heard: Heard<'_>) -> Vec<u8> {
        let mut frames = Vec::new();
        match heard {
            Heard::Bytes(bytes) => {
                self.silence.broken();
                let again = self.conversation.heard();
                self.framer.push(bytes, |frame| frames.push(frame));
                self.answering(again).await;
                self.record(frames).await
            }
            Heard::Woken => {
                if self.silence.is_over() {
                    frames.extend(self.framer.idle());
                }
                let mut answer = self.record(frames).await;
                let now = self.now();
                let asked = self.conversation.due(now);
                if !asked.is_empty() {
                    self.answering(self.conversation.fell_silent()).await;
                }
                answer.extend(asked);
                answer
            }
            Heard::State(port) => {
                frames.extend(self.framer.finish());
                self.record(frames).await;
                let opened = port.state == PortState::Opened;
                record_port(&self.recorder, port, (self.clock)()).await;
                let now = self.now();
                if opened { self.conversation.opened(now) } else { Vec::new() }
            }
        }
    }
}
