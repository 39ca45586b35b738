//! What became of every byte of a frame.

use super::program::Program;
use super::run::run;
use crate::reading::Reading;
use crate::reject::Reject;
use nom::Offset;
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

/// Told by a run what it takes bytes for.
pub(super) trait Trace {
    /// `bytes` are a part of the frame. `what` is only called where somebody listens.
    fn mark(&mut self, bytes: &[u8], what: impl FnOnce() -> What);
}

/// Nobody listens: costs nothing.
pub(super) struct Silent;

impl Trace for Silent {
    fn mark(&mut self, _: &[u8], _: impl FnOnce() -> What) {}
}

/// Writes down every mark.
struct Spans<'f> {
    frame: &'f [u8],
    spans: Vec<Span>,
}

impl Trace for Spans<'_> {
    fn mark(&mut self, bytes: &[u8], what: impl FnOnce() -> What) {
        if !bytes.is_empty() {
            let start = self.frame.offset(bytes);
            self.spans.push(Span { range: start..start + bytes.len(), what: what() });
        }
    }
}

/// Runs `program` and says what became of every byte of `frame`.
pub(super) fn account(program: &Program, name: &str, frame: &[u8]) -> Account {
    let mut trace = Spans { frame, spans: Vec::new() };
    let result = run(program, frame, &mut trace).map_err(|miss| miss.into_reject(name, frame));
    let mut marks = trace.spans;
    if let Err(reject) = &result {
        // Whatever was taken for something before the frame was rejected counts no more.
        marks.retain(|span| span.range.start < reject.offset);
        for span in &mut marks {
            span.range.end = span.range.end.min(reject.offset);
        }
    }
    marks.sort_by_key(|span| span.range.start);
    let mut spans = Vec::with_capacity(marks.len());
    let mut at = 0;
    for span in marks {
        unread(&mut spans, at..span.range.start, &result);
        at = span.range.end;
        spans.push(span);
    }
    unread(&mut spans, at..frame.len(), &result);
    Account { spans, result }
}

/// Adds the bytes that a run never reached, if there are any.
fn unread(spans: &mut Vec<Span>, range: Range<usize>, result: &Result<Reading, Reject>) {
    if range.is_empty() {
        return;
    }
    let why = match result {
        Ok(_) => "no part of the layout is about it".to_owned(),
        Err(reject) if range.contains(&reject.offset) => {
            format!("rejected at byte {}: expected {}", reject.offset, reject.expected)
        }
        Err(reject) => format!("the frame was rejected at byte {}", reject.offset),
    };
    spans.push(Span { range, what: What::Unread { why } });
}
