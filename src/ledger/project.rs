//! Projections: what is written beside the entries so that they can be found.
//!
//! Each entry holds for some terms (a job, an instrument, an outcome …); the tables say for each
//! term which entries those are. All of it follows from the entries alone, whatever batches they
//! came in.

use crate::bench::entry::{Entry, ReadingEntry, Says, Seq};
use crate::judge::verdict::ItemOutcome;
use crate::parsers::reading::JobNumber;
use rusqlite::{Connection, OptionalExtension, params};
use std::collections::{BTreeMap, HashMap};

/// What a term says of an entry. The numbers stand in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    /// The job that it concerns.
    Job = 1,
    /// The instrument that sent a frame.
    FramesOf = 2,
    /// The instrument that a reading came from, or the readings of a verdict.
    Instrument = 3,
    /// The person: who measured, as the instrument says, who read by hand, who wrote a note, entered an
    /// order, chose a job, signed, or whose account it is.
    Person = 4,
    /// How a verdict came out.
    Outcome = 5,
    /// A quantity that a verdict found out of its limit.
    OutOfLimit = 6,
    /// The hash of a text in force.
    InForce = 7,
    /// The number of the entry that a note, a check, a cross-check or a drift is about.
    About = 8,
    /// The kind, for all but frames, readings and verdicts, which their instrument and outcome find.
    Kind = 9,
    /// A sitting of manual readings: the person, a line feed, the sitting.
    Sitting = 10,
}

/// A sitting of a person as a term.
pub(super) fn sitting_term(by: &str, sitting: &str) -> String {
    format!("{by}\n{sitting}")
}

/// The jobs that an entry names.
pub(super) fn jobs_named(entry: &Entry) -> impl Iterator<Item = &JobNumber> {
    let (job, before) = match entry {
        Entry::Reading(reading) => (reading.job.as_ref(), None),
        Entry::Verdict(verdict) => (Some(&verdict.job), None),
        Entry::Order(order) => (Some(&order.order.job), None),
        Entry::Job(choice) => (choice.job.as_ref(), None),
        Entry::Note(note) => (note.job.as_ref(), note.job_before.as_ref()),
        Entry::Override(signed) => (Some(&signed.job), None),
        Entry::Manual(manual) => (Some(&manual.job), None),
        Entry::CrossCheck(check) => (Some(&check.job), None),
        Entry::ReferenceLens(entry) => (Some(&entry.lens.name), None),
        Entry::InstrumentCheck(check) => (Some(&check.lens), None),
        Entry::Drift(drift) => (Some(&drift.lens), None),
        _ => (None, None),
    };
    job.into_iter().chain(before)
}

/// The reading that an entry assigns to a job, and the job.
pub(super) fn assigned(entry: &Entry) -> Option<(Seq, &JobNumber)> {
    match entry {
        Entry::Note(note) if note.says == Says::Assign => note.job.as_ref().map(|job| (note.about, job)),
        _ => None,
    }
}

