//! The ledger as a file: telling it from others, its lock, and connections to it.

use super::error::{At, LedgerError};
use rusqlite::{Connection, OpenFlags};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::ffi::OsString;
use std::fs::{File, Metadata, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::fs::{FileExt, MetadataExt};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// The format that this version writes: `PRAGMA user_version`.
pub const FORMAT: i64 = 1;
/// How a ledger is told from other SQLite files: `PRAGMA application_id`, "Foc1" in ASCII.
pub const APPLICATION_ID: i32 = 0x466f_6331;

const ENTRIES: &str = include_str!("schema.sql");
const CURSORS: &str = include_str!("cursors.sql");
/// The tables for search, apart: they are dropped and made again.
pub(super) const PROJECTIONS: &str = include_str!("projections.sql");
/// Fits a verdict of usual length with little waste, and is still small to write for one commit.
const PAGE_BYTES: u32 = 8192;
/// How often, and how far apart, a lock is tried: who only looks at it holds it for a moment.
const TRIES: u32 = 10;
const BETWEEN_TRIES: Duration = Duration::from_millis(25);

/// What is at a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Found {
    Nothing,
    Ledger,
}

/// What is at `path`. Reads the file's header and nothing else, so that what is refused stays as
/// it is byte for byte, and no files appear beside it.
pub(super) fn look_at(path: &Path) -> Result<Found, LedgerError> {
    let not_a_ledger =
        |found: &str| LedgerError::NotALedger { path: path.to_owned(), found: found.to_owned() };
    let open = |why| LedgerError::Open { path: path.to_owned(), why };
    match path.metadata() {
        Ok(found) if found.is_dir() => return Err(not_a_ledger("it is a folder")),
        Ok(_) => {}
        Err(why) if why.kind() == ErrorKind::NotFound => return Ok(Found::Nothing),
        Err(why) => return Err(open(why)),
    }
    let header = header(path).map_err(open)?;
    if header.is_empty() {
        return Ok(Found::Nothing);
    }
    if header.len() < 100 || !header.starts_with(b"SQLite format 3\0") {
        return Err(not_a_ledger("it does not begin as an SQLite file"));
    }
    // SQLite's file format: the user version is at byte 60, the application id at byte 68.
    let number = |at: usize| i32::from_be_bytes([header[at], header[at + 1], header[at + 2], header[at + 3]]);
    if number(68) != APPLICATION_ID {
        return Err(not_a_ledger("it is the SQLite file of another program"));
    }
    match i64::from(number(60)) {
        found if found > FORMAT => Err(LedgerError::Newer { path: path.to_owned(), found, known: FORMAT }),
        FORMAT => Ok(Found::Ledger),
        _ => Err(not_a_ledger("its format has no number")),
    }
}

/// The first 100 bytes of the file at `path`, or what there is of them.
///
/// The file stays open until the process ends: POSIX drops every lock that a process holds on a
/// file once it closes any descriptor of it, those of SQLite included, and another program would
/// then take itself for the last one and remove the write-ahead log that the station writes to.
fn header(path: &Path) -> io::Result<Vec<u8>> {
    static LOOKED_AT: Mutex<BTreeMap<(u64, u64), File>> = Mutex::new(BTreeMap::new());
    let mut looked_at = LOOKED_AT.lock().unwrap_or_else(PoisonError::into_inner);
    let which = |found: &Metadata| (found.dev(), found.ino());
    let known = which(&path.metadata()?);
    let file = match looked_at.entry(known) {
        Entry::Occupied(kept) => kept.into_mut(),
        Entry::Vacant(_) => {
            let file = File::open(path)?;
            let which = which(&file.metadata()?);
            looked_at.entry(which).or_insert(file)
        }
    };
    let mut header = vec![0; 100];
    let mut read = 0;
    while read < header.len() {
        match file.read_at(&mut header[read..], read as u64)? {
            0 => break,
            more => read += more,
        }
    }
    header.truncate(read);
    Ok(header)
}

/// `path` with `suffix` after its name.
pub fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(suffix);
    PathBuf::from(name)
}

/// Held by the one process that writes: let go when dropped, also by a crash.
#[derive(Debug)]
pub(super) struct Lock(#[expect(dead_code, reason = "the lock holds while the file is open")] File);

/// Locks the ledger at `path` against other writers.
pub(super) fn lock(path: &Path) -> Result<Lock, LedgerError> {
    let lock_path = beside(path, ".lock");
    let open = |why| LedgerError::Open { path: lock_path.clone(), why };
    let mut file = OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(&lock_path)
        .map_err(open)?;
    let mut locked = file.try_lock();
    for _ in 1..TRIES {
        if !matches!(locked, Err(TryLockError::WouldBlock)) {
            break;
        }
        std::thread::sleep(BETWEEN_TRIES);
        locked = file.try_lock();
    }
    match locked {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut holder = String::new();
            // Who it is helps, but is not needed.
            let _ = file.take(32).read_to_string(&mut holder);
            return Err(LedgerError::InUse { path: path.to_owned(), pid: holder.trim().parse().ok() });
        }
        Err(TryLockError::Error(why)) => return Err(open(why)),
    }
    file.set_len(0).map_err(open)?;
    writeln!(file, "{}", std::process::id()).map_err(open)?;
    Ok(Lock(file))
}

