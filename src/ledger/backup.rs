//! A copy of the ledger while it is being written.

use super::chain::Head;
use super::error::{At, LedgerError};
use super::read::Reader;
use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};
use std::fs::OpenOptions;
use std::io::ErrorKind;
use std::path::Path;
use std::time::Duration;

/// How many pages are copied between two reports of progress.
const PAGES: i32 = 1024;
/// How long to wait where the copy is locked.
const PAUSE: Duration = Duration::from_millis(20);

impl Reader {
    /// Copies the ledger as it stands at this moment to a new file, while others may write to it,
    /// and gives the head of the copy. `progress` is told how many pages of how many are done.
    ///
    /// # Errors
    /// When there is a file of that name already (it is left as it is), or when something cannot
    /// be read or written (then no copy is left).
    pub fn backup(
        &self,
        to: impl AsRef<Path>,
        mut progress: impl FnMut(u64, u64),
    ) -> Result<Head, LedgerError> {
        let to = to.as_ref();
        OpenOptions::new().write(true).create_new(true).open(to).map_err(|why| match why.kind() {
            ErrorKind::AlreadyExists => LedgerError::Exists { path: to.to_owned() },
            _ => LedgerError::Open { path: to.to_owned(), why },
        })?;
        let copied = self.copy_to(to, &mut progress);
        if copied.is_err() {
            // What is half a copy must not be taken for one; the error says what is wrong.
            let _ = std::fs::remove_file(to);
        }
        copied
    }

    fn copy_to(&self, to: &Path, progress: &mut dyn FnMut(u64, u64)) -> Result<Head, LedgerError> {
        // Within one transaction what is written meanwhile does not make the copy start again.
        let snapshot = self.conn.unchecked_transaction().at(&self.path)?;
        let head = self.head()?;
        let mut copy = Connection::open(to).at(to)?;
        let backup = Backup::new(&snapshot, &mut copy).at(to)?;
        loop {
            match backup.step(PAGES).at(to)? {
                StepResult::Done => return Ok(head),
                StepResult::More => {
                    let state = backup.progress();
                    let pages = u64::from(state.pagecount.max(0).unsigned_abs());
                    progress(pages - u64::from(state.remaining.max(0).unsigned_abs()).min(pages), pages);
                }
                _ => std::thread::sleep(PAUSE),
            }
        }
    }
}