/// Names the terms that hold for one entry.
fn terms_of(entry: &Entry, mut term: impl FnMut(Field, &str)) {
    for job in jobs_named(entry) {
        term(Field::Job, job.as_str());
    }
    match entry {
        Entry::Frame(frame) => return term(Field::FramesOf, &frame.instrument),
        Entry::Reading(reading) => return origin_of(reading, term),
        Entry::Verdict(verdict) => {
            term(Field::Outcome, &verdict.outcome.to_string());
            let failed = verdict.items.iter().filter(|item| item.outcome == ItemOutcome::Fail);
            failed.for_each(|item| term(Field::OutOfLimit, &item.quantity.to_string()));
            return;
        }
        Entry::Note(note) => {
            term(Field::Person, &note.by);
            term(Field::About, &note.about.to_string());
        }
        Entry::Job(choice) if choice.by_hand => term(Field::Person, &choice.by),
        Entry::Order(order) => order.by.iter().for_each(|by| term(Field::Person, by)),
        Entry::Person(person) => person.name.iter().for_each(|name| term(Field::Person, name)),
        Entry::Override(signed) => {
            term(Field::Person, &signed.by);
            term(Field::About, &signed.about.to_string());
        }
        Entry::InForce(text) => term(Field::InForce, &text.hash.0),
        Entry::Manual(manual) => {
            term(Field::Person, &manual.by);
            term(Field::Sitting, &sitting_term(&manual.by, &manual.sitting));
        }
        Entry::CrossCheck(check) => {
            term(Field::Person, &check.by);
            term(Field::Instrument, &check.instrument);
            term(Field::About, &check.manual.to_string());
            check.readings.iter().for_each(|reading| term(Field::About, &reading.to_string()));
        }
        Entry::ReferenceLens(entry) => term(Field::Person, &entry.by),
        Entry::InstrumentCheck(check) => {
            term(Field::Person, &check.by);
            term(Field::Instrument, &check.instrument);
            term(Field::About, &check.reading.to_string());
        }
        Entry::Host(said) => term(Field::Instrument, &said.instrument),
        Entry::Gap(gap) => term(Field::Instrument, &gap.instrument),
        Entry::Drift(drift) => {
            term(Field::Instrument, &drift.instrument);
            term(Field::About, &drift.check.to_string());
        }
        _ => {}
    }
    term(Field::Kind, entry.kind());
}

/// Names the terms that a verdict takes over from its readings.
fn origin_of(reading: &ReadingEntry, mut term: impl FnMut(Field, &str)) {
    term(Field::Instrument, &reading.instrument);
    if let Some(operator) = &reading.reading.operator {
        term(Field::Person, operator);
    }
}

/// How many terms' ids are kept at hand.
const TERMS_AT_HAND: usize = 65_536;
/// How many readings' origins are kept at hand.
const READINGS_AT_HAND: usize = 8_192;

type TermId = i64;

/// Gathers what entries hold for, and writes it in one go.
#[derive(Debug, Default)]
pub(super) struct Projector {
    /// The id of the last term in the tables or in `new_terms`; read when first needed.
    last_id: Option<TermId>,
    ids: HashMap<Field, HashMap<String, TermId>>,
    origins: HashMap<u64, Vec<TermId>>,
    new_terms: Vec<(TermId, Field, String)>,
    last_of: HashMap<TermId, u64>,
    postings: Vec<(TermId, u64)>,
    days: BTreeMap<String, (u64, u64)>,
}

impl Projector {
    /// Takes in an entry. Nothing is written yet. `source` has the entries before it, `tables`
    /// the projections.
    pub fn add(
        &mut self,
        source: &Connection,
        tables: &Connection,
        seq: u64,
        entry: &Entry,
    ) -> rusqlite::Result<()> {
        let mut named = Vec::new();
        terms_of(entry, |field, value| named.push((field, value.to_owned())));
        let mut origin = Vec::new();
        for (field, value) in named {
            let id = self.id(tables, field, value)?;
            self.post(id, seq);
            if field != Field::Job {
                origin.push(id);
            }
        }
        match entry {
            Entry::Reading(_) => self.keep_origin(seq, origin),
            Entry::Verdict(verdict) => {
                // What comes later is not known when this is written, so it does not count in a rebuild.
                let readings = verdict.basis.iter().flat_map(|basis| &basis.readings);
                for reading in readings.filter(|reading| **reading < seq) {
                    for id in self.origin(source, tables, *reading)? {
                        self.post(id, seq);
                    }
                }
            }
            _ => {}
        }
        if let Some((reading, job)) = assigned(entry) {
            // From here on the reading concerns that job too.
            let job = self.id(tables, Field::Job, job.to_string())?;
            self.post(job, reading.0);
        }
        Ok(())
    }

    /// Takes in when an entry was made, also of one that cannot be read. `time` as in the ledger.
    pub fn add_time(&mut self, seq: u64, time: &str) {
        let day = day_of(time);
        match self.days.get_mut(day) {
            Some((_, last)) => *last = seq,
            None => {
                self.days.insert(day.to_owned(), (seq, seq));
            }
        }
    }

    fn post(&mut self, term: TermId, seq: u64) {
        self.postings.push((term, seq));
        let last = self.last_of.entry(term).or_default();
        *last = seq.max(*last);
    }

