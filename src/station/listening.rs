//! What instruments' and scanners' ports have in common.

use super::recorder::Recorder;
use crate::bench::entry::{PortEntry, PortState};
use crate::bench::event::Event;
use crate::parsers::frame::FrameSpec;
use jiff::Timestamp;
use tokio::time::{Duration, Instant};

/// Whether a line has been silent for as long as its framing waits.
pub(super) struct Silence {
    lasts: Option<Duration>,
    broken_at: Option<Instant>,
}

impl Silence {
    pub(super) fn of(framing: &FrameSpec) -> Self {
        Self {
            lasts: framing.silence().map(|silence| Duration::from_millis(silence.into())),
            broken_at: None,
        }
    }

    pub(super) fn broken(&mut self) {
        self.broken_at = Some(Instant::now());
    }

    pub(super) fn over_at(&self) -> Option<Instant> {
        Some(self.broken_at? + self.lasts?)
    }

    /// Says so once for each silence.
    pub(super) fn is_over(&mut self) -> bool {
        let over = self.over_at().is_some_and(|at| Instant::now() >= at);
        if over {
            self.broken_at = None;
        }
        over
    }
}

/// Says in the log what happened to a port.
pub(super) fn log_port(port: &PortEntry) {
    let (name, device) = (&port.name, &port.device);
    let why = port.why.as_deref().unwrap_or_default();
    match port.state {
        PortState::Opened => tracing::info!(name, device, "port open"),
        PortState::Closed => tracing::info!(name, device, "port closed"),
        PortState::Lost => tracing::error!(name, device, why, "port lost"),
        PortState::Unavailable => tracing::warn!(name, device, why, "port not available; trying again"),
        PortState::Silent => tracing::warn!(name, device, why, "the instrument does not answer"),
        PortState::Answering => tracing::info!(name, device, "the instrument answers again"),
    }
}

pub(super) async fn record_port(recorder: &Recorder, port: PortEntry, time: Timestamp) {
    log_port(&port);
    if recorder.submit(vec![Event::Port(port)], time).await.is_err() {
        tracing::error!("a port's state could not be recorded: recording has ended");
    }
}
