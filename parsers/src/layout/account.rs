//! What became of every byte of a frame.

use super::Reject;
use crate::reading::Reading;
use serde::Serialize;
use std::ops::Range;

/// What became of every byte of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Account {
    /// In order; every byte stands in exactly one.
    pub spans: Vec<Span>,
    /// What [`super::Layout::read`] gives.
    pub result: Result<Reading, Reject>,
}

/// Some bytes of a frame and what they were taken for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Span {
    /// Offsets in the frame.
    pub range: Range<usize>,
    /// What they were taken for.
    #[serde(flatten)]
    pub what: What,
}

/// What bytes were taken for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "what")]
pub enum What {
    /// A field's value.
    Field {
        /// The field, such as `right sphere`.
        name: String,
        /// Whether the bytes mean "not measured".
        absent: bool,
    },
    /// The name in front of a tagged field's value, with its assignment bytes.
    Tag,
    /// What stands between fields or lines.
    Separator,
    /// Bytes that must stand as the layout says.
    Literal,
    /// The checksum.
    Checksum,
    /// What ends the frame.
    Terminator,
    /// Read past because the layout says so.
    Skipped {
        /// Why.
        why: String,
    },
    /// Not read because the frame was rejected.
    Unread {
        /// Why.
        why: String,
    },
}
