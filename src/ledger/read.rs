//! Reading, while the writer runs, also from other processes and from copies.

use super::chain::{Hash, Head};
use super::error::{At, LedgerError};
use super::file;
use super::project::{Field, as_sql, assigned, jobs_named, sitting_term};
use super::store::head_of;
use crate::bench::checking::voided_by;
use crate::bench::entry::{
    CheckpointEntry, Entry, InForceEntry, NotAnEntry, NoteEntry, Numbered, OrderEntry, Seq,
};
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Params, params};
use std::collections::BTreeSet;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// An entry as it stands in the file, whatever is in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    /// Its number.
    pub seq: Seq,
    /// Its time, RFC 3339.
    pub time: String,
    /// Its kind.
    pub kind: String,
    /// Its payload, JSON.
    pub payload: String,
    /// The hash of the entry before.
    pub prev: Hash,
    /// Its hash.
    pub hash: Hash,
}

impl Stored {
    /// The entry, read.
    ///
    /// # Errors
    /// When the time, kind or payload is not one that this version knows.
    pub fn numbered(&self) -> Result<Numbered, NotAnEntry> {
        let time: Timestamp = self.time.parse().map_err(|why: jiff::Error| NotAnEntry::Payload {
            kind: self.kind.clone(),
            why: why.to_string(),
        })?;
        Ok(Numbered { seq: self.seq, time, entry: Entry::from_payload(&self.kind, &self.payload)? })
    }
}

/// The statements of this file, named so that a test can look at how SQLite goes about them.
pub(super) mod sql {
    pub const ENTRY: &str = "SELECT seq, time, kind, payload, prev, hash FROM entries WHERE seq = ?1";
    pub const RANGE: &str = "SELECT seq, time, kind, payload, prev, hash FROM entries
        WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq LIMIT 256";
    pub const OF_TERM: &str = "SELECT e.seq, e.time, e.kind, e.payload, e.prev, e.hash
        FROM terms t JOIN postings p ON p.term = t.id JOIN entries e ON e.seq = p.seq
        WHERE t.field = ?1 AND t.value = ?2 AND p.seq BETWEEN ?3 AND ?4 ORDER BY p.seq LIMIT ?5";
    pub const NOTES_ON: &str = "SELECT e.seq, e.time, e.kind, e.payload, e.prev, e.hash
        FROM terms t JOIN postings p ON p.term = t.id JOIN entries e ON e.seq = p.seq
        WHERE t.field = ?1 AND t.value = ?2 AND e.kind = 'note' ORDER BY p.seq";
    pub const LATEST_OF_KIND: &str = "SELECT e.seq, e.time, e.kind, e.payload, e.prev, e.hash
        FROM terms t JOIN postings p ON p.term = t.id JOIN entries e ON e.seq = p.seq
        WHERE t.field = 9 AND t.value = ?1 ORDER BY p.seq DESC LIMIT ?2";
    pub const LATEST_ORDER: &str = "SELECT e.seq, e.time, e.kind, e.payload, e.prev, e.hash
        FROM terms t JOIN postings p ON p.term = t.id JOIN entries e ON e.seq = p.seq
        WHERE t.field = 1 AND t.value = ?1 AND e.kind = 'order' ORDER BY p.seq DESC LIMIT 1";
    pub const VALUES: &str = "SELECT value FROM terms
        WHERE field = ?1 AND value >= ?2 AND value <= ?2 || char(0x10FFFF) ORDER BY value LIMIT ?3";
}

/// A connection that only reads. Open one for each thread.
#[derive(Debug)]
pub struct Reader {
    pub(super) path: PathBuf,
    pub(super) conn: Connection,
}

impl Reader {
    /// Opens the ledger at `path` for reading.
    ///
    /// # Errors
    /// When there is none, when it is not a ledger or one of a later version, or when it cannot
    /// be read.
    pub fn open(path: impl AsRef<Path>) -> Result<Reader, LedgerError> {
        let path = path.as_ref();
        Ok(Reader { path: path.to_owned(), conn: file::for_reading(path)? })
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The last entry's number and hash, at this moment.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn head(&self) -> Result<Head, LedgerError> {
        head_of(&self.conn).at(&self.path)
    }

