//! One port, kept open: read and answered until it is lost, opened again.

use super::line::{End, Happened, Heard as Line, PortSettings, Untaken, Work, open};
use crate::bench::entry::{PortEntry, PortState};
use tokio::time::{Duration, Instant};

pub use super::line::Levels;

/// How many bytes of answers may wait for an instrument that takes none.
const ROOM: usize = 64 * 1024;
/// How long the last words may take: an instrument that sends on and on must not hold up the end.
const LAST_WORDS: Duration = Duration::from_secs(2);

/// What a port has to say.
#[derive(Debug)]
pub enum Heard<'a> {
    /// It was opened, lost, or could not be opened.
    State(PortEntry),
    /// These bytes came in.
    Bytes(&'a [u8]),
    /// The time that was asked for has come.
    Woken,
}

/// Takes what a port has to say, and answers.
pub trait Listener {
    /// When to be woken, if no byte comes before.
    fn wake_at(&self) -> Option<Instant>;
    /// Takes it, and gives the bytes to send in return; completes when there is room for more.
    fn hear(&mut self, heard: Heard<'_>) -> impl Future<Output = Vec<u8>> + Send;
    /// The levels that the DTR and RTS lines are to have, where they matter.
    fn levels(&self) -> Levels {
        Levels::default()
    }
}

/// The entry of a port's state.
pub(super) fn state_of(name: &str, device: &str, state: PortState, why: Option<String>) -> PortEntry {
    PortEntry { name: name.to_owned(), device: device.to_owned(), state, why }
}

/// Keeps the port called `name` open until `shutdown` completes. While the listener is busy nothing is
/// read.
pub async fn keep_open(
    name: &str,
    settings: &PortSettings,
    listener: &mut impl Listener,
    shutdown: impl Future<Output = ()>,
) {
    let mut shutdown = std::pin::pin!(shutdown);
    let device = settings.device.to_string();
    let mut end = End::new(
        settings.clone(),
        ROOM,
        Untaken::Dropped,
        Box::new(|settings| Box::pin(open(settings.clone(), false))),
    );
    loop {
        let flushes = end.is_open() && !end.is_flushed();
        // An instrument that takes nothing is not asked on and on.
        let wake_at = listener.wake_at().filter(|_| end.is_open() && !flushes);
        let wake = async {
            match wake_at {
                Some(at) => tokio::time::sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            happened = end.next_or(flushes) => if let Some(happened) = happened {
                take(name, &device, &mut end, happened, listener).await;
            },
            () = wake => {
                let answer = listener.hear(Heard::Woken).await;
                end.send(answer);
            }
            () = &mut shutdown => break,
        }
    }
    if end.is_open() {
        // What the operating system holds already, so that nothing that arrived is lost.
        let until = Instant::now() + LAST_WORDS;
        while let Some(happened) = end.left(until).await {
            take(name, &device, &mut end, happened, listener).await;
        }
        drop(listener.hear(Heard::State(state_of(name, &device, PortState::Closed, None))).await);
    }
}

async fn take(name: &str, device: &str, end: &mut End, happened: Happened, listener: &mut impl Listener) {
    match happened {
        Happened::State(state, why) => {
            let levels = listener.levels();
            if state == PortState::Opened && levels != Levels::default() {
                end.work(Work::Levels(levels));
            }
            let answer = listener.hear(Heard::State(state_of(name, device, state, why))).await;
            // What is answered to the end of a port has nowhere to go.
            end.send(answer);
        }
        Happened::Heard(Line::Bytes(bytes)) => {
            let answer = listener.hear(Heard::Bytes(&bytes)).await;
            end.send(answer);
        }
        // Nobody is there for whom breaks and lines would matter.
        Happened::Heard(_) => {}
        Happened::Unsent(bytes) => {
            tracing::warn!(name, bytes, "the instrument does not take what is sent to it")
        }
    }
}
