//! The one writer.

use super::chain::{Hash, Head, link};
use super::error::{At, LedgerError};
use super::file::{self, Lock};
use super::project::{Projector, as_sql};
use crate::bench::entry::{Entry, Numbered, Seq};
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use std::path::{Path, PathBuf};

/// A ledger open for writing: there is one in all processes for each file.
#[derive(Debug)]
pub struct Ledger {
    pub(super) path: PathBuf,
    pub(super) conn: Connection,
    pub(super) projector: Projector,
    head: Head,
    _lock: Lock,
}

impl Ledger {
    /// Opens the ledger at `path`, or makes a new one where there is none.
    ///
    /// # Errors
    /// When another process writes to it, when the file is not a ledger or one of a later version
    /// (it is left as it is), or when it cannot be read or written.
    pub fn open(path: impl AsRef<Path>) -> Result<Ledger, LedgerError> {
        let path = path.as_ref();
        file::look_at(path)?;
        let lock = file::lock(path)?;
        let conn = file::for_writing(path)?;
        let head = head_of(&conn).at(path)?;
        Ok(Ledger { path: path.to_owned(), conn, projector: Projector::default(), head, _lock: lock })
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The last entry's number and hash.
    pub fn head(&self) -> Head {
        self.head
    }

    /// Adds entries, all or none of them, and returns when they are on disk. Times are kept to the
    /// microsecond.
    ///
    /// # Errors
    /// When they do not follow the last entry, or cannot be written. Nothing is added then, and
    /// the same entries can be handed in again.
    pub fn append(&mut self, entries: &[Numbered]) -> Result<Head, LedgerError> {
        let mut expected = self.head.seq;
        for numbered in entries {
            if numbered.seq != expected.next() {
                return Err(LedgerError::Numbering {
                    path: self.path.clone(),
                    head: expected,
                    found: numbered.seq,
                });
            }
            expected = numbered.seq;
        }
        if entries.is_empty() {
            return Ok(self.head);
        }
        match write(&mut self.conn, &mut self.projector, self.head, entries) {
            Ok(head) => {
                self.head = head;
                Ok(head)
            }
            Err(why) => {
                // It may hold terms that were not written.
                self.projector = Projector::default();
                Err(LedgerError::from_sqlite(&self.path, why))
            }
        }
    }

    /// Drops the projections and makes them again from the entries, in one transaction.
    ///
    /// # Errors
    /// When that cannot be written; then they are as they were.
    pub fn rebuild(&mut self) -> Result<(), LedgerError> {
        self.projector = Projector::default();
        rebuild(&mut self.conn).at(&self.path)
    }
}

fn write(
    conn: &mut Connection,
    projector: &mut Projector,
    mut head: Head,
    entries: &[Numbered],
) -> rusqlite::Result<Head> {
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    {
        let mut insert = tx.prepare_cached(
            "INSERT INTO entries (seq, time, kind, payload, prev, hash) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?;
        for Numbered { seq, time, entry } in entries {
            let (time, kind, payload) = (time_text(*time), entry.kind(), entry.payload());
            let hash = link(&head.hash, seq.0, &time, kind, &payload);
            insert.execute(params![as_sql(seq.0), time, kind, payload, head.hash.0, hash.0])?;
            head = Head { seq: *seq, hash };
            projector.add_time(seq.0, &time);
            projector.add(&tx, &tx, seq.0, entry)?;
        }
    }
    projector.write(&tx)?;
    tx.commit()?;
    Ok(head)
}

fn rebuild(conn: &mut Connection) -> rusqlite::Result<()> {
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    tx.execute_batch(
        "DROP VIEW IF EXISTS job_entries; DROP TABLE IF EXISTS terms; DROP TABLE IF EXISTS postings;
         DROP TABLE IF EXISTS days;",
    )?;
    tx.execute_batch(file::PROJECTIONS)?;
    project_all(&tx, &tx, |_| {})?;
    tx.commit()
}

/// How many entries' projections are gathered before they are written.
const BLOCK: i64 = 1000;

/// Projects all entries of `source` into the empty tables of `tables`. An entry that cannot be
/// read has a time and nothing else.
pub(super) fn project_all(
    source: &Connection,
    tables: &Connection,
    mut progress: impl FnMut(u64),
) -> rusqlite::Result<()> {
    let mut projector = Projector::default();
    let mut block = source
        .prepare("SELECT seq, time, kind, payload FROM entries WHERE seq > ?1 ORDER BY seq LIMIT ?2")?;
    let mut done = i64::MIN;
    loop {
        let mut rows = block.query([done, BLOCK])?;
        let before = done;
        while let Some(row) = rows.next()? {
            done = row.get(0)?;
            let seq = done.max(0).unsigned_abs();
            let text = |column| row.get_ref(column).ok().and_then(|value| value.as_str().ok()).unwrap_or("");
            projector.add_time(seq, text(1));
            if let Ok(entry) = Entry::from_payload(text(2), text(3)) {
                projector.add(source, tables, seq, &entry)?;
            }
        }
        if done == before {
            return Ok(());
        }
        projector.write(tables)?;
        progress(done.max(0).unsigned_abs());
    }
}

/// The last entry's number and hash.
pub(super) fn head_of(conn: &Connection) -> rusqlite::Result<Head> {
    let head = conn
        .query_row("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1", [], |row| {
            Ok(Head { seq: Seq(row.get::<_, i64>(0)?.max(0).unsigned_abs()), hash: Hash(row.get(1)?) })
        })
        .optional()?;
    Ok(head.unwrap_or_default())
}

/// A time as the ledger writes it: RFC 3339, UTC, to the microsecond.
pub(super) fn time_text(time: Timestamp) -> String {
    format!("{time:.6}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::entry::{InForce, InForceEntry, TextHash};

    fn long_texts(after: u64, count: u64) -> Vec<Numbered> {
        let text = "x".repeat(20_000);
        (after + 1..=after + count)
            .map(|seq| Numbered {
                seq: Seq(seq),
                time: Timestamp::UNIX_EPOCH,
                entry: Entry::InForce(InForceEntry {
                    what: InForce::Rules,
                    name: format!("rules-{seq}"),
                    hash: TextHash::of(&seq.to_string()),
                    text: text.clone(),
                }),
            })
            .collect()
    }

    #[test]
    fn a_full_disk_is_told_and_the_same_batch_goes_in_when_there_is_room() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("full.ledger");
        let mut ledger = Ledger::open(&path).unwrap();
        let head = ledger.append(&long_texts(0, 2)).unwrap();
        ledger.conn.pragma_update(None, "max_page_count", 30).unwrap();
        for _ in 0..2 {
            let full = ledger.append(&long_texts(2, 20)).unwrap_err();
            assert!(matches!(full, LedgerError::Full { .. }), "{full}");
            assert_eq!(ledger.head(), head);
            assert_eq!(head_of(&ledger.conn).unwrap(), head);
        }
        ledger.append(&long_texts(2, 1)).expect("what fits goes in");
        is_sound(&path);
        ledger.conn.pragma_update(None, "max_page_count", 1_000_000).unwrap();
        assert_eq!(ledger.append(&long_texts(3, 19)).unwrap().seq, Seq(22));
        is_sound(&path);
    }

    fn is_sound(path: &Path) {
        let reader = crate::ledger::Reader::open(path).unwrap();
        let verified = crate::ledger::verify(&reader, &[], |_, _| {}).unwrap();
        assert!(verified.is_sound(), "{:?}", verified.findings);
    }

    #[test]
    fn a_read_only_ledger_is_told_from_a_full_disk() {
        let folder = tempfile::tempdir().unwrap();
        let mut ledger = Ledger::open(folder.path().join("read-only.ledger")).unwrap();
        ledger.conn.pragma_update(None, "query_only", true).unwrap();
        let refused = ledger.append(&long_texts(0, 1)).unwrap_err();
        assert!(matches!(refused, LedgerError::ReadOnly { .. }), "{refused}");
        ledger.conn.pragma_update(None, "query_only", false).unwrap();
        ledger.append(&long_texts(0, 1)).unwrap();
    }
}
