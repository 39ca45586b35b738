//! What there is to be seen of jobs and entries: the same for programs and for people.

use super::problem::Problem;
use crate::bench::entry::{Entry, Numbered, OrderEntry, OverrideEntry, ReadingEntry, Says, Seq};
pub use crate::bench::envelope::Envelope;
use crate::bench::job::JobRecord;
use crate::judge::verdict::Verdict;
use crate::ledger::chain::link;
use crate::ledger::{Hash, LedgerError, Reader};
use crate::parsers::reading::{Eye, JobNumber, Reading};
use jiff::Timestamp;
use serde::Serialize;
use serde_json::value::RawValue;

/// All that is known of one job.
#[derive(Debug, Clone, Serialize)]
pub struct JobView {
    /// Its number.
    pub job: JobNumber,
    /// Every revision of its order, the earliest first.
    pub orders: Vec<OrderView>,
    /// What was measured, the earliest first.
    pub readings: Vec<ReadingView>,
    /// The latest value of each quantity.
    pub measured: Reading,
    /// The verdict as it stands; nothing where what it was derived from does not count any more.
    pub verdict: Option<VerdictView>,
    /// Every entry that concerns the job.
    pub history: Vec<Envelope>,
}

/// A revision of an order.
#[derive(Debug, Clone, Serialize)]
pub struct OrderView {
    /// Its entry.
    pub seq: Seq,
    /// When it was taken in.
    pub time: Timestamp,
    /// The revision.
    pub entry: OrderEntry,
}

/// A reading and what was said of it since.
#[derive(Debug, Clone, Serialize)]
pub struct ReadingView {
    /// Its entry.
    pub seq: Seq,
    /// When it came in.
    pub time: Timestamp,
    /// Whether it does not count: the note that says so.
    pub void: Option<Seq>,
    /// The job that it belongs to now, if any.
    pub job: Option<JobNumber>,
    /// For which eye its unspecified lens is, where a note says so.
    pub eye: Option<Eye>,
    /// The reading.
    pub entry: ReadingEntry,
}

/// A verdict and whether it was overridden.
#[derive(Debug, Clone, Serialize)]
pub struct VerdictView {
    /// Its entry.
    pub seq: Seq,
    /// When it was judged.
    pub time: Timestamp,
    /// The verdict.
    pub verdict: Verdict,
    /// Who overrode it, and why.
    pub overridden: Option<OverrideEntry>,
}

impl JobView {
    /// What is known of a job; nothing where there is no such job.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn of(record: &Reader, job: &JobNumber) -> Result<Option<Self>, LedgerError> {
        let history = record.job_history(job)?;
        Ok((!history.is_empty()).then(|| Self::from_history(job.clone(), &history)))
    }

    fn from_history(job: JobNumber, history: &[Numbered]) -> Self {
        let mut view = Self {
            measured: JobRecord::from_history(job.clone(), history).so_far(),
            job,
            orders: Vec::new(),
            readings: Vec::new(),
            verdict: None,
            history: history.iter().map(Envelope::from).collect(),
        };
        for Numbered { seq, time, entry } in history {
            let (seq, time) = (*seq, *time);
            match entry {
                Entry::Order(order) => {
                    view.orders.push(OrderView { seq, time, entry: OrderEntry::clone(order) })
                }
                Entry::Reading(reading) => {
                    let (job, entry) = (reading.job.clone(), ReadingEntry::clone(reading));
                    view.readings.push(ReadingView { seq, time, void: None, job, eye: None, entry });
                }
                Entry::Verdict(verdict) if verdict.job == view.job => {
                    let verdict = Verdict::clone(verdict);
                    view.verdict = Some(VerdictView { seq, time, verdict, overridden: None });
                }
                Entry::Override(signed) => {
                    if let Some(verdict) = view.verdict.as_mut().filter(|verdict| verdict.seq == signed.about)
                    {
                        verdict.overridden = Some(signed.clone());
                    }
                }
                Entry::Note(note) => {
                    let about = view.readings.iter_mut().find(|reading| reading.seq == note.about);
                    match (about, note.says) {
                        (Some(reading), Says::Void) => reading.void = Some(seq),
                        (Some(reading), Says::Assign) => {
                            reading.job = note.job.clone().or(reading.job.take());
                            reading.eye = note.eye.or(reading.eye);
                        }
                        _ => {}
                    }
                }
                _ => {}
            }
        }
        // Where nothing is left to judge there is no later verdict that says so.
        let counts = |seq: &u64| {
            let reading = view.readings.iter().find(|reading| reading.seq.0 == *seq);
            reading.is_some_and(|reading| reading.void.is_none() && reading.job.as_ref() == Some(&view.job))
        };
        let stands =
            |given: &VerdictView| given.verdict.basis.iter().flat_map(|basis| &basis.readings).all(counts);
        view.verdict = view.verdict.filter(stands);
        view
    }
}

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