    /// What a checkpoint entry written at this moment says.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn checkpoint(&self) -> Result<CheckpointEntry, LedgerError> {
        Ok(self.head()?.checkpoint())
    }

    /// One entry, if there is one of that number.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn entry(&self, seq: Seq) -> Result<Option<Numbered>, LedgerError> {
        self.stored_entry(seq)?.map(|stored| self.read(&stored)).transpose()
    }

    /// One entry as it stands in the file, if there is one of that number.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn stored_entry(&self, seq: Seq) -> Result<Option<Stored>, LedgerError> {
        Ok(self.fetch(sql::ENTRY, [as_sql(seq.0)])?.pop())
    }

    /// The entries of a range in their order, read as they are asked for.
    pub fn entries(&self, range: RangeInclusive<Seq>) -> impl Iterator<Item = Result<Numbered, LedgerError>> {
        self.stored(range).map(|stored| self.read(&stored?))
    }

    /// The entries of a range as they stand in the file, read as they are asked for.
    pub fn stored(&self, range: RangeInclusive<Seq>) -> impl Iterator<Item = Result<Stored, LedgerError>> {
        StoredRange {
            reader: self,
            next: as_sql(range.start().0),
            end: as_sql(range.end().0),
            block: Vec::new().into_iter(),
        }
    }

    /// All entries that concern a job, in their order.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn job_history(&self, job: &JobNumber) -> Result<Vec<Numbered>, LedgerError> {
        self.of_term(Field::Job, job.as_str(), Seq(0)..=Seq(u64::MAX), usize::MAX)
    }

    /// The order of a job as it stands, if it has one.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn latest_order(&self, job: &JobNumber) -> Result<Option<(Seq, OrderEntry)>, LedgerError> {
        let latest = self.fetch(sql::LATEST_ORDER, [job.as_str()])?.pop();
        Ok(match latest.map(|stored| self.read(&stored)).transpose()? {
            Some(Numbered { seq, entry: Entry::Order(order), .. }) => Some((seq, *order)),
            _ => None,
        })
    }

    /// The settings, layout or rule set of this hash, if it was ever in force.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn in_force(&self, hash: &str) -> Result<Option<InForceEntry>, LedgerError> {
        let found = self.of_term(Field::InForce, hash, Seq(0)..=Seq(u64::MAX), 1)?.pop();
        Ok(match found.map(|numbered| numbered.entry) {
            Some(Entry::InForce(text)) => Some(text),
            _ => None,
        })
    }

    /// Frames of an instrument within a range, at most `limit`, in their order.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn frames_of(
        &self,
        instrument: &str,
        range: RangeInclusive<Seq>,
        limit: usize,
    ) -> Result<Vec<Numbered>, LedgerError> {
        self.of_term(Field::FramesOf, instrument, range, limit)
    }

    /// Entries of a kind within a range, at most `limit`, in their order. For frames, readings
    /// and verdicts there is no such list: see [`frames_of`](Reader::frames_of) and
    /// [`search`](Reader::search).
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn of_kind(
        &self,
        kind: &str,
        range: RangeInclusive<Seq>,
        limit: usize,
    ) -> Result<Vec<Numbered>, LedgerError> {
        self.of_term(Field::Kind, kind, range, limit)
    }

    /// The latest entries of a kind, at most `limit`, newest first. The same kinds are listed as by
    /// [`of_kind`](Reader::of_kind).
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn latest_of_kind(&self, kind: &str, limit: usize) -> Result<Vec<Numbered>, LedgerError> {
        let stored = self.fetch(sql::LATEST_OF_KIND, params![kind, as_limit(limit)])?;
        stored.iter().map(|stored| self.read(stored)).collect()
    }

    /// What notes say of an entry, in their order.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn notes_on(&self, seq: Seq) -> Result<Vec<NoteEntry>, LedgerError> {
        // Most entries have none: one look into the dictionary says so.
        if self.term_id(Field::About, &seq.to_string())?.is_none() {
            return Ok(Vec::new());
        }
        let note = |numbered: Numbered| match numbered.entry {
            Entry::Note(note) => Some(note),
            _ => None,
        };
        Ok(self.said_of(seq)?.into_iter().filter_map(note).collect())
    }

    fn said_of(&self, seq: Seq) -> Result<Vec<Numbered>, LedgerError> {
        let stored = self.fetch(sql::NOTES_ON, params![Field::About as i64, seq.to_string()])?;
        stored.iter().map(|stored| self.read(stored)).collect()
    }

    /// The note since which a reading, of an instrument or by hand, does not count; nothing where it does.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn voided_by(&self, seq: Seq) -> Result<Option<Seq>, LedgerError> {
        Ok(voided_by(seq, &self.said_of(seq)?))
    }

    /// Every reference lens and instrument check up to `last`, and what notes say of the checks'
    /// readings, whenever they do; in their order.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn reference_and_checks(&self, last: Seq) -> Result<Vec<Numbered>, LedgerError> {
        let checks = self.of_kind("instrument-check", Seq(0)..=last, usize::MAX)?;
        let mut found = self.of_kind("reference-lens", Seq(0)..=last, usize::MAX)?;
        let readings: BTreeSet<Seq> = checks
            .iter()
            .filter_map(|numbered| match &numbered.entry {
                Entry::InstrumentCheck(check) => Some(check.reading),
                _ => None,
            })
            .collect();
        for reading in readings {
            found.extend(self.said_of(reading)?);
        }
        found.extend(checks);
        found.sort_by_key(|numbered| numbered.seq);
        Ok(found)
    }

    /// Whether this is the sitting's first reading by this person: none that counts is on record.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn is_first_of_sitting(&self, by: &str, sitting: &str) -> Result<bool, LedgerError> {
        let term = sitting_term(by, sitting);
        // One by one: as a rule the first counts, and a sitting may be long.
        let mut from = Seq(0);
        while let Some(next) = self.of_term(Field::Sitting, &term, from..=Seq(u64::MAX), 1)?.first() {
            if self.voided_by(next.seq)?.is_none() {
                return Ok(false);
            }
            from = next.seq.next();
        }
        Ok(true)
    }

    /// What was derived from an entry or said about it: the reading of a frame, the verdicts that
    /// used a reading or an order, and notes, of a cross-check also those on its manual reading; in
    /// their order.
    ///
    /// # Errors
    /// When one cannot be read.
    pub fn what_refers_to(&self, seq: Seq) -> Result<Vec<Numbered>, LedgerError> {
        let after = seq.next()..=Seq(u64::MAX);
        let mut found = self.of_term(Field::About, &seq.to_string(), after.clone(), usize::MAX)?;
        match self.entry(seq)?.map(|numbered| numbered.entry) {
            // The reading of a frame is written with it.
            Some(Entry::Frame(_)) => {
                let next = self.entry(seq.next())?;
                found.extend(
                    next.filter(
                        |next| matches!(&next.entry, Entry::Reading(reading) if reading.frame == seq),
                    ),
                );
            }
            Some(Entry::Reading(_) | Entry::Order(_)) => {
                for job in self.jobs_of(seq)? {
                    let history = self.of_term(Field::Job, job.as_str(), after.clone(), usize::MAX)?;
                    found.extend(history.into_iter().filter(|numbered| uses(numbered, seq)));
                }
            }
            // What is said of the reading by hand is said of what it was compared with.
            Some(Entry::CrossCheck(check)) => {
                let said = self.said_of(check.manual)?;
                found.extend(said.into_iter().filter(|note| note.seq > seq));
            }
            _ => {}
        }
        found.sort_by_key(|numbered| numbered.seq);
        found.dedup_by_key(|numbered| numbered.seq);
        Ok(found)
    }

    /// Which jobs an entry concerns: those it names, and those that notes assigned it to.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn jobs_of(&self, seq: Seq) -> Result<Vec<JobNumber>, LedgerError> {
        self.entry(seq)?.map_or_else(|| Ok(Vec::new()), |numbered| self.jobs_of_entry(&numbered))
    }

    pub(super) fn jobs_of_entry(&self, numbered: &Numbered) -> Result<Vec<JobNumber>, LedgerError> {
        let mut jobs: Vec<JobNumber> = jobs_named(&numbered.entry).cloned().collect();
        let about = numbered.seq.to_string();
        let notes = self.of_term(Field::About, &about, Seq(0)..=Seq(u64::MAX), usize::MAX)?;
        jobs.extend(notes.iter().filter_map(|note| assigned(&note.entry).map(|(_, job)| job.clone())));
        jobs.sort();
        jobs.dedup();
        Ok(jobs)
    }

    /// Job numbers that begin so, in their order, at most `limit`.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn jobs(&self, prefix: &str, limit: usize) -> Result<Vec<JobNumber>, LedgerError> {
        let values = self.values(Field::Job, prefix, limit)?;
        Ok(values.into_iter().filter_map(|job| job.parse().ok()).collect())
    }

    /// What a field of the search holds, among those that begin so: instruments, persons …
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn values(&self, field: Field, prefix: &str, limit: usize) -> Result<Vec<String>, LedgerError> {
        let list = || {
            self.conn
                .prepare_cached(sql::VALUES)?
                .query_map(params![field as i64, prefix, as_limit(limit)], |row| row.get(0))?
                .collect::<rusqlite::Result<_>>()
        };
        list().at(&self.path)
    }

    fn of_term(
        &self,
        field: Field,
        value: &str,
        range: RangeInclusive<Seq>,
        limit: usize,
    ) -> Result<Vec<Numbered>, LedgerError> {
        let (from, to) = (as_sql(range.start().0), as_sql(range.end().0));
        let stored = self.fetch(sql::OF_TERM, params![field as i64, value, from, to, as_limit(limit)])?;
        stored.iter().map(|stored| self.read(stored)).collect()
    }

    fn read(&self, stored: &Stored) -> Result<Numbered, LedgerError> {
        stored.numbered().map_err(|why| LedgerError::Entry { path: self.path.clone(), seq: stored.seq, why })
    }

    fn fetch(&self, sql: &str, params: impl Params) -> Result<Vec<Stored>, LedgerError> {
        let fetch = || {
            self.conn
                .prepare_cached(sql)?
                .query_map(params, |row| {
                    Ok(Stored {
                        seq: Seq(row.get::<_, i64>(0)?.max(0).unsigned_abs()),
                        time: row.get(1)?,
                        kind: row.get(2)?,
                        payload: row.get(3)?,
                        prev: Hash(row.get(4)?),
                        hash: Hash(row.get(5)?),
                    })
                })?
                .collect::<rusqlite::Result<_>>()
        };
        fetch().at(&self.path)
    }

    pub(super) fn term_id(&self, field: Field, value: &str) -> Result<Option<i64>, LedgerError> {
        let find = || {
            self.conn
                .prepare_cached("SELECT id FROM terms WHERE field = ?1 AND value = ?2")?
                .query_row(params![field as i64, value], |row| row.get(0))
                .optional()
        };
        find().at(&self.path)
    }
}

/// Whether an entry is a verdict that used the order or reading `seq`.
fn uses(numbered: &Numbered, seq: Seq) -> bool {
    match &numbered.entry {
        Entry::Verdict(verdict) => verdict
            .basis
            .as_ref()
            .is_some_and(|basis| basis.order == seq.0 || basis.readings.contains(&seq.0)),
        _ => false,
    }
}

fn as_limit(limit: usize) -> i64 {
    i64::try_from(limit).unwrap_or(i64::MAX)
}

struct StoredRange<'r> {
    reader: &'r Reader,
    next: i64,
    end: i64,
    block: std::vec::IntoIter<Stored>,
}

impl Iterator for StoredRange<'_> {
    type Item = Result<Stored, LedgerError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.block.len() == 0 && self.next <= self.end {
            match self.reader.fetch(sql::RANGE, [self.next, self.end]) {
                Ok(block) => {
                    self.next = block.last().map_or(i64::MAX, |last| as_sql(last.seq.0).saturating_add(1));
                    self.block = block.into_iter();
                }
                Err(why) => {
                    self.next = i64::MAX;
                    self.end = i64::MIN;
                    return Some(Err(why));
                }
            }
        }
        self.block.next().map(Ok)
    }
}
