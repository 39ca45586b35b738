//! The core: what a station knows, and what it makes of each event.
//!
//! Deterministic: no I/O, no clock, no randomness. The time comes in with the event, what the
//! ledger already holds of a job comes in through [`Past`], and what comes out are
//! [`entry::Entry`]s for the ledger. Nothing here may be shown before it is committed.

pub mod checking;
pub mod checks;
pub mod command;
pub mod drift;
pub mod entry;
pub mod envelope;
pub mod event;
pub mod job;
pub mod person;
mod recent;
pub mod standing;
pub mod view;

use crate::check::Limits;
use crate::judge::RuleSet;
use crate::judge::verdict::Hold;
use crate::optics::normal_form;
use crate::parsers::frame::{Ended, Frame};
use crate::parsers::layout::Reject;
use crate::parsers::notation;
use crate::parsers::reader::Reader;
use crate::parsers::reading::JobNumber;
use command::{Command, Last};
use entry::*;
use event::Event;
use jiff::{SignedDuration, Timestamp};
use job::JobRecord;
use recent::Recent;
use standing::Standing;
use std::collections::BTreeMap;

/// How many jobs are kept at hand. Others are recalled through [`Past`].
const JOBS_AT_HAND: usize = 4096;

/// What the ledger already holds: how the core looks back without knowing of a database.
pub trait Past {
    /// Why it cannot be looked at.
    type Error;
    /// The orders, readings and notes that concern a job, in their order.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn history(&mut self, job: &JobNumber) -> Result<Vec<Numbered>, Self::Error>;
    /// One entry.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn entry(&mut self, seq: Seq) -> Result<Option<Numbered>, Self::Error>;
    /// Every reference lens, instrument check, and note on a check's reading, in their order.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn checks(&mut self) -> Result<Vec<Numbered>, Self::Error>;
    /// Whether a text was ever put on record as in force.
    ///
    /// # Errors
    /// When the record cannot be read.
    fn was_in_force(&mut self, text: &TextHash) -> Result<bool, Self::Error>;
}

/// A past of which nothing is known: for a new ledger and for tests.
#[derive(Debug, Clone, Copy, Default)]
pub struct NoPast;

impl Past for NoPast {
    type Error = std::convert::Infallible;
    fn history(&mut self, _: &JobNumber) -> Result<Vec<Numbered>, Self::Error> {
        Ok(Vec::new())
    }
    fn entry(&mut self, _: Seq) -> Result<Option<Numbered>, Self::Error> {
        Ok(None)
    }
    fn checks(&mut self) -> Result<Vec<Numbered>, Self::Error> {
        Ok(Vec::new())
    }
    fn was_in_force(&mut self, _: &TextHash) -> Result<bool, Self::Error> {
        Ok(false)
    }
}

/// How a bench is set up. Nothing in it changes while it runs.
pub struct Setup {
    /// The reader of each instrument's frames, by the instrument's name.
    pub instruments: BTreeMap<String, Reader>,
    /// The rule set in force.
    pub rules: RuleSet,
    /// The limits of checks and cross-checks in force.
    pub limits: Limits,
    /// When verdicts are held back; nothing where they never are.
    pub hold: Option<Hold>,
    /// For how long a scanned or chosen job holds without any measurement.
    pub job_hold: SignedDuration,
    /// The version of the program.
    pub software: String,
}

/// One bench: its current job, the jobs at hand, and the number of the next entry.
pub struct Bench {
    setup: Setup,
    /// Of each instrument, the hashes of its layouts by their names.
    layouts: BTreeMap<String, BTreeMap<String, TextHash>>,
    rules_hash: TextHash,
    limits_hash: TextHash,
    limits_on_record: bool,
    /// Recalled from the past when first needed.
    standing: Option<Standing>,
    next: Seq,
    current: Option<Current>,
    last: Option<Last>,
    jobs: Recent<JobNumber, JobRecord>,
}

struct Current {
    job: JobNumber,
    last_used: Timestamp,
}

