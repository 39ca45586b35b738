//! Following the ledger: every committed entry once, in order, from any entry on.
//!
//! What is committed is handed round as it is committed; who starts late or falls behind reads on
//! from the ledger. There is no difference to be seen from outside.

use super::recorder::Recorder;
use crate::bench::entry::{Numbered, Seq};
use crate::ledger::{LedgerError, Reader};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::broadcast::{self, error::RecvError};

/// How many entries are read from the ledger at a time.
const BLOCK: u64 = 512;

/// Follows the ledger. It does not keep the recorder going: it ends with it.
pub struct Follow {
    ledger: PathBuf,
    last: Seq,
    /// The ledger may hold entries after `last` that were not handed round to this one.
    behind: bool,
    live: broadcast::Receiver<Arc<[Numbered]>>,
}

impl Follow {
    /// Follows from the entry after `last` on.
    pub fn after(last: Seq, recorder: &Recorder, ledger: PathBuf) -> Self {
        Self { ledger, last, behind: true, live: recorder.committed() }
    }

    /// The last entry that was given.
    pub fn last(&self) -> Seq {
        self.last
    }

    /// The next entries, at least one; nothing when recording has ended. May be dropped while it
    /// waits: nothing is lost.
    ///
    /// # Errors
    /// When the ledger cannot be read; it can be tried again.
    pub async fn next(&mut self) -> Result<Option<Arc<[Numbered]>>, LedgerError> {
        loop {
            if self.behind {
                let entries = self.read_on().await?;
                if !entries.is_empty() {
                    return Ok(Some(self.give(entries.into())));
                }
                self.behind = false;
            }
            match self.live.recv().await {
                Ok(batch) => {
                    let new = batch.partition_point(|numbered| numbered.seq <= self.last);
                    match batch.get(new) {
                        None => {}
                        Some(first) if first.seq != self.last.next() => self.behind = true,
                        Some(_) if new == 0 => return Ok(Some(self.give(batch))),
                        Some(_) => return Ok(Some(self.give(Arc::from(&batch[new..])))),
                    }
                }
                Err(RecvError::Lagged(_)) => self.behind = true,
                Err(RecvError::Closed) => return Ok(None),
            }
        }
    }

    fn give(&mut self, entries: Arc<[Numbered]>) -> Arc<[Numbered]> {
        self.last = entries.last().map_or(self.last, |last| last.seq);
        entries
    }

    async fn read_on(&self) -> Result<Vec<Numbered>, LedgerError> {
        let (ledger, range) =
            (self.ledger.clone(), self.last.next()..=Seq(self.last.0.saturating_add(BLOCK)));
        let read = move || Reader::open(ledger)?.entries(range).collect();
        tokio::task::spawn_blocking(read).await.expect("reading the ledger does not panic")
    }
}
