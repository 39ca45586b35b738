//! What the host says until the instrument answers, or the host is silent: one entry.

use super::capture::Note;
use std::time::Duration;
use tokio::time::Instant;

/// After this silence what follows is another entry.
const SILENCE: Duration = Duration::from_millis(200);
/// So are bytes beyond this many.
const LONGEST: usize = 1024;

#[derive(Default)]
pub(super) struct Turn {
    bytes: Vec<u8>,
    undelivered: bool,
    last: Option<Instant>,
}

impl Turn {
    /// Takes what the host said, and gives what is complete with it.
    pub(super) fn take(&mut self, bytes: &[u8], delivered: bool) -> Vec<Note> {
        let mut notes = Vec::new();
        if self.undelivered == delivered {
            notes.extend(self.end());
        }
        self.undelivered = !delivered;
        for byte in bytes {
            self.bytes.push(*byte);
            if self.bytes.len() >= LONGEST {
                notes.extend(self.end());
            }
        }
        self.last = (!self.bytes.is_empty()).then(Instant::now);
        notes
    }

    /// When the host has been silent for so long that its turn is over.
    pub(super) fn ends_at(&self) -> Option<Instant> {
        Some(self.last? + SILENCE)
    }

    /// Its turn is over.
    pub(super) fn end(&mut self) -> Option<Note> {
        self.last = None;
        let bytes = std::mem::take(&mut self.bytes);
        (!bytes.is_empty()).then_some(Note::Host { bytes, undelivered: self.undelivered })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_byte_is_lost_however_turns_are_cut() {
        let mut turn = Turn::default();
        let sent: Vec<u8> = (0..5000u32).map(|n| (n % 251) as u8).collect();
        let mut notes = Vec::new();
        for chunk in sent.chunks(777) {
            notes.extend(turn.take(chunk, true));
        }
        notes.extend(turn.end());
        let mut recorded = Vec::new();
        for note in notes {
            let Note::Host { bytes, undelivered: false } = note else { panic!("{note:?}") };
            assert!(bytes.len() <= LONGEST);
            recorded.extend(bytes);
        }
        assert_eq!(recorded, sent);
        assert_eq!((turn.end(), turn.ends_at()), (None, None));
    }

    #[test]
    fn what_was_delivered_and_what_was_not_are_told_apart() {
        let mut turn = Turn::default();
        assert_eq!(turn.take(b"a", true), []);
        assert_eq!(turn.take(b"b", false), [Note::Host { bytes: b"a".to_vec(), undelivered: false }]);
        assert_eq!(turn.take(b"c", true), [Note::Host { bytes: b"b".to_vec(), undelivered: true }]);
    }
}
