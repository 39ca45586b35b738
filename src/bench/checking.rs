//! What the core makes of manual readings, reference lenses and checks.

use super::entry::*;
use super::job::JobRecord;
use super::standing::{Standing, State};
use super::{Bench, Out, Past};
use crate::check::crosscheck::Beside;
use crate::check::reference::check;
use crate::check::{Limits, ReferenceLens, compare};
use crate::parsers::reading::{Eye, JobNumber, Lens};
use jiff::Timestamp;

impl Bench {
    /// Whether an instrument is in order at `now`; nothing where nothing was recalled yet, or
    /// verdicts are never held back.
    pub fn instrument_state(&self, instrument: &str, now: Timestamp) -> Option<State> {
        Some(self.standing.as_ref()?.state(instrument, self.setup.hold.as_ref()?, now))
    }

    pub(super) fn recall<P: Past>(&mut self, past: &mut P) -> Result<(), P::Error> {
        if self.standing.is_none() {
            let mut standing = Standing::new(self.setup.limits.drift(), self.limits_hash.clone());
            for numbered in past.checks()? {
                standing.take(&numbered);
            }
            self.standing = Some(standing);
        }
        Ok(())
    }

    pub(super) fn standing(&self) -> &Standing {
        self.standing.as_ref().expect("recalled at the start of every step")
    }

    /// Takes the entry just pushed into the standing, and pushes what the charts say of it.
    pub(super) fn take_standing(&mut self, out: &mut Out) {
        let (Some(standing), Some(last)) = (self.standing.as_mut(), out.entries.last()) else { return };
        for drift in standing.take(last) {
            out.push(Entry::Drift(Box::new(drift)));
        }
    }

    /// Puts the limits on record before the first entry that names them. The last thing in a step
    /// that may fail, since it remembers that it was done.
    pub(super) fn limits_in_force<P: Past>(&mut self, past: &mut P, out: &mut Out) -> Result<(), P::Error> {
        if !self.limits_on_record {
            if !past.was_in_force(&self.limits_hash)? {
                out.push(Entry::InForce(InForceEntry {
                    what: InForce::Limits,
                    name: self.setup.limits.name().to_owned(),
                    hash: self.limits_hash.clone(),
                    text: self.setup.limits.text().to_owned(),
                }));
            }
            self.limits_on_record = true;
        }
        Ok(())
    }

    pub(super) fn cross_check(&mut self, seq: Seq, manual: &ManualEntry, out: &mut Out) {
        if self.standing().lens(&manual.job).is_some() {
            return;
        }
        let Some(record) = self.jobs.get(&manual.job, out.next) else { return };
        let found = cross_checked(seq, manual, record, &self.setup.limits, &self.limits_hash);
        if let Some(entry) = found {
            out.push(Entry::CrossCheck(Box::new(entry)));
        }
    }

    pub(super) fn check(
        &mut self,
        seq: Seq,
        reading: &ReadingEntry,
        lens: &JobNumber,
        by: &str,
        out: &mut Out,
    ) {
        let Some((lens_entry, lens)) = self.standing().lens(lens) else { return };
        let found =
            checked(seq, reading, lens_entry, lens, by, &self.setup.limits, &self.limits_hash, out.time);
        out.push(Entry::InstrumentCheck(Box::new(found)));
        self.take_standing(out);
    }
}

/// What a manual reading comes to beside what the job's instruments have measured; nothing for
/// practice, and where the lens has not been measured.
pub fn cross_checked(
    seq: Seq,
    manual: &ManualEntry,
    record: &JobRecord,
    limits: &Limits,
    limits_hash: &TextHash,
) -> Option<CrossCheckEntry> {
    let eye = manual.eye.filter(|_| manual.purpose == Purpose::Production)?;
    let (lens, against) = record.measured(eye)?;
    let other = record.measured(if eye == Eye::Right { Eye::Left } else { Eye::Right });
    let beside = Beside {
        lens: &lens,
        other_eye: other.as_ref().map(|(lens, _)| lens),
        eye,
        ordered_addition: record.order().and_then(|order| order.lens_for(eye)).and_then(|lens| lens.addition),
    };
    let comparison = compare(&manual.lens, beside, limits);
    CrossCheckEntry::new((seq, manual), eye, against, comparison, limits_hash)
}

/// The note since which a reading, of an instrument or by hand, does not count, out of what concerns
/// it; nothing where it does.
pub fn voided_by(reading: Seq, history: &[Numbered]) -> Option<Seq> {
    history.iter().find_map(|numbered| match &numbered.entry {
        Entry::Note(note) if note.about == reading && note.says == Says::Void => Some(numbered.seq),
        _ => None,
    })
}

/// The two lenses that a cross-check compared, by hand and by instrument, out of the job's history.
pub fn compared(seq: Seq, check: &CrossCheckEntry, history: &[Numbered]) -> (Option<Lens>, Option<Lens>) {
    let before: Vec<&Numbered> = history.iter().filter(|numbered| numbered.seq < seq).collect();
    let manual = before.iter().find_map(|numbered| match &numbered.entry {
        Entry::Manual(manual) if numbered.seq == check.manual => Some(manual.lens.clone()),
        _ => None,
    });
    let record = JobRecord::from_history(check.job.clone(), before);
    (manual, record.measured(check.eye).map(|(lens, _)| lens))
}

/// What a manual reading can be held against without a cross-check, out of the history of its job
/// or lens: the certificate, or what an instrument measured, with the instrument's name.
pub fn known(manual: &ManualEntry, history: &[Numbered]) -> Option<(Option<String>, Lens)> {
    let certified = history.iter().rev().find_map(|numbered| match &numbered.entry {
        Entry::ReferenceLens(entry) => Some((None, entry.lens.lens())),
        _ => None,
    });
    certified.or_else(|| {
        let record = JobRecord::from_history(manual.job.clone(), history);
        record.measured(manual.eye?).map(|(lens, against)| (Some(against.instrument), lens))
    })
}

/// What a reading of a reference lens comes to.
#[expect(clippy::too_many_arguments, reason = "each is one of the things that a check rests on")]
pub fn checked(
    seq: Seq,
    reading: &ReadingEntry,
    lens_entry: Seq,
    lens: &ReferenceLens,
    by: &str,
    limits: &Limits,
    limits_hash: &TextHash,
    time: Timestamp,
) -> InstrumentCheckEntry {
    let today = time.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    let found = check(lens, &reading.reading, limits, today);
    InstrumentCheckEntry {
        instrument: reading.instrument.clone(),
        by: by.to_owned(),
        lens: lens.name.clone(),
        lens_entry,
        reading: seq,
        outcome: found.outcome,
        items: found.items,
        notes: found.notes,
        limits: limits_hash.clone(),
    }
}
