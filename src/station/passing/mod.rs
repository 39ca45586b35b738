//! In between: an instrument keeps talking to the host it talks to without this station, and what
//! passes is captured.
//!
//! Passing on waits for nothing else. It has a thread of its own for each instrument (`relay`), and
//! what it captures goes into a bounded buffer (`capture`), from which it is recorded as fast as the
//! ledger takes it. What does not fit is counted and said in the ledger when there is room again.
//! `host` is where the host is reached, `pseudo` a terminal made for it.

mod capture;
mod host;
mod pseudo;
mod relay;
mod turn;

use self::capture::{Capture, record};
use self::relay::Relay;
use super::attach::Stopped;
use super::line::{End, Untaken, open};
use super::recorder::Recorder;
use super::settings::{Host, Instrument};
use crate::parsers::talk::Talk;
use jiff::Timestamp;
use std::io;
use std::sync::Arc;
use std::time::Duration;

/// How much may wait to be recorded, in bytes, for each instrument.
const CAPTURED: usize = 16 * 1024 * 1024;
/// How many bytes may wait for a host, or an instrument, that takes none: a minute at 9,600 baud.
const ROOM: usize = 64 * 1024;

/// The name of an instrument's host in the ledger.
pub fn host_name(instrument: &str) -> String {
    format!("{instrument} host")
}

/// Starts passing on between an instrument and its host. The future that it gives records what passes,
/// and ends once everything is recorded after the station has stopped.
///
/// # Errors
/// When the system has no thread left.
pub(super) fn start<C>(
    instrument: &Instrument,
    host: &Host,
    recorder: Recorder,
    clock: C,
    stopped: Stopped,
) -> io::Result<impl Future<Output = ()> + use<C>>
where
    C: Fn() -> Timestamp + Clone + Send + Sync + 'static,
{
    if instrument.reader.talk() != Talk::default() {
        let name = &instrument.name;
        tracing::info!(name, "the host asks and acknowledges: the layout's [talk] is not used");
    }
    let capture = Arc::new(Capture::new(CAPTURED));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (instrument, host, its_clock, its) =
        (instrument.clone(), host.clone(), clock.clone(), Arc::clone(&capture));
    let name = instrument.name.clone();
    std::thread::Builder::new().name(format!("passing {name}")).spawn(move || {
        // However this ends, the recording ends after it.
        let its = Closing(its);
        runtime.block_on(async {
            let port = Box::new(|settings: &_| -> super::line::Opening {
                Box::pin(open(Clone::clone(settings), true))
            });
            let port = End::new(instrument.port.clone(), ROOM, Untaken::Dropped, port);
            let relay = Relay::new(&instrument, &host, port, Arc::clone(&its.0), its_clock);
            relay.run(stopped.wait()).await;
        });
        // A break or a change that waits for a port that takes nothing must not hold up the end.
        runtime.shutdown_timeout(Duration::from_millis(500));
    })?;
    Ok(async move { record(&name, &capture, &recorder, clock).await })
}

struct Closing(Arc<Capture>);

impl Drop for Closing {
    fn drop(&mut self) {
        self.0.close();
    }
}
