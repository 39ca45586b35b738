//! What people ask to have recorded about lenses, instruments and readings, checked against the record
//! before it is taken in. A running station takes it from its orders folder, as `*.ask.json`.

use super::notes::{Wanted, note};
use crate::bench::entry::{Entry, ManualEntry, Numbered, Purpose, Says, Seq, SittingStart};
use crate::bench::event::Event;
use crate::bench::standing::takes_back;
use crate::check::manual::ZERO;
use crate::check::{AsRead, ReferenceLens};
use crate::ledger::{LedgerError, Reader};
use crate::parsers::reading::{Eye, JobNumber};
use serde::{Deserialize, Serialize};

/// How a file with something asked ends its name.
pub const SUFFIX: &str = ".ask.json";

/// Something that a person asks to have recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Asked {
    /// A manual reading.
    Manual(Box<ManualAsked>),
    /// To compare a manual reading that counts with what was measured meanwhile.
    CrossCheck {
        /// The manual reading's entry.
        manual: Seq,
    },
    /// A reference lens for the register.
    ReferenceLens {
        /// The lens.
        lens: Box<ReferenceLens>,
        /// Who enters it.
        by: String,
    },
    /// That a reading was taken of a reference lens.
    Check {
        /// The reading's entry.
        reading: Seq,
        /// The reference lens.
        lens: JobNumber,
        /// Who says so.
        by: String,
    },
    /// To say something of a reading on record.
    Note {
        /// The reading's entry.
        about: Seq,
        /// What is to be said.
        says: Wanted,
        /// Why.
        reason: String,
        /// Who says so.
        by: String,
    },
}

/// A manual reading as a person enters it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ManualAsked {
    /// Who read.
    pub by: String,
    /// The manual focimeter's name.
    pub focimeter: String,
    /// The sitting, such as a date.
    pub sitting: String,
    /// Confirmed before the first reading of a sitting.
    pub start: Option<SittingStart>,
    /// What it is for.
    pub purpose: Purpose,
    /// The job whose lens it is, or the name of a reference or practice lens.
    pub job: JobNumber,
    /// For which eye the lens is, in a job.
    pub eye: Option<Eye>,
    /// The instrument's value was not seen before.
    pub blind: bool,
    /// What was read.
    pub read: AsRead,
}

/// Why it is not recorded.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// It does not fit the record, or something is missing.
    #[error("{0}")]
    Refused(String),
    /// The record cannot be read.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

pub(super) fn refused<T>(why: impl Into<String>) -> Result<T, AskError> {
    Err(AskError::Refused(why.into()))
}

/// The event that records what is asked.
///
/// # Errors
/// What is missing or does not fit, and what to do.
pub fn event(record: &Reader, asked: Asked) -> Result<Event, AskError> {
    match asked {
        Asked::Manual(asked) => manual(record, *asked),
        Asked::CrossCheck { manual } => cross_check(record, manual),
        Asked::ReferenceLens { lens, by } => reference_lens(record, lens, &by),
        Asked::Check { reading, lens, by } => check(record, reading, lens, &by),
        Asked::Note { about, says, reason, by } => note(record, about, says, &reason, &by).map(Event::Noted),
    }
}

/// How many characters a name has at most: a person's, a sitting's, a focimeter's.
const LONGEST_NAME: usize = 64;
/// How many characters a reason has at most.
const LONGEST_REASON: usize = 500;

/// Who says something, as it is recorded.
pub(super) fn name(by: &str) -> Result<String, AskError> {
    line("a name is needed: the record has to say who", by)
}

/// Why somebody says something, as it is recorded.
pub(crate) fn reason(why: &str) -> Result<String, AskError> {
    text("a reason is needed: the record has to say why", why, LONGEST_REASON)
}

/// What a person typed on one line; `needed` says what for.
fn line(needed: &str, typed: &str) -> Result<String, AskError> {
    let line = text(needed, typed, LONGEST_NAME)?;
    if line.chars().any(char::is_control) { refused(needed) } else { Ok(line) }
}

fn text(needed: &str, typed: &str, longest: usize) -> Result<String, AskError> {
    let typed = typed.trim();
    let length = typed.chars().count();
    if length > longest {
        let begin: String = typed.chars().take(20).collect();
        return refused(format!("{begin:?}… has {length} characters; at most {longest} are expected"));
    }
    if typed.is_empty() { refused(needed) } else { Ok(typed.to_owned()) }
}

/// A reference lens as it stands in the register.
fn registered(record: &Reader, name: &JobNumber) -> Result<Option<(Seq, ReferenceLens)>, LedgerError> {
    let history = record.job_history(name)?;
    Ok(history.into_iter().rev().find_map(|numbered| match numbered.entry {
        Entry::ReferenceLens(entry) => Some((numbered.seq, entry.lens)),
        _ => None,
    }))
}

