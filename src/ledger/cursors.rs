//! How far each feed has come: beside the entries, not among them. A cursor is no evidence of what
//! was measured, and moves too often to be an entry.

use super::error::{At, LedgerError};
use super::project::as_sql;
use super::read::Reader;
use super::store::Ledger;
use crate::bench::entry::Seq;
use rusqlite::{OptionalExtension, params};
use std::collections::BTreeMap;

impl Ledger {
    /// Writes how far feeds have come, all or none of them.
    ///
    /// # Errors
    /// When that cannot be written.
    pub fn keep_cursors(&mut self, cursors: &BTreeMap<String, Seq>) -> Result<(), LedgerError> {
        let mut write = || {
            let tx = self.conn.transaction()?;
            for (feed, seq) in cursors {
                tx.prepare_cached("INSERT OR REPLACE INTO feed_cursors (feed, seq) VALUES (?1, ?2)")?
                    .execute(params![feed, as_sql(seq.0)])?;
            }
            tx.commit()
        };
        write().map_err(|why| LedgerError::from_sqlite(&self.path, why))
    }
}

impl Reader {
    /// How far a feed has come, if it was ever started.
    ///
    /// # Errors
    /// When that cannot be read.
    pub fn cursor(&self, feed: &str) -> Result<Option<Seq>, LedgerError> {
        let known = self
            .conn
            .query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'feed_cursors'", [], |row| {
                row.get::<_, i64>(0)
            })
            .at(&self.path)?;
        if known == 0 {
            return Ok(None);
        }
        self.conn
            .query_row("SELECT seq FROM feed_cursors WHERE feed = ?1", [feed], |row| row.get::<_, i64>(0))
            .optional()
            .at(&self.path)
            .map(|seq| seq.map(|seq| Seq(seq.max(0).unsigned_abs())))
    }
}
