//! All that is known of one job, as people and programs are shown it.

use super::entry::{Entry, Numbered, OrderEntry, OverrideEntry, ReadingEntry, Says, Seq};
use super::envelope::Envelope;
use super::job::JobRecord;
use crate::judge::verdict::Verdict;
use crate::parsers::reading::{Eye, JobNumber, Reading};
use jiff::Timestamp;
use serde::Serialize;

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
    /// What a job's entries, in their order, add up to.
    pub fn from_history(job: JobNumber, history: &[Numbered]) -> Self {
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
