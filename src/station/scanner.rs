//! A barcode reader's end of a port: each line is a job number.

use super::listening::{Silence, record_port};
use super::port::{Heard, Listener};
use super::recorder::Recorder;
use super::settings::Scanner;
use crate::bench::event::Event;
use crate::parsers::frame::{End, FrameSpec, Framer};
use jiff::Timestamp;
use tokio::time::Instant;

/// A barcode reader that sends no terminator is taken to be done after this silence.
const IDLE_MS: u32 = 200;
const MAX: usize = 256;

pub(super) struct ScannerListener<C> {
    name: String,
    framer: Framer,
    silence: Silence,
    recorder: Recorder,
    clock: C,
}

impl<C> ScannerListener<C> {
    pub(super) fn new(scanner: &Scanner, recorder: Recorder, clock: C) -> Self {
        let framing = FrameSpec { max: MAX, idle: Some(IDLE_MS), ..FrameSpec::ended_by(End::any_newline()) };
        Self {
            name: scanner.name.clone(),
            silence: Silence::of(&framing),
            framer: Framer::new(framing),
            recorder,
            clock,
        }
    }
}

impl<C: Fn() -> Timestamp + Send + Sync> Listener for ScannerListener<C> {
    fn wake_at(&self) -> Option<Instant> {
        self.silence.over_at()
    }

    async fn hear(&mut self, heard: Heard<'_>) -> Vec<u8> {
        let mut frames = Vec::new();
        match heard {
            Heard::Bytes(bytes) => {
                self.silence.broken();
                self.framer.push(bytes, |frame| frames.push(frame));
            }
            Heard::Woken if self.silence.is_over() => frames.extend(self.framer.idle()),
            Heard::Woken => {}
            Heard::State(port) => {
                frames.extend(self.framer.finish());
                record_port(&self.recorder, port, (self.clock)()).await;
            }
        }
        let lines = frames.iter().map(|frame| frame.bytes.trim_ascii()).filter(|line| !line.is_empty());
        let scan = |line: &[u8]| Event::Scanned { scanner: self.name.clone(), line: line.to_vec() };
        let scans: Vec<Event> = lines.map(scan).collect();
        if !scans.is_empty() && self.recorder.submit(scans, (self.clock)()).await.is_err() {
            tracing::error!(scanner = self.name, "a scan could not be recorded: recording has ended");
        }
        Vec::new()
    }
}
