//! What can go wrong with a ledger, in words for the technician in front of it.

use crate::bench::entry::{NotAnEntry, Seq};
use rusqlite::ErrorCode;
use std::io;
use std::path::{Path, PathBuf};

/// What went wrong with a ledger. The ledger stays usable after each of these but
/// [`Corrupt`](LedgerError::Corrupt), and the same entries can be handed in again.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// The file or its lock file cannot be opened or read.
    #[error(
        "cannot open {path}: {why}. Check that the folder exists and that this user may read and write in it"
    )]
    Open {
        /// Which file.
        path: PathBuf,
        /// What the system says.
        why: io::Error,
    },
    /// The file is something else.
    #[error(
        "{path} is not a ledger: {found}. Name another file, or move this one away; it was left as it is"
    )]
    NotALedger {
        /// Which file.
        path: PathBuf,
        /// What was found instead.
        found: String,
    },
    /// The ledger was written by a later version.
    #[error(
        "{path} has ledger format {found}, and this version knows formats up to {known}. Use the version of fociline \
         that wrote it, or a later one; the file was left as it is"
    )]
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The latest format that this version knows.
        known: i64,
    },
    /// Another process writes to this ledger.
    #[error(
        "{path} is being written by another fociline{}. One ledger has one writer: stop that one, or name another \
         ledger in the settings", .pid.map(|pid| format!(" (process {pid})")).unwrap_or_default()
    )]
    InUse {
        /// Which ledger.
        path: PathBuf,
        /// The other process, where its lock file says so.
        pid: Option<u32>,
    },
    /// No room.
    #[error(
        "no room to write {path}: the disk is full or a quota is used up. Free some room; what waits is written then"
    )]
    Full {
        /// Which ledger.
        path: PathBuf,
    },
    /// Not writable.
    #[error(
        "{path} cannot be written: the file, its folder or the disk is read-only. Check permissions and how the disk is mounted"
    )]
    ReadOnly {
        /// Which ledger.
        path: PathBuf,
    },
    /// Damaged.
    #[error(
        "{path} is damaged ({why}). Do not write on: copy the file with its -wal file to a safe place, check the disk, \
         and go on with a backup or a new ledger"
    )]
    Corrupt {
        /// Which ledger.
        path: PathBuf,
        /// What SQLite says.
        why: String,
    },
    /// Entries that do not follow the last one.
    #[error("entry {found} does not follow entry {head}, the last in {path}: nothing was written")]
    Numbering {
        /// Which ledger.
        path: PathBuf,
        /// Its last entry.
        head: Seq,
        /// The number handed in.
        found: Seq,
    },
    /// An entry that this version cannot read.
    #[error(
        "entry {seq} of {path} cannot be read: {why}. Run `fociline ledger verify` to see whether it was altered"
    )]
    Entry {
        /// Which ledger.
        path: PathBuf,
        /// Which entry.
        seq: Seq,
        /// What is wrong with it.
        why: NotAnEntry,
    },
    /// Something that is written out to could not be written.
    #[error("cannot write the output: {0}")]
    Output(#[from] io::Error),
    /// A file that must not be overwritten.
    #[error("{path} exists already and is not overwritten. Name a new file")]
    Exists {
        /// Which file.
        path: PathBuf,
    },
    /// Anything else.
    #[error("{path}: {why}")]
    Other {
        /// Which ledger.
        path: PathBuf,
        /// What SQLite says.
        why: rusqlite::Error,
    },
}

impl LedgerError {
    /// What SQLite's error means for the ledger at `path`.
    pub(super) fn from_sqlite(path: &Path, why: rusqlite::Error) -> Self {
        let path = path.to_owned();
        match why.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => Self::ReadOnly { path },
            Some(ErrorCode::DatabaseCorrupt) => Self::Corrupt { path, why: why.to_string() },
            Some(ErrorCode::NotADatabase) => Self::NotALedger { path, found: why.to_string() },
            _ => Self::Other { path, why },
        }
    }
}

/// Says for which ledger SQLite's errors are.
pub(super) trait At<T> {
    fn at(self, path: &Path) -> Result<T, LedgerError>;
}

impl<T> At<T> for rusqlite::Result<T> {
    fn at(self, path: &Path) -> Result<T, LedgerError> {
        self.map_err(|why| LedgerError::from_sqlite(path, why))
    }
}
