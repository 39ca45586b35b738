//! What can be scanned instead of a job number.
//!
//! With these a bench is worked with gloves and a barcode reader alone. Each is a text that no lab
//! is likely to have for a job.

use super::entry::{NoteEntry, Says, Seq};
use crate::parsers::reading::{Eye, JobNumber};

/// Something that can be scanned instead of a job number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// The lens that came last without an eye is for this one.
    Eye(Eye),
    /// The last reading does not count.
    Void,
}

impl Command {
    /// Every command, with what is scanned for it.
    pub const ALL: [(&'static str, Command); 3] = [
        ("..RIGHT", Command::Eye(Eye::Right)),
        ("..LEFT", Command::Eye(Eye::Left)),
        ("..VOID", Command::Void),
    ];

    /// The command that was scanned, if it is one.
    pub fn from_text(text: &str) -> Option<Self> {
        let text = text.trim();
        Self::ALL.into_iter().find(|(code, _)| text.eq_ignore_ascii_case(code)).map(|(_, command)| command)
    }
}

/// The reading that came last, as far as it can still be spoken of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Last {
    pub seq: Seq,
    pub job: Option<JobNumber>,
    /// It has a lens of which nobody has said for which eye it is.
    pub is_eyeless: bool,
}

impl Last {
    /// The note that says it of the reading; nothing where it does not fit.
    pub fn note(&self, command: Command, by: &str) -> Option<NoteEntry> {
        let (says, eye, reason) = match command {
            Command::Eye(eye) if self.is_eyeless && self.job.is_some() => {
                (Says::Assign, Some(eye), "the eye was scanned at the bench")
            }
            Command::Eye(_) => return None,
            Command::Void => (Says::Void, None, "voided by a scan at the bench"),
        };
        let (reason, by, job) = (reason.to_owned(), by.to_owned(), self.job.clone());
        Some(NoteEntry { about: self.seq, says, reason, by, job, eye, job_before: None })
    }

    /// What is left to say of it after a note; nothing where it does not count any more.
    pub fn after(self, note: &NoteEntry) -> Option<Self> {
        match note.says {
            _ if note.about != self.seq => Some(self),
            Says::Void => None,
            Says::Assign => Some(Self {
                job: note.job.clone().or(self.job),
                is_eyeless: self.is_eyeless && note.eye.is_none(),
                ..self
            }),
            Says::Remark => Some(self),
        }
    }
}