    fn id(&mut self, tables: &Connection, field: Field, value: String) -> rusqlite::Result<TermId> {
        if let Some(id) = self.ids.get(&field).and_then(|ids| ids.get(&value)) {
            return Ok(*id);
        }
        let last = match self.last_id {
            Some(last) => last,
            None => tables.query_row("SELECT coalesce(max(id), 0) FROM terms", [], |row| row.get(0))?,
        };
        self.last_id = Some(last);
        let known = tables
            .prepare_cached("SELECT id FROM terms WHERE field = ?1 AND value = ?2")?
            .query_row(params![field as i64, value], |row| row.get(0))
            .optional()?;
        let id = known.unwrap_or_else(|| {
            self.last_id = Some(last + 1);
            self.new_terms.push((last + 1, field, value.clone()));
            last + 1
        });
        self.ids.entry(field).or_default().insert(value, id);
        Ok(id)
    }

    fn keep_origin(&mut self, seq: u64, origin: Vec<TermId>) {
        if self.origins.len() >= READINGS_AT_HAND {
            self.origins.clear();
        }
        self.origins.insert(seq, origin);
    }

    /// The instrument and person of the reading `seq`; nothing where that is no reading.
    fn origin(
        &mut self,
        source: &Connection,
        tables: &Connection,
        seq: u64,
    ) -> rusqlite::Result<Vec<TermId>> {
        if let Some(origin) = self.origins.get(&seq) {
            return Ok(origin.clone());
        }
        let payload: Option<String> = source
            .prepare_cached("SELECT payload FROM entries WHERE seq = ?1 AND kind = 'reading'")?
            .query_row([as_sql(seq)], |row| row.get(0))
            .optional()?;
        let mut named = Vec::new();
        if let Some(Ok(reading)) = payload.map(|payload| serde_json::from_str(&payload)) {
            origin_of(&reading, |field, value| named.push((field, value.to_owned())));
        }
        let origin = named
            .into_iter()
            .map(|(field, value)| self.id(tables, field, value))
            .collect::<rusqlite::Result<Vec<_>>>()?;
        self.keep_origin(seq, origin.clone());
        Ok(origin)
    }

    /// Writes what was taken in.
    pub fn write(&mut self, tables: &Connection) -> rusqlite::Result<()> {
        let mut term =
            tables.prepare_cached("INSERT INTO terms (id, field, value, last) VALUES (?1, ?2, ?3, ?4)")?;
        for (id, field, value) in self.new_terms.drain(..) {
            let last = self.last_of.remove(&id).unwrap_or_default();
            term.execute(params![id, field as i64, value, as_sql(last)])?;
        }
        let mut last = tables.prepare_cached("UPDATE terms SET last = max(last, ?2) WHERE id = ?1")?;
        for (id, seq) in self.last_of.drain() {
            last.execute(params![id, as_sql(seq)])?;
        }
        // In the table's order: neighbours land on the same page.
        self.postings.sort_unstable();
        self.postings.dedup();
        let mut posting =
            tables.prepare_cached("INSERT OR IGNORE INTO postings (term, seq) VALUES (?1, ?2)")?;
        for (id, seq) in self.postings.drain(..) {
            posting.execute(params![id, as_sql(seq)])?;
        }
        let mut day = tables.prepare_cached(
            "INSERT INTO days (day, first, last) VALUES (?1, ?2, ?3) ON CONFLICT (day) DO UPDATE SET last = excluded.last",
        )?;
        while let Some((name, (first, last))) = self.days.pop_first() {
            day.execute(params![name, as_sql(first), as_sql(last)])?;
        }
        if self.ids.values().map(HashMap::len).sum::<usize>() > TERMS_AT_HAND {
            self.ids.clear();
        }
        Ok(())
    }
}

/// SQLite's integers have a sign; no ledger reaches the number where that matters.
pub(super) fn as_sql(seq: u64) -> i64 {
    i64::try_from(seq).unwrap_or(i64::MAX)
}

/// The day of a time as the ledger writes it.
pub(super) fn day_of(time: &str) -> &str {
    time.get(..10).unwrap_or(time)
}
