//! What runs beside a station without the station knowing of it: the page, what sends on.
//!
//! Whoever starts the station hands such tasks in, so that directions of use stay one way. Each
//! gets [`Handles`], runs until [`Stopped::wait`] completes, and then ends soon: the station waits
//! for it before the last entry is written.

use super::recorder::Recorder;
use super::settings::Settings;
use jiff::Timestamp;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::watch;

/// Where the time comes from.
pub type Clock = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// A task that runs beside a station.
pub type Attached = Box<dyn FnOnce(Handles) -> Pin<Box<dyn Future<Output = ()> + Send>> + Send>;

/// What a station gives to those that run beside it.
#[derive(Clone)]
pub struct Handles {
    /// Where events are handed in; what is committed and whether anything is.
    pub recorder: Recorder,
    /// The station's settings.
    pub settings: Arc<Settings>,
    /// The time.
    pub clock: Clock,
    /// The end.
    pub stopped: Stopped,
}

/// Says when the station ends.
#[derive(Debug, Clone)]
pub struct Stopped(watch::Receiver<bool>);

impl Stopped {
    /// The sender says `true` at the end.
    pub(super) fn new(receiver: watch::Receiver<bool>) -> Self {
        Self(receiver)
    }

    /// Completes when the station ends.
    pub async fn wait(mut self) {
        // An error means that the sender is gone, which is the end too.
        let _ = self.0.wait_for(|stopped| *stopped).await;
    }
}

/// Makes a task out of a function of its handles.
pub fn attached<F, Ended>(task: F) -> Attached
where
    F: FnOnce(Handles) -> Ended + Send + 'static,
    Ended: Future<Output = ()> + Send + 'static,
{
    Box::new(move |handles| Box::pin(task(handles)))
}
