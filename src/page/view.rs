//! What there is to be seen of jobs and entries: the same for programs and for people.

use super::problem::Problem;
use crate::bench::entry::Seq;
pub use crate::bench::envelope::Envelope;
pub use crate::bench::view::{JobView, OrderView, ReadingView, VerdictView};
use crate::ledger::chain::link;
use crate::ledger::{Hash, LedgerError, Reader};
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;
use serde::Serialize;
use serde_json::value::RawValue;

/// A job in a list.
#[derive(Debug, Clone, Serialize)]
pub struct JobLine {
    /// Its number.
    pub job: JobNumber,
    /// Its order's revision; nothing where it has no order.
    pub revision: Option<u32>,
    /// How it stands; nothing where it was not judged.
    pub outcome: Option<crate::judge::verdict::Outcome>,
    /// Why the verdict is held back, where it is: nobody may act on the outcome yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held: Option<String>,
    /// Whether a fail was overridden.
    pub overridden: bool,
    /// When anything last happened to it.
    pub last: Timestamp,
}

/// Jobs whose number begins so, in their order.
///
/// # Errors
/// When the ledger cannot be read.
pub fn jobs(record: &Reader, prefix: &str, limit: usize) -> Result<Vec<JobLine>, LedgerError> {
    let mut lines = Vec::new();
    for job in record.jobs(prefix, limit)? {
        let Some(view) = JobView::of(record, &job)? else { continue };
        let Some(last) = view.history.last() else { continue };
        lines.push(JobLine {
            revision: view.orders.last().map(|order| order.entry.revision),
            outcome: view.verdict.as_ref().map(|verdict| verdict.verdict.outcome),
            held: view.verdict.as_ref().and_then(|verdict| verdict.verdict.held.clone()),
            overridden: view.verdict.as_ref().is_some_and(|verdict| verdict.overridden.is_some()),
            last: last.time,
            job,
        });
    }
    Ok(lines)
}

/// One entry, its place in the chain, and what came of it.
#[derive(Debug, Clone, Serialize)]
pub struct EntryView {
    /// Its number.
    pub seq: Seq,
    /// Its time, as it was hashed.
    pub time: String,
    /// Its kind.
    pub kind: String,
    /// Its payload, the very text that was hashed.
    pub payload: Box<RawValue>,
    /// The hash of the entry before, in hexadecimal.
    pub prev: String,
    /// Its hash, in hexadecimal.
    pub hash: String,
    /// Whether both are as computed again from the entry and the one before it. The whole chain is
    /// proved by `fociline ledger verify`.
    pub verifies: bool,
    /// How many entries the ledger has.
    pub entries: Seq,
    /// The jobs that it concerns.
    pub jobs: Vec<JobNumber>,
    /// What was derived from it or said of it later.
    pub later: Vec<Envelope>,
}

impl EntryView {
    /// The entry of that number, if there is one.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn of(record: &Reader, seq: Seq) -> Result<Option<Self>, Problem> {
        let Some(stored) = record.stored_entry(seq)? else { return Ok(None) };
        let before = match seq.0 {
            1 => Some(Hash::default()),
            number => record.stored_entry(Seq(number - 1))?.map(|before| before.hash),
        };
        let again = link(&stored.prev, seq.0, &stored.time, &stored.kind, &stored.payload);
        let unreadable = |_| {
            Problem::fault(format!("the payload of entry {seq} is not JSON: run `fociline ledger verify`"))
        };
        Ok(Some(Self {
            seq,
            verifies: again == stored.hash && before == Some(stored.prev),
            payload: RawValue::from_string(stored.payload).map_err(unreadable)?,
            time: stored.time,
            kind: stored.kind,
            prev: stored.prev.to_string(),
            hash: stored.hash.to_string(),
            entries: record.head()?.seq,
            jobs: record.jobs_of(seq)?,
            later: record.what_refers_to(seq)?.iter().map(Envelope::from).collect(),
        }))
    }
}
