//! How instruments stand: the register of reference lenses, each instrument's latest checks, and
//! whether verdicts on its readings are held back.
//!
//! A check does not count any more once its reading is void, or was assigned away from the lens. But
//! nobody gets rid of a bad one so: where that was void, only a new check lets verdicts through.

use super::checks::{DriftEntry, InstrumentCheckEntry, ReferenceLensEntry, side_name};
use super::drift::Charts;
use super::entry::{Entry, NoteEntry, Numbered, Says, Seq, TextHash};
use crate::check::limits::DriftTerms;
use crate::check::reference::{CheckOutcome, ReferenceLens};
use crate::judge::verdict::{Hold, Quantity, Verdict};
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// The latest check of an instrument with one lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LastCheck {
    /// Its entry.
    pub seq: Seq,
    /// When.
    pub time: Timestamp,
    /// What it came to.
    pub outcome: CheckOutcome,
    /// It was bad and is void: it has to be made again.
    pub again: bool,
}

/// Whether an instrument is in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Its checks are good and in date.
    InOrder,
    /// They are not, and why.
    NotInOrder(String),
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            State::InOrder => f.write_str("in order"),
            State::NotInOrder(why) => write!(f, "not in order: {why}"),
        }
    }
}

/// Whether a note takes back the check with `lens` that its reading was.
pub fn takes_back(note: &NoteEntry, lens: &JobNumber) -> bool {
    match note.says {
        Says::Void => true,
        Says::Assign => note.job_before.as_ref() == Some(lens) && note.job.as_ref() != Some(lens),
        Says::Remark => false,
    }
}

/// Reference lenses and checks without the notes on them, and without the checks that these take
/// back.
pub fn that_count(mut entries: Vec<Numbered>) -> Vec<Numbered> {
    let notes: Vec<(Seq, NoteEntry)> = entries
        .iter()
        .filter_map(|numbered| match &numbered.entry {
            Entry::Note(note) => Some((numbered.seq, note.clone())),
            _ => None,
        })
        .collect();
    entries.retain(|numbered| match &numbered.entry {
        Entry::Note(_) => false,
        Entry::InstrumentCheck(check) => !notes.iter().any(|(seq, note)| {
            *seq > numbered.seq && note.about == check.reading && takes_back(note, &check.lens)
        }),
        _ => true,
    });
    entries
}

/// What is known of reference lenses and of instruments' checks. Folds from the entries.
#[derive(Debug, Clone)]
pub struct Standing {
    terms: DriftTerms,
    limits: TextHash,
    lenses: BTreeMap<JobNumber, (Seq, ReferenceLensEntry)>,
    checks: BTreeMap<String, BTreeMap<JobNumber, LastCheck>>,
    /// Every check that counts, by instrument and lens, in their order.
    counting: BTreeMap<(String, JobNumber), Vec<(LastCheck, InstrumentCheckEntry)>>,
    /// Which check was taken with a reading.
    by_reading: BTreeMap<Seq, (String, JobNumber)>,
    charts: BTreeMap<(String, JobNumber, Quantity), Charts>,
}

impl Standing {
    /// Nothing known yet. Charts are drawn by `terms`, which stand in the limits with this hash.
    pub fn new(terms: DriftTerms, limits: TextHash) -> Self {
        Self {
            terms,
            limits,
            lenses: BTreeMap::new(),
            checks: BTreeMap::new(),
            counting: BTreeMap::new(),
            by_reading: BTreeMap::new(),
            charts: BTreeMap::new(),
        }
    }