impl Bench {
    /// A bench that goes on after the entry `head`.
    pub fn new(setup: Setup, head: Seq) -> Self {
        let hashes = |reader: &Reader| {
            reader.parts().iter().map(|part| (part.name().to_owned(), TextHash::of(&part.text()))).collect()
        };
        let layouts = setup.instruments.iter().map(|(name, reader)| (name.clone(), hashes(reader))).collect();
        Self {
            layouts,
            rules_hash: TextHash::of(setup.rules.text()),
            limits_hash: TextHash::of(setup.limits.text()),
            limits_on_record: false,
            standing: None,
            setup,
            next: head.next(),
            current: None,
            last: None,
            jobs: Recent::new(JOBS_AT_HAND),
        }
    }

    /// The job that a frame without a job number belongs to at `now`.
    pub fn current_job(&self, now: Timestamp) -> Option<&JobNumber> {
        self.current
            .as_ref()
            .filter(|current| now.duration_since(current.last_used) <= self.setup.job_hold)
            .map(|current| &current.job)
    }

    /// Lets go of jobs beyond those kept at hand, as far as the record holds them: `committed`
    /// is the number of the last entry that is safely on disk.
    pub fn committed(&mut self, committed: Seq) {
        self.jobs.shrink(|used| used <= committed);
    }

    /// What is recorded of one event.
    ///
    /// # Errors
    /// When the past cannot be read; then nothing has changed, and the event can be tried again.
    pub fn step<P: Past>(
        &mut self,
        event: &Event,
        time: Timestamp,
        past: &mut P,
    ) -> Result<Vec<Numbered>, P::Error> {
        // As the ledger keeps it: what is shown live and what is read back are then the same.
        let time = Timestamp::from_microsecond(time.as_microsecond()).unwrap_or(time);
        self.recall(past)?;
        let mut out = Out { time, next: self.next, entries: Vec::with_capacity(3) };
        match event {
            Event::Started { texts } => {
                out.push(self.software(SoftwareState::Started));
                for text in texts {
                    self.limits_on_record |= text.hash == self.limits_hash;
                    out.push(Entry::InForce(text.clone()));
                }
            }
            Event::Checkpoint(checkpoint) => {
                out.push(Entry::Checkpoint(checkpoint.clone()));
            }
            Event::Stopped => {
                out.push(self.software(SoftwareState::Stopped));
            }
            Event::Port(port) => {
                out.push(Entry::Port(port.clone()));
            }
            Event::ClockStepped { seconds } => {
                out.push(Entry::Clock(ClockEntry { step_seconds: *seconds }));
            }
            Event::Frame { instrument, frame } => self.frame(instrument, frame, None, past, &mut out)?,
            Event::Passed { instrument, frame, arrived } => {
                self.frame(instrument, frame, *arrived, past, &mut out)?;
            }
            Event::Host(said) => {
                out.push(Entry::Host(said.clone()));
            }
            Event::Gap(gap) => {
                out.push(Entry::Gap(gap.clone()));
            }
            Event::Scanned { scanner, line } => self.scanned(scanner, line, past, &mut out)?,
            Event::Chosen { job, by } => self.choose(job.clone(), by.clone(), true, &mut out),
            Event::Ordered { order, source, by, dropped } => {
                let record = self.record(&order.job, past, out.next)?;
                if record.order() != Some(order.as_ref()) {
                    let entry = OrderEntry {
                        revision: record.revision() + 1,
                        source: source.clone(),
                        by: by.clone(),
                        dropped: dropped.clone(),
                        order: (**order).clone(),
                    };
                    record.take_order(out.next, &entry);
                    out.push(Entry::Order(Box::new(entry)));
                    self.judge(&order.job, &mut out);
                }
            }
            Event::Noted(note) => self.noted(note, past, &mut out)?,
            Event::Person(person) => {
                out.push(Entry::Person(person.clone()));
            }
            Event::Overridden(signed) => {
                out.push(Entry::Override(signed.clone()));
            }
            Event::Manual(manual) => {
                self.record(&manual.job, past, out.next)?;
                self.limits_in_force(past, &mut out)?;
                let seq = out.push(Entry::Manual(manual.clone()));
                self.cross_check(seq, manual, &mut out);
            }
            Event::CrossCheck { manual } => {
                if let Some(Entry::Manual(entry)) = past.entry(*manual)?.map(|numbered| numbered.entry) {
                    self.record(&entry.job, past, out.next)?;
                    self.limits_in_force(past, &mut out)?;
                    self.cross_check(*manual, &entry, &mut out);
                }
            }
            Event::ReferenceLens { lens, by } => {
                let revision = self.standing().revision(&lens.name) + 1;
                let entry = ReferenceLensEntry { revision, by: by.clone(), lens: (**lens).clone() };
                out.push(Entry::ReferenceLens(Box::new(entry)));
                self.take_standing(&mut out);
            }
            Event::Checked { reading, lens, by } => {
                if let Some(Entry::Reading(entry)) = past.entry(*reading)?.map(|numbered| numbered.entry) {
                    self.limits_in_force(past, &mut out)?;
                    self.check(*reading, &entry, lens, by, &mut out);
                }
            }
        }
        self.next = out.next;
        Ok(out.entries)
    }