/// Whether somebody writes to the ledger at `path` at this moment: a station that runs, or a command
/// that adds to it.
///
/// # Errors
/// When the lock file is there and cannot be looked at.
pub fn is_held(path: &Path) -> Result<bool, LedgerError> {
    let lock_path = beside(path, ".lock");
    let open = |why| LedgerError::Open { path: lock_path.clone(), why };
    let file = match File::open(&lock_path) {
        Ok(file) => file,
        Err(why) if why.kind() == ErrorKind::NotFound => return Ok(false),
        Err(why) => return Err(open(why)),
    };
    match file.try_lock_shared() {
        Ok(()) => Ok(false),
        Err(TryLockError::WouldBlock) => Ok(true),
        Err(TryLockError::Error(why)) => Err(open(why)),
    }
}

/// A connection that writes; makes the ledger where there is none. The caller has looked at what
/// is there and holds the lock.
pub(super) fn for_writing(path: &Path) -> Result<Connection, LedgerError> {
    let flags =
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut conn = Connection::open_with_flags(path, flags).at(path)?;
    prepare(&mut conn).at(path)?;
    Ok(conn)
}

fn prepare(conn: &mut Connection) -> rusqlite::Result<()> {
    // Asked through SQLite, because a creation that was cut off is undone only now.
    let is_new = conn.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))? == 0;
    if is_new {
        conn.pragma_update(None, "page_size", PAGE_BYTES)?;
        create(conn)?;
    }
    // After the schema is on disk, so that the file's header says what it is from the start.
    conn.pragma_update(None, "journal_mode", "wal")?;
    conn.pragma_update(None, "synchronous", "full")?;
    conn.execute_batch(CURSORS)?;
    conn.pragma_update(None, "cache_size", -16_000)?;
    conn.pragma_update(None, "recursive_triggers", true)?;
    conn.set_prepared_statement_cache_capacity(32);
    Ok(())
}

fn create(conn: &mut Connection) -> rusqlite::Result<()> {
    let tx = conn.transaction()?;
    tx.execute_batch(ENTRIES)?;
    tx.execute_batch(PROJECTIONS)?;
    tx.pragma_update(None, "application_id", APPLICATION_ID)?;
    tx.pragma_update(None, "user_version", FORMAT)?;
    tx.commit()
}

/// An empty ledger in memory: what a ledger's schema is compared with.
pub(super) fn in_memory() -> rusqlite::Result<Connection> {
    let mut conn = Connection::open_in_memory()?;
    create(&mut conn)?;
    Ok(conn)
}

/// A connection that only reads.
pub(super) fn for_reading(path: &Path) -> Result<Connection, LedgerError> {
    if look_at(path)? == Found::Nothing {
        let why = std::io::Error::new(ErrorKind::NotFound, "there is no ledger there");
        return Err(LedgerError::Open { path: path.to_owned(), why });
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let probe =
        |conn: &Connection| conn.query_row("SELECT 1 FROM entries LIMIT 1", [], |_| Ok(())).or_else(nothing);
    let conn = Connection::open_with_flags(path, flags).at(path)?;
    let conn = match probe(&conn) {
        Ok(()) => conn,
        // Beside a copy on a read-only disk SQLite cannot keep its index of the -wal file. Where
        // there is no such file, nobody writes, and none is needed.
        Err(why) if cannot_write_beside(&why) && !beside(path, "-wal").exists() => {
            let conn =
                Connection::open_with_flags(immutable(path), flags | OpenFlags::SQLITE_OPEN_URI).at(path)?;
            probe(&conn).at(path)?;
            conn
        }
        Err(why) => return Err(why).at(path),
    };
    conn.pragma_update(None, "cache_size", -16_000).at(path)?;
    conn.set_prepared_statement_cache_capacity(32);
    Ok(conn)
}

fn nothing(why: rusqlite::Error) -> rusqlite::Result<()> {
    match why {
        rusqlite::Error::QueryReturnedNoRows => Ok(()),
        why => Err(why),
    }
}

fn cannot_write_beside(why: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{CannotOpen, ReadOnly};
    matches!(why.sqlite_error_code(), Some(CannotOpen | ReadOnly))
}

/// The address of a file that is promised not to change.
fn immutable(path: &Path) -> String {
    let mut uri = String::from("file:");
    for char in path.to_string_lossy().chars() {
        match char {
            '%' => uri.push_str("%25"),
            '?' => uri.push_str("%3f"),
            '#' => uri.push_str("%23"),
            char => uri.push(char),
        }
    }
    uri + "?immutable=1"
}