    /// Takes in an entry, and gives what the charts say of it. Entries of other kinds do no harm.
    pub fn take(&mut self, numbered: &Numbered) -> Vec<DriftEntry> {
        match &numbered.entry {
            Entry::ReferenceLens(lens) => {
                self.lenses.insert(lens.lens.name.clone(), (numbered.seq, (**lens).clone()));
                Vec::new()
            }
            Entry::InstrumentCheck(check) => {
                let (seq, time) = (numbered.seq, numbered.time);
                let last = LastCheck { seq, time, outcome: check.outcome, again: false };
                let of_instrument = self.checks.entry(check.instrument.clone()).or_default();
                of_instrument.insert(check.lens.clone(), last);
                let key = (check.instrument.clone(), check.lens.clone());
                self.by_reading.insert(check.reading, key.clone());
                self.counting.entry(key).or_default().push((last, (**check).clone()));
                self.charted(numbered.seq, check)
            }
            Entry::Note(note) => {
                self.take_back(note);
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    /// Leaves a check out whose reading does not count any more. What the charts said of it stays
    /// said; from here on they are as if it had never been.
    fn take_back(&mut self, note: &NoteEntry) {
        let Some(key) = self.by_reading.get(&note.about).filter(|key| takes_back(note, &key.1)).cloned()
        else {
            return;
        };
        self.by_reading.remove(&note.about);
        let counting = self.counting.entry(key.clone()).or_default();
        counting.retain(|(_, check)| check.reading != note.about);
        let (instrument, lens) = key.clone();
        if let Some(checks) = self.checks.get_mut(&instrument) {
            let newest = checks.get(&lens).copied();
            let left = counting.last().map(|(last, _)| *last);
            let again = newest
                .filter(|last| left.is_none_or(|left| left.seq != last.seq))
                .filter(|last| last.again || (last.outcome == CheckOutcome::Bad && note.says == Says::Void))
                .map(|last| LastCheck { again: true, ..last });
            match again.or(left) {
                Some(last) => checks.insert(lens.clone(), last),
                None => checks.remove(&lens),
            };
            if checks.is_empty() {
                self.checks.remove(&instrument);
            }
        }
        self.charts.retain(|(of, with, _), _| *of != instrument || *with != lens);
        // Taken out for the while: the charts are the rest of the same structure.
        let counting = self.counting.remove(&key).unwrap_or_default();
        for (last, check) in &counting {
            self.charted(last.seq, check);
        }
        if !counting.is_empty() {
            self.counting.insert(key, counting);
        }
    }

    fn charted(&mut self, seq: Seq, check: &InstrumentCheckEntry) -> Vec<DriftEntry> {
        let mut fired = Vec::new();
        for item in &check.items {
            let key = (check.instrument.clone(), check.lens.clone(), item.quantity);
            let charts = self.charts.entry(key).or_insert_with(|| Charts::new(self.terms));
            let (Some(point), Some(baseline)) = (charts.push(seq, check.outcome, item), charts.baseline())
            else {
                continue;
            };
            for (chart, signal) in point.signals().filter(|(_, signal)| !signal.continues) {
                fired.push(DriftEntry {
                    instrument: check.instrument.clone(),
                    lens: check.lens.clone(),
                    quantity: item.quantity,
                    chart,
                    rule: Cow::Borrowed(signal.rule),
                    source: Cow::Borrowed(signal.source),
                    side: Cow::Borrowed(side_name(signal.side)),
                    check: seq,
                    since: charts.check_at(signal.since).unwrap_or(seq),
                    deviation: item.deviation.unwrap_or_default(),
                    centre: baseline.centre,
                    sigma: baseline.sigma,
                    unit: item.unit.clone(),
                    limits: self.limits.clone(),
                });
            }
        }
        fired
    }

    /// A reference lens as it stands, with the entry that holds it.
    pub fn lens(&self, name: &JobNumber) -> Option<(Seq, &ReferenceLens)> {
        self.lenses.get(name).map(|(seq, entry)| (*seq, &entry.lens))
    }

    /// Every reference lens as it stands, by name.
    pub fn lenses(&self) -> impl Iterator<Item = (Seq, &ReferenceLensEntry)> {
        self.lenses.values().map(|(seq, entry)| (*seq, entry))
    }

    /// How many revisions a reference lens has had; 0 where it is not known.
    pub fn revision(&self, name: &JobNumber) -> u32 {
        self.lenses.get(name).map_or(0, |(_, entry)| entry.revision)
    }

    /// The instruments `named`, in their order, then others that were ever checked: each with its latest
    /// checks, of which there may be none.
    pub fn instruments<'s>(
        &'s self,
        named: &[&'s str],
    ) -> Vec<(&'s str, Vec<(&'s JobNumber, &'s LastCheck)>)> {
        let others = self.checks.keys().map(String::as_str).filter(|name| !named.contains(name));
        let checks = |name: &str| self.checks.get(name).into_iter().flatten().collect();
        named.iter().copied().chain(others).map(|name| (name, checks(name))).collect()
    }

    /// The charts of every instrument, lens and quantity.
    pub fn charts(&self) -> impl Iterator<Item = (&(String, JobNumber, Quantity), &Charts)> {
        self.charts.iter()
    }

    /// Whether an instrument is in order at `time`. Where `hold` names lenses, each of them must be
    /// good and in date; else one must be, and no lens's latest check may be bad.
    pub fn state(&self, instrument: &str, hold: &Hold, time: Timestamp) -> State {
        let not = |why: String| State::NotInOrder(format!("{instrument}: {why}"));
        let none = BTreeMap::new();
        let checks = self.checks.get(instrument).unwrap_or(&none);
        // To the microsecond, as the record keeps times: the same answer comes out of it later.
        let oldest = time.as_microsecond() - i64::from(hold.every_hours) * 3_600_000_000;
        let in_date = |last: &LastCheck| last.time.as_microsecond() >= oldest;
        let wrong = |lens: &JobNumber, last: &LastCheck| {
            if last.again {
                Some(format!(
                    "the bad check with {lens} (entry {}) is void: it has to be made again",
                    last.seq
                ))
            } else if last.outcome != CheckOutcome::Good {
                Some(format!("the check with {lens} is {} (entry {})", last.outcome, last.seq))
            } else if !in_date(last) {
                Some(format!(
                    "the check with {lens} is older than {} hours (entry {})",
                    hold.every_hours, last.seq
                ))
            } else {
                None
            }
        };
        if hold.lenses.is_empty() {
            if let Some((lens, last)) = checks.iter().find(|(_, last)| last.outcome == CheckOutcome::Bad) {
                return not(wrong(lens, last).unwrap_or_default());
            }
            let mut latest: Vec<_> = checks.iter().collect();
            latest.sort_by_key(|(_, last)| std::cmp::Reverse(last.seq));
            return match latest.first() {
                None => not("it was never checked with a reference lens".to_owned()),
                Some(_) if latest.iter().any(|(lens, last)| wrong(lens, last).is_none()) => State::InOrder,
                Some((lens, last)) => not(wrong(lens, last).unwrap_or_default()),
            };
        }
        for lens in &hold.lenses {
            match checks.get(lens) {
                None => return not(format!("it was never checked with {lens}")),
                Some(last) => {
                    if let Some(why) = wrong(lens, last) {
                        return not(why);
                    }
                }
            }
        }
        State::InOrder
    }

    /// Names in a verdict's basis the checks in force of the instruments that it rests on, and holds
    /// it back where the station says so and one of them is not in order.
    pub fn link(
        &self,
        verdict: &mut Verdict,
        instruments: &BTreeSet<&str>,
        hold: Option<&Hold>,
        time: Timestamp,
    ) {
        let Some(basis) = verdict.basis.as_mut() else { return };
        let checks = instruments.iter().filter_map(|instrument| self.checks.get(*instrument));
        basis.checks = checks
            .flat_map(|checks| checks.values())
            .filter(|last| !last.again)
            .map(|last| last.seq.0)
            .collect();
        basis.checks.sort_unstable();
        basis.hold = hold.cloned();
        verdict.held = hold.and_then(|hold| {
            instruments.iter().find_map(|instrument| match self.state(instrument, hold, time) {
                State::InOrder => None,
                State::NotInOrder(why) => Some(why),
            })
        });
    }
}
