//! Verification: whether the ledger is what was written.
//!
//! A change inside shows by the chain alone. A ledger that was cut off at its end, or written anew
//! from some entry on, is sound in itself: only a checkpoint kept elsewhere shows that, so
//! [`verify`] takes those too.

use super::chain::{Hash, Head, link};
use super::error::{At, LedgerError};
use super::file;
use super::project::as_sql;
use super::read::Reader;
use super::store::project_all;
use crate::bench::entry::{CheckpointEntry, Entry, Seq, SoftwareEntry, SoftwareState};
use jiff::{SignedDuration, Timestamp};
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, Row};
use std::collections::BTreeMap;
use std::fmt;

/// By how much an entry may be earlier than the one before: events of several ports are timed
/// before they queue for their numbers.
pub const TIME_SLACK: SignedDuration = SignedDuration::from_secs(1);

/// How many findings are kept; more are counted.
const FINDINGS: usize = 1000;

/// What a verification found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verification {
    /// The last entry.
    pub head: Head,
    /// How many entries there are.
    pub entries: u64,
    /// How many checkpoints were compared, in the ledger and handed in.
    pub checkpoints: u64,
    /// What is wrong, in the order of the entries.
    pub findings: Vec<Finding>,
    /// How many more findings there are than are listed.
    pub more: u64,
}

impl Verification {
    /// Whether nothing is wrong.
    pub fn is_sound(&self) -> bool {
        self.findings.is_empty()
    }

    fn add(&mut self, seq: Option<u64>, problem: Problem) {
        if self.findings.len() < FINDINGS {
            self.findings.push(Finding { seq: seq.map(Seq), problem });
        } else {
            self.more += 1;
        }
    }
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The entry concerned, where it is about one.
    pub seq: Option<Seq>,
    /// What is wrong.
    pub problem: Problem,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.seq {
            Some(seq) => write!(f, "entry {seq}: {}", self.problem),
            None => write!(f, "{}", self.problem),
        }
    }
}

/// What can be wrong.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Problem {
    /// A gap before this entry.
    #[error("the {0} entries before it are missing: they were removed")]
    Missing(u64),
    /// The entry's hash is not that of its content.
    #[error("its hash does not fit its content: it was altered")]
    Altered,
    /// The entry does not follow the one before.
    #[error("it does not follow the entry before: one of the two was replaced")]
    NotLinked,
    /// The time goes back, and nothing on record says why.
    #[error(
        "its time is {0} earlier than that of the entry before, and no step of the clock is on record there"
    )]
    EarlierThanBefore(String),
    /// The entry cannot be read.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
    /// A checkpoint names a hash that this entry does not have.
    #[error(
        "a checkpoint says that its hash was {expected}, and it is {found}: the ledger was written anew up to here"
    )]
    NotAsCheckpoint {
        /// What the checkpoint says.
        expected: String,
        /// The hash here.
        found: String,
    },
    /// A checkpoint names an entry that is not there.
    #[error("a checkpoint knows this entry, and it is not there: the end of the ledger was removed")]
    Gone,
    /// A trigger, table or view is missing or is not the one that was made.
    #[error("the {kind} {name} {wrong}: something other than fociline changed this file")]
    Schema {
        /// `trigger`, `table` or `view`.
        kind: String,
        /// Its name.
        name: String,
        /// What is wrong with it.
        wrong: &'static str,
    },
    /// A projection is not what the entries give.
    #[error(
        "the table {table} for search is not what the entries give ({what}). The entries are not concerned; rebuild it with `fociline ledger rebuild`"
    )]
    Projection {
        /// Its name.
        table: &'static str,
        /// The first difference.
        what: String,
    },
    /// The file cannot be read on.
    #[error("the file cannot be read from here on: {0}")]
    Damaged(String),
}

