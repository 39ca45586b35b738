//! An entry as programs are given it.

use super::entry::{Numbered, Seq};
use jiff::Timestamp;
use serde::Serialize;
use serde_json::value::RawValue;

/// An entry as it is shown: the payload is the very text that was hashed.
#[derive(Debug, Clone, Serialize)]
pub struct Envelope {
    /// Its number.
    pub seq: Seq,
    /// Its time.
    pub time: Timestamp,
    /// Its kind.
    pub kind: &'static str,
    /// Its payload.
    pub payload: Box<RawValue>,
}

impl From<&Numbered> for Envelope {
    fn from(numbered: &Numbered) -> Self {
        let payload = RawValue::from_string(numbered.entry.payload()).expect("payloads are JSON");
        Self { seq: numbered.seq, time: numbered.time, kind: numbered.entry.kind(), payload }
    }
}
