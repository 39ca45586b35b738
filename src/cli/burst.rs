//! One measurement from a port: everything up to the first silence.

use super::Stop;
use crate::bench::entry::PortState;
use crate::station::port::{Heard, Listener, keep_open};
use crate::station::settings::PortSettings;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::Instant;

/// Silence after which a measurement has been sent.
const SILENCE: Duration = Duration::from_millis(400);

/// Waits for bytes on the port and takes them in until it is silent. Nothing where `stop` came
/// first.
pub(super) async fn burst(
    port: &PortSettings,
    stop: &mut (impl Future<Output = ()> + Unpin),
) -> Result<Option<Vec<u8>>, Stop> {
    let (done, mut is_done) = watch::channel(false);
    let mut collector = Collector { bytes: Vec::new(), last: None, trouble: None, done };
    let mut stopped = false;
    let until = async {
        tokio::select! {
            _ = is_done.wait_for(|done| *done) => {}
            () = stop => stopped = true,
        }
    };
    keep_open("capture", port, &mut collector, until).await;
    if let Some(why) = collector.trouble.filter(|_| collector.bytes.is_empty()) {
        return Err(Stop::Failed(format!("{}: {why}", port.device)));
    }
    Ok((!stopped && !collector.bytes.is_empty()).then_some(collector.bytes))
}

struct Collector {
    bytes: Vec<u8>,
    /// When the last of them came.
    last: Option<Instant>,
    trouble: Option<String>,
    done: watch::Sender<bool>,
}

impl Listener for Collector {
    fn wake_at(&self) -> Option<Instant> {
        self.last.map(|last| last + SILENCE)
    }

    async fn hear(&mut self, heard: Heard<'_>) -> Vec<u8> {
        match heard {
            Heard::Bytes(bytes) => {
                self.bytes.extend_from_slice(bytes);
                self.last = Some(Instant::now());
            }
            Heard::Woken => {
                self.last = None;
                self.done.send_replace(true);
            }
            Heard::State(port) => {
                if matches!(port.state, PortState::Lost | PortState::Unavailable) {
                    self.trouble = port.why;
                    self.done.send_replace(true);
                }
            }
        }
        Vec::new()
    }
}