/// Verifies the whole ledger as it stands at this moment, and that `known` checkpoints, kept
/// elsewhere, agree with it. `progress` is told how many entries of how many are done; each is
/// passed twice.
///
/// # Errors
/// When the ledger cannot be read at all. What is wrong with it is not an error but a finding.
pub fn verify(
    reader: &Reader,
    known: &[CheckpointEntry],
    mut progress: impl FnMut(u64, u64),
) -> Result<Verification, LedgerError> {
    // One transaction, so that what is appended meanwhile is not seen by half.
    let snapshot = reader.conn.unchecked_transaction().at(&reader.path)?;
    let head = reader.head()?;
    let mut found = Verification { head, entries: 0, checkpoints: 0, findings: Vec::new(), more: 0 };
    schema(&snapshot, &mut found).at(&reader.path)?;
    let total = head.seq.0.saturating_mul(2);
    if let Err(why) = chain(&snapshot, &mut found, |done| progress(done, total)) {
        found.add(None, Problem::Damaged(why.to_string()));
        return Ok(found);
    }
    for checkpoint in known {
        compare(&snapshot, checkpoint, &mut found).at(&reader.path)?;
    }
    projections(&snapshot, &mut found, |done| progress(head.seq.0.saturating_add(done), total))
        .at(&reader.path)?;
    Ok(found)
}

/// Compares triggers, tables and views with those that a new ledger gets.
fn schema(conn: &Connection, found: &mut Verification) -> rusqlite::Result<()> {
    let mut is = schema_of(conn)?;
    for ((kind, name), sql) in schema_of(&file::in_memory()?)? {
        let wrong = match is.remove(&(kind.clone(), name.clone())) {
            Some(other) if other == sql => continue,
            Some(_) => "was changed",
            None => "is missing",
        };
        found.add(None, Problem::Schema { kind, name, wrong });
    }
    // Others may add what only reads; a trigger can change what is written.
    for ((kind, name), _) in is.into_iter().filter(|((kind, _), _)| kind == "trigger") {
        found.add(None, Problem::Schema { kind, name, wrong: "was added" });
    }
    Ok(())
}

fn schema_of(conn: &Connection) -> rusqlite::Result<BTreeMap<(String, String), String>> {
    conn.prepare("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL")?
        .query_map([], |row| Ok(((row.get(0)?, row.get(1)?), row.get(2)?)))?
        .collect()
}

/// A row as text, however it was tampered with.
fn text(row: &Row<'_>, column: usize) -> String {
    match row.get_ref(column).map(|value| value.as_bytes().map(String::from_utf8_lossy)) {
        Ok(Ok(text)) => text.into_owned(),
        _ => String::new(),
    }
}

fn chain(conn: &Connection, found: &mut Verification, mut progress: impl FnMut(u64)) -> rusqlite::Result<()> {
    let mut entries =
        conn.prepare("SELECT seq, time, kind, payload, prev, hash FROM entries ORDER BY seq")?;
    let mut rows = entries.query([])?;
    let mut before = Head::default();
    let mut clock: Option<(Timestamp, bool)> = None;
    while let Some(row) = rows.next()? {
        let seq = row.get::<_, i64>(0)?.max(0).unsigned_abs();
        let (time, kind, payload) = (text(row, 1), text(row, 2), text(row, 3));
        let hash = |column| row.get(column).map(Hash);
        let (Ok(prev), Ok(own)) = (hash(4), hash(5)) else {
            found.add(Some(seq), Problem::Altered);
            continue;
        };
        let missing = seq.saturating_sub(before.seq.0 + 1);
        if missing > 0 {
            found.add(Some(seq), Problem::Missing(missing));
        } else if prev != before.hash {
            found.add(Some(seq), Problem::NotLinked);
        }
        if link(&prev, seq, &time, &kind, &payload) != own {
            found.add(Some(seq), Problem::Altered);
        }
        let explains = kind == "clock" || is_start(&kind, &payload);
        match time.parse::<Timestamp>() {
            Ok(time) => {
                if let Some((earlier, explained)) = clock
                    && time + TIME_SLACK < earlier
                    && !explained
                    && !explains
                {
                    let back = format!("{:#}", earlier.duration_since(time));
                    found.add(Some(seq), Problem::EarlierThanBefore(back));
                }
                clock = Some((time, kind == "clock"));
            }
            Err(why) => found.add(Some(seq), Problem::Unreadable(why.to_string())),
        }
        match Entry::from_payload(&kind, &payload) {
            Ok(Entry::Checkpoint(checkpoint)) => {
                if checkpoint.entries < seq {
                    compare(conn, &checkpoint, found)?;
                } else {
                    found.add(
                        Some(seq),
                        Problem::Unreadable("a checkpoint of entries that come after it".into()),
                    );
                }
            }
            Ok(_) => {}
            Err(why) => found.add(Some(seq), Problem::Unreadable(why.to_string())),
        }
        before = Head { seq: Seq(seq), hash: own };
        found.entries += 1;
        if found.entries.is_multiple_of(1000) {
            progress(found.entries);
        }
    }
    Ok(())
}

