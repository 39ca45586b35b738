//! What people say of readings on record, checked against the record before it is taken in.

use super::asked::{self, AskError, name, refused};
use crate::bench::entry::{Entry, NoteEntry, ReadingEntry, Says, Seq};
use crate::ledger::Reader;
use crate::parsers::reading::{Eye, JobNumber};
use serde::{Deserialize, Serialize};

/// What is to be said of a reading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wanted {
    /// It does not count; of an instrument's reading or of one by hand.
    Void,
    /// It belongs to this job, or its lens is for this eye.
    Assign {
        /// The job; where it is left out, the job that the reading has.
        job: Option<JobNumber>,
        /// The eye of a lens that came without one.
        eye: Option<Eye>,
    },
    /// Only a remark, on an entry of any kind.
    Remark,
}

/// The note that says `wanted` of the entry `about`.
///
/// # Errors
/// When the entry is not there, or (but for a remark) not a reading of which that can be said, does
/// not count already, or the words are missing.
pub fn note(
    record: &Reader,
    about: Seq,
    wanted: Wanted,
    reason: &str,
    by: &str,
) -> Result<NoteEntry, AskError> {
    let (reason, by) = (asked::reason(reason)?, name(by)?);
    let note = |says, job, eye, job_before| NoteEntry {
        about,
        says,
        reason: reason.clone(),
        by: by.clone(),
        job,
        eye,
        job_before,
    };
    let reading = match record.entry(about)?.map(|numbered| numbered.entry) {
        Some(_) if wanted == Wanted::Remark => {
            return Ok(note(Says::Remark, record.jobs_of(about)?.into_iter().next(), None, None));
        }
        Some(Entry::Reading(reading)) => reading,
        Some(Entry::Manual(manual)) if wanted == Wanted::Void => {
            return match record.voided_by(about)? {
                Some(since) => void_already(about, since),
                None => Ok(note(Says::Void, Some(manual.job), None, None)),
            };
        }
        Some(Entry::Manual(_)) => {
            return refused(format!("entry {about} was read by hand: void it, and enter it as it should be"));
        }
        Some(other) => return refused(format!("entry {about} is a {}, not a reading", other.kind())),
        None => return refused(format!("there is no entry {about}")),
    };
    let job = standing_job(record, about, &reading)?;
    match wanted {
        Wanted::Void => Ok(note(Says::Void, job, None, None)),
        Wanted::Remark => Ok(note(Says::Remark, job, None, None)),
        Wanted::Assign { job: None, eye: None } => {
            refused("name the job, or the eye, that the reading belongs to")
        }
        Wanted::Assign { eye: Some(_), .. } if reading.reading.unspecified.is_none() => {
            refused(format!("reading {about} says for which eye it is: that cannot be assigned"))
        }
        Wanted::Assign { job: wanted, eye } => match wanted.or_else(|| job.clone()) {
            None => refused(format!("reading {about} belongs to no job: name the job too")),
            Some(to) => {
                let before = job.filter(|job| *job != to);
                Ok(note(Says::Assign, Some(to), eye, before))
            }
        },
    }
}

fn void_already<T>(about: Seq, since: Seq) -> Result<T, AskError> {
    refused(format!("reading {about} is void since entry {since}"))
}

/// The job that a reading belongs to after everything said of it so far.
fn standing_job(record: &Reader, about: Seq, reading: &ReadingEntry) -> Result<Option<JobNumber>, AskError> {
    let mut job = reading.job.clone();
    for later in record.what_refers_to(about)? {
        let Entry::Note(note) = later.entry else { continue };
        match note.says {
            Says::Void => return void_already(about, later.seq),
            Says::Assign => job = note.job.or(job),
            Says::Remark => {}
        }
    }
    Ok(job)
}
