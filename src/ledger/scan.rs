//! Reading many entries of a few kinds, for statistics: nothing is copied that is not asked for.

use super::error::{At, LedgerError};
use super::project::{Field, as_sql};
use super::read::Reader;
use crate::bench::entry::Seq;
use jiff::Timestamp;
use rusqlite::params;
use std::collections::HashSet;
use std::ops::RangeInclusive;

/// An entry as it is passed by.
#[derive(Debug, Clone, Copy)]
pub struct Passing<'r> {
    /// Its number.
    pub seq: Seq,
    /// Its time, RFC 3339.
    pub time: &'r str,
    /// Its kind.
    pub kind: &'r str,
    /// Its payload, JSON.
    pub payload: &'r str,
}

/// The statements of this file, named so that a test can look at how SQLite goes about them.
pub(super) mod sql {
    pub const BETWEEN: &str =
        "SELECT seq, time, kind, payload FROM entries WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq";
    pub const SEQS: &str = "SELECT p.seq FROM terms t JOIN postings p ON p.term = t.id
        WHERE t.field = ?1 AND t.value = ?2 AND p.seq BETWEEN ?3 AND ?4";
}

impl Reader {
    /// The first and last entry of a time range, widened to whole days; nothing where it is empty.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn days_between(
        &self,
        from: Option<Timestamp>,
        until: Option<Timestamp>,
    ) -> Result<Option<RangeInclusive<Seq>>, LedgerError> {
        let query = super::Query { from, until, ..super::Query::default() };
        let bounds = self.bounds(&query).at(&self.path)?;
        Ok(bounds.map(|(first, last)| Seq(first.max(0).unsigned_abs())..=Seq(last.max(0).unsigned_abs())))
    }

    /// Passes the entries of these kinds within a range by, in their order.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn pass(
        &self,
        range: RangeInclusive<Seq>,
        kinds: &[&str],
        mut by: impl FnMut(Passing<'_>),
    ) -> Result<(), LedgerError> {
        let mut pass = || {
            let mut statement = self.conn.prepare_cached(sql::BETWEEN)?;
            let mut rows = statement.query([as_sql(range.start().0), as_sql(range.end().0)])?;
            while let Some(row) = rows.next()? {
                // The payload of other kinds is not even read from its pages.
                let kind = row.get_ref(2)?.as_str()?;
                if kinds.contains(&kind) {
                    by(Passing {
                        seq: Seq(row.get::<_, i64>(0)?.max(0).unsigned_abs()),
                        time: row.get_ref(1)?.as_str()?,
                        kind,
                        payload: row.get_ref(3)?.as_str()?,
                    });
                }
            }
            Ok(())
        };
        pass().at(&self.path)
    }

    /// The numbers of the entries that a term holds for, within a range.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn numbers_of(
        &self,
        field: Field,
        value: &str,
        range: &RangeInclusive<Seq>,
    ) -> Result<HashSet<u64>, LedgerError> {
        let list = || {
            self.conn
                .prepare_cached(sql::SEQS)?
                .query_map(
                    params![field as i64, value, as_sql(range.start().0), as_sql(range.end().0)],
                    |row| Ok(row.get::<_, i64>(0)?.max(0).unsigned_abs()),
                )?
                .collect::<rusqlite::Result<_>>()
        };
        list().at(&self.path)
    }
}
