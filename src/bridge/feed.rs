//! One feed: from its cursor on, in order, until the receiver has kept each message.

use super::message::{Maker, Message};
use super::receiver::Receiver;
use super::standing::Standing;
use crate::bench::entry::{Numbered, Seq};
use crate::ledger::{LedgerError, Reader};
use crate::station::attach::{Clock, Handles};
use crate::station::follow::Follow;
use crate::station::recorder::Recorder;
use crate::station::settings::Settings;
use crate::station::settings::feed::{Begin, Feed};
use std::sync::Arc;
use std::time::Duration;

/// The pause before the first new try; it doubles up to [`LAST_PAUSE`].
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LAST_PAUSE: Duration = Duration::from_secs(30);
/// A receiver that is told of the end has so long to take it.
const GOODBYE: Duration = Duration::from_secs(1);

/// Where a feed's messages come from and how far it has come.
pub(super) struct Source {
    name: String,
    kinds: Vec<&'static str>,
    settings: Arc<Settings>,
    recorder: Recorder,
    maker: Option<Maker>,
    clock: Clock,
    standing: Arc<Standing>,
    pub(super) cursor: Seq,
}

impl Source {
    pub(super) async fn open(
        feed: &Feed,
        handles: &Handles,
        standing: Arc<Standing>,
    ) -> Result<Self, LedgerError> {
        let (ledger, name, begin) = (handles.settings.ledger.clone(), feed.name.clone(), feed.from);
        let cursor = on_disk(move || {
            let record = Reader::open(ledger)?;
            Ok(match (record.cursor(&name)?, begin) {
                (Some(cursor), _) => cursor,
                (None, Begin::First) => Seq::default(),
                (None, Begin::Now) => record.head()?.seq,
            })
        })
        .await?;
        let source = Self {
            name: feed.name.clone(),
            kinds: feed.kinds.clone(),
            settings: Arc::clone(&handles.settings),
            recorder: handles.recorder.clone(),
            maker: None,
            clock: Arc::clone(&handles.clock),
            standing,
            cursor,
        };
        source.kept(0, cursor);
        Ok(source)
    }

    pub(super) fn follow(&self, after: Seq) -> Follow {
        Follow::after(after, &self.recorder, self.settings.ledger.clone())
    }

    /// The messages among entries; these have to be on record.
    pub(super) async fn messages(&mut self, entries: &[Numbered]) -> Result<Vec<Message>, LedgerError> {
        if self.maker.is_none() {
            let (settings, kinds) = (Arc::clone(&self.settings), self.kinds.clone());
            self.maker =
                on_disk(move || Maker::new(&Reader::open(&settings.ledger)?, &settings.name, &kinds)).await?;
        }
        let maker = self.maker.as_ref();
        Ok(entries.iter().filter_map(|numbered| maker?.message(numbered)).collect())
    }

    /// The last entry on record.
    pub(super) async fn head(&self) -> Result<Seq, LedgerError> {
        let ledger = self.settings.ledger.clone();
        on_disk(move || Ok(Reader::open(ledger)?.head()?.seq)).await
    }

    /// The receiver has kept so many more messages, and now all up to `cursor`.
    pub(super) fn kept(&self, messages: usize, cursor: Seq) {
        self.recorder.keep_cursor(&self.name, cursor);
        self.standing.kept(&self.name, messages, cursor);
    }

    pub(super) fn up(&self) {
        self.standing.up(&self.name, (self.clock)());
    }

    pub(super) fn down(&self, why: &str) {
        self.standing.down(&self.name, why, (self.clock)());
    }
}

async fn on_disk<T: Send + 'static>(
    read: impl FnOnce() -> Result<T, LedgerError> + Send + 'static,
) -> Result<T, LedgerError> {
    tokio::task::spawn_blocking(read).await.expect("reading the ledger does not panic")
}

/// Runs a feed until the station ends.
pub(super) async fn run(feed: Feed, receiver: impl Receiver, handles: Handles, standing: Arc<Standing>) {
    let stopped = handles.stopped.clone();
    let mut sending = None;
    tokio::select! {
        () = send(&feed, receiver, handles, standing, &mut sending) => {}
        () = stopped.wait() => {}
    }
    if let Some(mut receiver) = sending {
        // The next start goes on from the cursor, whatever comes of this.
        let _ = tokio::time::timeout(GOODBYE, receiver.close()).await;
    }
}

async fn send<R: Receiver>(
    feed: &Feed,
    receiver: R,
    handles: Handles,
    standing: Arc<Standing>,
    sending: &mut Option<R>,
) {
    let mut pause = Pause::default();
    let mut source = loop {
        match Source::open(feed, &handles, Arc::clone(&standing)).await {
            Ok(source) => break source,
            Err(why) => standing.down(&feed.name, &why.to_string(), (handles.clock)()),
        }
        pause.wait().await;
    };
    drop(handles);
    let receiver = sending.insert(receiver);
    let mut follow = source.follow(source.cursor);
    let mut waiting = Vec::new();
    loop {
        if let Err(why) = receiver.open().await {
            source.down(&why);
            pause.wait().await;
            continue;
        }
        if R::SHOWS_ITSELF {
            source.up();
        }
        if receiver.comes_here() {
            pause = Pause::default();
        }
        let why = loop {
            if waiting.is_empty() {
                let next = tokio::select! {
                    next = follow.next() => next,
                    why = receiver.idle() => break why,
                };
                let taken = match next {
                    Ok(Some(entries)) => source.messages(&entries).await,
                    Ok(None) => return,
                    Err(why) => Err(why),
                };
                match taken {
                    Ok(messages) => waiting = messages,
                    Err(why) => {
                        // Nothing was taken from the ledger then: begin again where the cursor is.
                        follow = source.follow(source.cursor);
                        break format!("the ledger cannot be read: {why}");
                    }
                }
                if waiting.is_empty() {
                    source.cursor = follow.last();
                    source.kept(0, source.cursor);
                }
                continue;
            }
            let mut kept = 0;
            let delivered = receiver.deliver(&waiting, &mut kept).await;
            let last = waiting.drain(..kept).next_back();
            if let Some(last) = last {
                source.cursor = if waiting.is_empty() { follow.last() } else { last.seq };
                source.kept(kept, source.cursor);
                source.up();
                pause = Pause::default();
            }
            if let Err(why) = delivered {
                break why;
            }
        };
        source.down(&why);
        pause.wait().await;
    }
}

/// Waits longer each time.
struct Pause(Duration);

impl Default for Pause {
    fn default() -> Self {
        Self(FIRST_PAUSE)
    }
}

impl Pause {
    async fn wait(&mut self) {
        tokio::time::sleep(self.0).await;
        self.0 = (self.0 * 2).min(LAST_PAUSE);
    }
}