fn manual(record: &Reader, asked: ManualAsked) -> Result<Event, AskError> {
    let by = name(&asked.by)?;
    let lens = asked.read.plausible().or_else(|why| refused(why.to_string()))?;
    let needed = "a sitting and a focimeter are needed: the record has to say when and on what";
    let sitting = line(needed, &asked.sitting)?;
    let focimeter = line(needed, &asked.focimeter)?;
    let zero = asked.start.as_ref().and_then(|start| ZERO.outside("zero", start.zero.value()));
    if let Some(far) = zero {
        return refused(format!("{far}: set the drum right first, or look at what was typed"));
    }
    let is_reference = registered(record, &asked.job)?.is_some();
    match (asked.purpose, asked.eye, is_reference) {
        (_, Some(_), true) => return refused(format!("{} is a reference lens: it is for no eye", asked.job)),
        (Purpose::Production, None, false) => return refused("say for which eye the lens is: right or left"),
        _ => {}
    }
    match &asked.start {
        Some(start) if !start.eyepiece_focused => {
            return refused("focus the eyepiece for your own eye first: out of focus, every power is off");
        }
        None if record.is_first_of_sitting(&by, &sitting)? => {
            return refused(
                "this is the first reading of the sitting: confirm that the eyepiece was focused for your own eye and \
                 say where the drum stood at zero (common practice)",
            );
        }
        _ => {}
    }
    Ok(Event::Manual(Box::new(ManualEntry {
        by,
        focimeter,
        sitting,
        start: asked.start,
        purpose: asked.purpose,
        job: asked.job,
        eye: asked.eye,
        blind: asked.blind,
        read: asked.read,
        lens,
    })))
}

fn cross_check(record: &Reader, seq: Seq) -> Result<Event, AskError> {
    let manual = match record.entry(seq)?.map(|numbered| numbered.entry) {
        Some(Entry::Manual(manual)) => manual,
        Some(other) => return refused(format!("entry {seq} is a {}, not a manual reading", other.kind())),
        None => return refused(format!("there is no entry {seq}")),
    };
    if let Some(since) = record.voided_by(seq)? {
        return refused(format!("entry {seq} is void since entry {since}: it is not compared"));
    }
    if manual.purpose == Purpose::Practice {
        return refused(format!("entry {seq} is practice, which is never part of production"));
    }
    let history = record.job_history(&manual.job)?;
    let measured = crate::bench::job::JobRecord::from_history(manual.job.clone(), &history);
    let Some((_, against)) = manual.eye.and_then(|eye| measured.measured(eye)) else {
        return refused(format!("no instrument has measured this lens of job {} yet", manual.job));
    };
    let same = history.iter().find(|numbered| {
        matches!(&numbered.entry, Entry::CrossCheck(check) if check.manual == seq && check.readings == against.readings)
    });
    match same {
        Some(known) => refused(format!("that comparison is on record already: entry {}", known.seq)),
        None => Ok(Event::CrossCheck { manual: seq }),
    }
}

fn reference_lens(record: &Reader, lens: Box<ReferenceLens>, by: &str) -> Result<Event, AskError> {
    let by = name(by)?;
    if let Some(fault) = lens.fault() {
        return refused(fault);
    }
    for typed in [Some(&lens.serial), lens.certificate.as_ref()].into_iter().flatten() {
        line("serial and certificate: a number or the name of a file is expected", typed)?;
    }
    if let Some((seq, _)) = record.latest_order(&lens.name)? {
        return refused(format!(
            "{} is the number of a job (order entry {seq}): name the lens otherwise",
            lens.name
        ));
    }
    if let Some((seq, known)) = registered(record, &lens.name)?
        && known == *lens
    {
        return refused(format!("{} is in the register already, just so: entry {seq}", lens.name));
    }
    Ok(Event::ReferenceLens { lens, by })
}

fn check(record: &Reader, reading: Seq, lens: JobNumber, by: &str) -> Result<Event, AskError> {
    let by = name(by)?;
    if !matches!(record.entry(reading)?, Some(Numbered { entry: Entry::Reading(_), .. })) {
        return refused(format!("entry {reading} is not a reading"));
    }
    if registered(record, &lens)?.is_none() {
        return refused(format!("{lens} is not in the register: add it with `fociline reference add`"));
    }
    let mut known = None;
    for later in record.what_refers_to(reading)? {
        match later.entry {
            Entry::Note(note) if note.says == Says::Void => {
                return refused(format!("reading {reading} is void since entry {}", later.seq));
            }
            Entry::InstrumentCheck(check) => known = Some((later.seq, check.lens)),
            Entry::Note(note) => known = known.filter(|(_, lens)| !takes_back(&note, lens)),
            _ => {}
        }
    }
    if let Some((seq, lens)) = known {
        return refused(format!("reading {reading} is a check with {lens} already: entry {seq}"));
    }
    Ok(Event::Checked { reading, lens, by })
}