/// While the program does not run nobody sees the clock being set.
fn is_start(kind: &str, payload: &str) -> bool {
    kind == "software"
        && serde_json::from_str::<SoftwareEntry>(payload)
            .is_ok_and(|software| software.state == SoftwareState::Started)
}

fn compare(
    conn: &Connection,
    checkpoint: &CheckpointEntry,
    found: &mut Verification,
) -> rusqlite::Result<()> {
    found.checkpoints += 1;
    let hash = match checkpoint.entries {
        0 => Some(Hash::default()),
        seq => conn
            .prepare_cached("SELECT hash FROM entries WHERE seq = ?1")?
            .query_row([as_sql(seq)], |row| row.get(0).map(Hash))
            .optional()?,
    };
    match hash {
        None => found.add(Some(checkpoint.entries), Problem::Gone),
        Some(hash) if hash.to_string() != checkpoint.head.to_ascii_lowercase() => {
            let (expected, found_hash) = (checkpoint.head.clone(), hash.to_string());
            found.add(Some(checkpoint.entries), Problem::NotAsCheckpoint { expected, found: found_hash });
        }
        Some(_) => {}
    }
    Ok(())
}

/// The tables for search, and how their rows are put in order.
pub(super) const TABLES: [(&str, &str); 3] = [
    ("terms", "SELECT id, field, value, last FROM terms ORDER BY id"),
    ("postings", "SELECT term, seq FROM postings ORDER BY term, seq"),
    ("days", "SELECT day, first, last FROM days ORDER BY day"),
];

/// Builds the projections beside the ledger and compares them row by row.
fn projections(
    conn: &Connection,
    found: &mut Verification,
    progress: impl FnMut(u64),
) -> rusqlite::Result<()> {
    // An empty name is a private file that is gone when it is closed: it may become large.
    let rebuilt = Connection::open("")?;
    rebuilt.pragma_update(None, "journal_mode", "off")?;
    rebuilt.pragma_update(None, "synchronous", "off")?;
    rebuilt.execute_batch(file::PROJECTIONS)?;
    rebuilt.execute_batch("BEGIN")?;
    project_all(conn, &rebuilt, progress)?;
    for (table, sql) in TABLES {
        match first_difference(conn, &rebuilt, sql) {
            Ok(None) => {}
            Ok(Some(what)) => found.add(None, Problem::Projection { table, what }),
            Err(why) => found.add(None, Problem::Projection { table, what: why.to_string() }),
        }
    }
    Ok(())
}

fn first_difference(is: &Connection, should_be: &Connection, sql: &str) -> rusqlite::Result<Option<String>> {
    let (mut is, mut should_be) = (is.prepare(sql)?, should_be.prepare(sql)?);
    let columns = is.column_count();
    let (mut is, mut should_be) = (is.query([])?, should_be.query([])?);
    let next = |rows: &mut rusqlite::Rows<'_>| -> rusqlite::Result<Option<Vec<Value>>> {
        rows.next()?.map(|row| (0..columns).map(|column| row.get(column)).collect()).transpose()
    };
    loop {
        match (next(&mut is)?, next(&mut should_be)?) {
            (None, None) => return Ok(None),
            (is, should_be) if is == should_be => {}
            (is, should_be) => {
                let show = |row: Option<Vec<Value>>| row.map_or("nothing".to_owned(), |row| shown(&row));
                return Ok(Some(format!("{} instead of {}", show(is), show(should_be))));
            }
        }
    }
}

fn shown(row: &[Value]) -> String {
    let values: Vec<String> = row
        .iter()
        .map(|value| match value {
            Value::Integer(number) => number.to_string(),
            Value::Text(text) => format!("{text:?}"),
            other => format!("{other:?}"),
        })
        .collect();
    values.join(" ")
}
