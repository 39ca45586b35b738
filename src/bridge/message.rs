//! What a feed sends: one committed entry, with an identity.

use crate::bench::entry::{Entry, Numbered, Seq};
use crate::ledger::{LedgerError, Reader};
use crate::parsers::reading::JobNumber;
use serde::Serialize;
use serde_json::value::RawValue;

/// A committed entry on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Its identity: the same for each repeat, and no other entry of any ledger has it.
    pub id: String,
    /// The entry's number.
    pub seq: Seq,
    /// The entry's kind.
    pub kind: &'static str,
    /// The job that it concerns, if any.
    pub job: Option<JobNumber>,
    /// The instrument that it came from, if any.
    pub instrument: Option<String>,
    /// The whole message: one line of JSON, without the line's end.
    pub json: String,
}

/// Makes messages of the entries of one ledger.
#[derive(Debug, Clone)]
pub struct Maker {
    station: String,
    ledger: String,
    kinds: Vec<&'static str>,
}

/// The form of a message: the fields of an entry as everywhere, and where it is from.
#[derive(Serialize)]
struct Form<'a> {
    id: &'a str,
    station: &'a str,
    seq: Seq,
    time: &'a str,
    kind: &'a str,
    payload: &'a RawValue,
}

impl Maker {
    /// Of a station's ledger. It is told from every other by the hash of its first entry, so that a
    /// new ledger, whose numbers begin again, is not taken for repeats.
    ///
    /// # Errors
    /// When the ledger cannot be read, or has no entry yet.
    pub fn new(record: &Reader, station: &str, kinds: &[&'static str]) -> Result<Option<Self>, LedgerError> {
        Ok(record.stored_entry(Seq(1))?.map(|first| Self {
            station: station.to_owned(),
            ledger: first.hash.to_string().chars().take(16).collect(),
            kinds: kinds.to_vec(),
        }))
    }

    /// The message of an entry, where it is of a kind that is sent.
    pub fn message(&self, numbered: &Numbered) -> Option<Message> {
        let kind = numbered.entry.kind();
        if !self.kinds.contains(&kind) {
            return None;
        }
        let id = format!("{}-{}", self.ledger, numbered.seq);
        let payload = RawValue::from_string(numbered.entry.payload()).expect("payloads are JSON");
        // As in the ledger: what was hashed can be put together again.
        let time = format!("{:.6}", numbered.time);
        let form =
            Form { id: &id, station: &self.station, seq: numbered.seq, time: &time, kind, payload: &payload };
        let json = serde_json::to_string(&form).expect("text keys and checked JSON");
        let (job, instrument) = about(&numbered.entry);
        Some(Message { id, seq: numbered.seq, kind, job, instrument, json })
    }
}

/// The job and the instrument that an entry concerns.
fn about(entry: &Entry) -> (Option<JobNumber>, Option<String>) {
    match entry {
        Entry::Frame(frame) => (None, Some(frame.instrument.clone())),
        Entry::Reading(reading) => (reading.job.clone(), Some(reading.instrument.clone())),
        Entry::Order(order) => (Some(order.order.job.clone()), None),
        Entry::Verdict(verdict) => (Some(verdict.job.clone()), None),
        Entry::Job(job) => (job.job.clone(), None),
        Entry::Note(note) => (note.job.clone(), None),
        Entry::Port(port) => (None, Some(port.name.clone())),
        Entry::Host(said) => (None, Some(said.instrument.clone())),
        Entry::Gap(gap) => (None, Some(gap.instrument.clone())),
        Entry::Manual(manual) => (Some(manual.job.clone()), None),
        Entry::CrossCheck(check) => (Some(check.job.clone()), Some(check.instrument.clone())),
        Entry::InstrumentCheck(check) => (None, Some(check.instrument.clone())),
        Entry::Drift(drift) => (None, Some(drift.instrument.clone())),
        Entry::Override(entry) => (Some(entry.job.clone()), None),
        Entry::ReferenceLens(entry) => (Some(entry.lens.name.clone()), None),
        Entry::InForce(_)
        | Entry::Clock(_)
        | Entry::Software(_)
        | Entry::Checkpoint(_)
        | Entry::Person(_) => (None, None),
    }
}