    /// The jobs concerned are folded again: a note changes what counts, not what was measured.
    fn noted<P: Past>(&mut self, note: &NoteEntry, past: &mut P, out: &mut Out) -> Result<(), P::Error> {
        let seq = out.push(Entry::Note(note.clone()));
        self.take_standing(out);
        if note.says == Says::Remark {
            return Ok(());
        }
        // The record lists an assigned reading under its new job only once the note is in it.
        let about = past.entry(note.about)?;
        if about.as_ref().is_some_and(|numbered| matches!(numbered.entry, Entry::Manual(_))) {
            // No verdict rests on it: judging again would only set aside what was said of the last.
            return Ok(());
        }
        let mut jobs: Vec<&JobNumber> = [&note.job_before, &note.job].into_iter().flatten().collect();
        jobs.dedup();
        for job in jobs {
            let mut history = past.history(job)?;
            let known = history.iter().any(|numbered| numbered.seq == note.about);
            history.extend(about.iter().filter(|_| !known).cloned());
            history.sort_by_key(|numbered| numbered.seq);
            history.extend(out.entries.iter().filter(|numbered| numbered.seq == seq).cloned());
            self.jobs.put(job.clone(), JobRecord::from_history(job.clone(), &history), seq);
            self.judge(job, out);
        }
        self.last = self.last.take().and_then(|last| last.after(note));
        Ok(())
    }

    fn software(&self, state: SoftwareState) -> Entry {
        Entry::Software(SoftwareEntry { version: self.setup.software.clone(), state })
    }

    fn frame<P: Past>(
        &mut self,
        instrument: &str,
        frame: &Frame,
        arrived: Option<Timestamp>,
        past: &mut P,
        out: &mut Out,
    ) -> Result<(), P::Error> {
        let (read, by) = match self.setup.instruments.get(instrument) {
            Some(reader) => match frame.ended {
                Ended::Complete => {
                    let (read, by) = reader.read_by(&frame.bytes);
                    (read, Some(by))
                }
                how => (Err(not_whole(reader.name(), how, frame.bytes.len())), Some(reader)),
            },
            None => {
                let reject = Reject {
                    layout: String::new(),
                    field: None,
                    offset: 0,
                    expected: "an instrument named in the settings".to_owned(),
                    found: instrument.to_owned(),
                };
                (Err(reject), None)
            }
        };
        let layout = by.and_then(|by| self.layouts.get(instrument)?.get(by.name()));
        let layout = layout.cloned().unwrap_or_else(|| TextHash(String::new()));
        let (reading, reject) = match read {
            Ok(reading) => (Some(normal_form(reading)), None),
            Err(reject) => (None, Some(reject)),
        };
        let assigned = reading.map(|reading| {
            let (job, job_from) = match (&reading.job, self.current_job(out.time)) {
                (Some(job), _) => (Some(job.clone()), JobFrom::Frame),
                (None, Some(job)) => (Some(job.clone()), JobFrom::Station),
                (None, None) => (None, JobFrom::Nobody),
            };
            (reading, job, job_from)
        });
        let mut of_reference = None;
        if let Some((_, Some(job), _)) = &assigned {
            of_reference = self.standing().lens(job).map(|_| job.clone());
            match of_reference {
                Some(_) => self.limits_in_force(past, out)?,
                None => {
                    self.record(job, past, out.next)?;
                }
            }
        }
        let frame_seq = out.push(Entry::Frame(FrameEntry {
            instrument: instrument.to_owned(),
            bytes: frame.bytes.clone(),
            ended: frame.ended,
            layout,
            reject,
            arrived,
        }));
        let Some((reading, job, job_from)) = assigned else { return Ok(()) };
        let entry = ReadingEntry {
            frame: frame_seq,
            instrument: instrument.to_owned(),
            job: job.clone(),
            job_from,
            reading,
        };
        let seq = out.next;
        if let Some(job) = &job {
            if let Some(record) = self.jobs.get(job, seq) {
                record.take_reading(seq, &entry, None);
            }
            if let Some(current) = self.current.as_mut().filter(|current| current.job == *job) {
                current.last_used = out.time;
            }
        }
        self.last = Some(Last { seq, job: job.clone(), is_eyeless: entry.reading.unspecified.is_some() });
        let has_lens = entry.reading.right.is_some() || entry.reading.left.is_some();
        let to_check = of_reference.map(|lens| (lens, entry.clone()));
        out.push(Entry::Reading(Box::new(entry)));
        if let Some((lens, entry)) = to_check {
            let by = entry.reading.operator.as_deref().unwrap_or(NOT_SIGNED_IN);
            self.check(seq, &entry, &lens, by, out);
            return Ok(());
        }
        if let Some(job) = job.filter(|_| has_lens) {
            self.judge(&job, out);
        }
        Ok(())
    }

