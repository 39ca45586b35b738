//! Entries read event by event: what came of one event has one time, and is told together.

use crate::bench::entry::{Numbered, Seq};
use crate::ledger::{LedgerError, Reader, Stored};

/// What came of one event.
#[derive(Debug, Default)]
pub(super) struct Event {
    pub entries: Vec<Numbered>,
    /// Entries that this version cannot read, and why.
    pub unreadable: Vec<(Stored, String)>,
}

/// The events whose entries come after one, up to another; both ends are those of transactions.
pub(super) fn events(
    record: &Reader,
    after: Seq,
    to: Seq,
) -> impl Iterator<Item = Result<Event, LedgerError>> {
    let mut stored = record.stored(after.next()..=to).peekable();
    std::iter::from_fn(move || {
        let first = match stored.next()? {
            Ok(first) => first,
            Err(why) => return Some(Err(why)),
        };
        let time = first.time.clone();
        let mut event = Event::default();
        event.take(first);
        while let Some(Ok(next)) = stored.next_if(|next| next.as_ref().is_ok_and(|next| next.time == time)) {
            event.take(next);
        }
        Some(Ok(event))
    })
}

impl Event {
    fn take(&mut self, stored: Stored) {
        match stored.numbered() {
            Ok(numbered) => self.entries.push(numbered),
            Err(why) => self.unreadable.push((stored, why.to_string())),
        }
    }
}