    fn scanned<P: Past>(
        &mut self,
        scanner: &str,
        line: &[u8],
        past: &mut P,
        out: &mut Out,
    ) -> Result<(), P::Error> {
        let text = std::str::from_utf8(line).ok();
        let job = text.and_then(|text| text.parse::<JobNumber>().ok());
        match (text.and_then(Command::from_text), job) {
            (None, Some(job)) => self.choose(job, scanner.to_owned(), false, out),
            (command, _) => {
                let note =
                    command.zip(self.last.as_ref()).and_then(|(command, last)| last.note(command, scanner));
                if let Some(note) = note {
                    return self.noted(&note, past, out);
                }
                out.push(Entry::Job(JobEntry {
                    job: None,
                    by: scanner.to_owned(),
                    by_hand: false,
                    scanned: Some(notation::to_text(line)),
                }));
            }
        }
        Ok(())
    }

    fn choose(&mut self, job: JobNumber, by: String, by_hand: bool, out: &mut Out) {
        self.current = Some(Current { job: job.clone(), last_used: out.time });
        out.push(Entry::Job(JobEntry { job: Some(job), by, by_hand, scanned: None }));
    }

    fn record<P: Past>(
        &mut self,
        job: &JobNumber,
        past: &mut P,
        used: Seq,
    ) -> Result<&mut JobRecord, P::Error> {
        if self.jobs.get(job, used).is_none() {
            let record = JobRecord::from_history(job.clone(), &past.history(job)?);
            self.jobs.put(job.clone(), record, used);
        }
        Ok(self.jobs.get(job, used).expect("put just above where it was missing"))
    }

    fn judge(&mut self, job: &JobNumber, out: &mut Out) {
        let Some(record) = self.jobs.get(job, out.next) else { return };
        let verdict = record.judged(&self.setup.rules, &self.rules_hash.0, &self.setup.software);
        if let Some(mut verdict) = verdict {
            let readings = verdict.basis.as_ref().map(|basis| basis.readings.as_slice()).unwrap_or_default();
            let instruments = record.instruments(readings);
            if let Some(standing) = &self.standing {
                standing.link(&mut verdict, &instruments, self.setup.hold.as_ref(), out.time);
            }
            out.push(Entry::Verdict(Box::new(verdict)));
        }
    }
}

struct Out {
    time: Timestamp,
    next: Seq,
    entries: Vec<Numbered>,
}

impl Out {
    fn push(&mut self, entry: Entry) -> Seq {
        let seq = self.next;
        self.entries.push(Numbered { seq, time: self.time, entry });
        self.next = seq.next();
        seq
    }
}

/// Why a frame that did not end as the layout says is not read.
fn not_whole(layout: &str, how: Ended, length: usize) -> Reject {
    let (expected, found) = match how {
        Ended::Complete => ("a reading", "a whole frame"),
        Ended::Oversize => ("the end of the frame", "more bytes than the layout's frame may have"),
        Ended::Unfinished => ("the end of the frame", "silence, or the port closed"),
        Ended::Stray => ("the start of a frame", "bytes outside any frame"),
    };
    Reject {
        layout: layout.to_owned(),
        field: None,
        offset: length,
        expected: expected.to_owned(),
        found: found.to_owned(),
    }
}
