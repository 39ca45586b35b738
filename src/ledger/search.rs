//! Search: results while typing, on ten million entries.
//!
//! Every condition is a term's list of entries. The shortest list is walked from its newest
//! entry, the others are asked whether they hold it too; so a search costs as much as its rarest
//! condition, and an unhelpful one ends early because it finds a page of hits at once.

use super::error::{At, LedgerError};
use super::project::{Field, as_sql, day_of};
use super::read::Reader;
use super::store::time_text;
use crate::bench::entry::{Numbered, Seq};
use crate::judge::verdict::{Outcome, Quantity};
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

/// What to look for. Conditions that are given hold together.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Query {
    /// The job number begins so; empty for any.
    pub job_prefix: String,
    /// Not before this time.
    pub from: Option<Timestamp>,
    /// Before this time.
    pub until: Option<Timestamp>,
    /// A reading from this instrument, or a verdict on one.
    pub instrument: Option<String>,
    /// A reading by this person, a verdict on one, or what they noted, entered, chose or signed.
    pub person: Option<String>,
    /// A verdict that came out so.
    pub outcome: Option<Outcome>,
    /// A verdict that found this quantity out of its limit.
    pub out_of_limit: Option<Quantity>,
    /// For the next page: only entries before this one, the last hit of the page before.
    pub before: Option<Seq>,
    /// How many hits at most.
    pub limit: usize,
}

/// An entry found, and the jobs it concerns.
#[derive(Debug, Clone, PartialEq)]
pub struct Hit {
    /// The entry.
    pub numbered: Numbered,
    /// The jobs it concerns, those that notes assigned it to included.
    pub jobs: Vec<JobNumber>,
}

/// Lists are counted up to here to find the shortest.
const COUNTED: i64 = 10_000;
/// So many jobs' entries are put in order at once; beyond it a prefix is a filter.
const JOBS_MERGED: i64 = 1_000;

/// The statements of this file, named so that a test can look at how SQLite goes about them.
pub(super) mod sql {
    pub const DAYS: &str = "SELECT min(first), max(last) FROM days WHERE day BETWEEN ?1 AND ?2";
    pub const COUNT: &str = "SELECT count(*) FROM
        (SELECT 1 FROM postings WHERE term = ?1 AND seq BETWEEN ?2 AND ?3 LIMIT ?4)";
    pub const JOBS: &str = "SELECT count(*) FROM
        (SELECT 1 FROM terms WHERE field = 1 AND value >= ?1 AND value <= ?1 || char(0x10FFFF) LIMIT ?2)";
    pub const LAST_OF_JOBS: &str = "SELECT max(last) FROM terms
        WHERE field = 1 AND value >= ?1 AND value <= ?1 || char(0x10FFFF)";
    pub const HOLDS: &str = "SELECT 1 FROM postings WHERE term = ?1 AND seq = ?2";
    pub const BY_TERM: &str = "SELECT seq FROM postings
        WHERE term = ?3 AND seq BETWEEN ?1 AND ?2 ORDER BY seq DESC";
    pub const BY_JOBS: &str = "SELECT DISTINCT p.seq FROM terms t JOIN postings p ON p.term = t.id
        WHERE t.field = 1 AND t.value >= ?3 AND t.value <= ?3 || char(0x10FFFF)
        AND p.seq BETWEEN ?1 AND ?2 ORDER BY p.seq DESC";
    pub const BY_NUMBER: &str = "SELECT seq FROM entries WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq DESC";
}

/// Which list is walked.
enum Walk {
    /// That of one term.
    Term(i64),
    /// Those of all jobs with the prefix.
    Jobs,
    /// All entries.
    All,
}

impl Reader {
    /// Entries that fulfil a query, newest first.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn search(&self, query: &Query) -> Result<Vec<Hit>, LedgerError> {
        let wanted = [
            (Field::Instrument, query.instrument.clone()),
            (Field::Person, query.person.clone()),
            (Field::Outcome, query.outcome.map(|outcome| outcome.to_string())),
            (Field::OutOfLimit, query.out_of_limit.map(|quantity| quantity.to_string())),
        ];
        let mut terms = Vec::new();
        for (field, value) in wanted {
            let Some(value) = value else { continue };
            match self.term_id(field, &value)? {
                Some(term) => terms.push(term),
                None => return Ok(Vec::new()),
            }
        }
        self.walk(query, terms)
    }

    fn walk(&self, query: &Query, mut terms: Vec<i64>) -> Result<Vec<Hit>, LedgerError> {
        let Some((first, mut last)) = self.bounds(query).at(&self.path)? else { return Ok(Vec::new()) };
        let prefix = query.job_prefix.as_str();
        let mut few_jobs = false;
        if !prefix.is_empty() {
            few_jobs = self.count(sql::JOBS, params![prefix, JOBS_MERGED]).at(&self.path)? < JOBS_MERGED;
            if !few_jobs {
                // Old jobs have old numbers: do not walk through all that came after them.
                last = last.min(self.count(sql::LAST_OF_JOBS, [prefix]).at(&self.path)?);
            }
        }
        let walk = if few_jobs {
            Walk::Jobs
        } else {
            match self.rarest(&terms, first, last).at(&self.path)? {
                Some(at) => Walk::Term(terms.remove(at)),
                None => Walk::All,
            }
        };
        let (sql, values): (&str, Vec<rusqlite::types::Value>) = match walk {
            Walk::Term(term) => (sql::BY_TERM, vec![first.into(), last.into(), term.into()]),
            Walk::Jobs => (sql::BY_JOBS, vec![first.into(), last.into(), prefix.to_owned().into()]),
            Walk::All => (sql::BY_NUMBER, vec![first.into(), last.into()]),
        };
        let mut statement = self.conn.prepare_cached(sql).at(&self.path)?;
        let mut rows = statement.query(rusqlite::params_from_iter(values)).at(&self.path)?;
        let mut hits = Vec::new();
        while hits.len() < query.limit
            && let Some(row) = rows.next().at(&self.path)?
        {
            let seq: i64 = row.get(0).at(&self.path)?;
            if self.hold(&terms, seq).at(&self.path)? {
                hits.extend(self.hit(query, Seq(seq.unsigned_abs()))?);
            }
        }
        Ok(hits)
    }

    /// The first and last entry that may fulfil the query's dates; nothing where none can.
    pub(super) fn bounds(&self, query: &Query) -> rusqlite::Result<Option<(i64, i64)>> {
        let (mut first, mut last) = (0, i64::MAX);
        if query.from.is_some() || query.until.is_some() {
            let day = |time: Timestamp| day_of(&time_text(time)).to_owned();
            let from = query.from.map(day).unwrap_or_default();
            let until = query.until.map_or_else(|| "~".to_owned(), day);
            let days: (Option<i64>, Option<i64>) = self
                .conn
                .prepare_cached(sql::DAYS)?
                .query_row([from, until], |row| Ok((row.get(0)?, row.get(1)?)))?;
            match days {
                (Some(from), Some(until)) => (first, last) = (from, until),
                _ => return Ok(None),
            }
        }
        if let Some(before) = query.before {
            last = last.min(as_sql(before.0) - 1);
        }
        Ok((first <= last).then_some((first, last)))
    }

    /// The place of the term that holds for the fewest entries.
    fn rarest(&self, terms: &[i64], first: i64, last: i64) -> rusqlite::Result<Option<usize>> {
        let mut rarest = None;
        for (at, term) in terms.iter().enumerate() {
            let count = self.count(sql::COUNT, [*term, first, last, COUNTED])?;
            if rarest.is_none_or(|(least, _)| count < least) {
                rarest = Some((count, at));
            }
        }
        Ok(rarest.map(|(_, at)| at))
    }

    fn count(&self, sql: &str, params: impl rusqlite::Params) -> rusqlite::Result<i64> {
        self.conn
            .prepare_cached(sql)?
            .query_row(params, |row| row.get::<_, Option<i64>>(0))
            .map(Option::unwrap_or_default)
    }

    fn hold(&self, terms: &[i64], seq: i64) -> rusqlite::Result<bool> {
        let mut holds = self.conn.prepare_cached(sql::HOLDS)?;
        for term in terms {
            if holds.query_row([*term, seq], |_| Ok(())).optional()?.is_none() {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The entry as a hit, where its exact time and its jobs fulfil the query too.
    fn hit(&self, query: &Query, seq: Seq) -> Result<Option<Hit>, LedgerError> {
        let Some(numbered) = self.entry(seq)? else { return Ok(None) };
        let in_time = query.from.is_none_or(|from| numbered.time >= from)
            && query.until.is_none_or(|until| numbered.time < until);
        if !in_time {
            return Ok(None);
        }
        let jobs = self.jobs_of_entry(&numbered)?;
        let of_job =
            query.job_prefix.is_empty() || jobs.iter().any(|job| job.as_str().starts_with(&query.job_prefix));
        Ok(of_job.then_some(Hit { numbered, jobs }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{file, read, scan};
    use super::sql;

    /// Every statement of reading and search finds its way by an index.
    #[test]
    fn no_statement_reads_a_whole_table() {
        let conn = file::in_memory().unwrap();
        for sql in [
            sql::DAYS,
            sql::COUNT,
            sql::JOBS,
            sql::LAST_OF_JOBS,
            sql::HOLDS,
            sql::BY_TERM,
            sql::BY_JOBS,
            sql::BY_NUMBER,
            read::sql::ENTRY,
            read::sql::RANGE,
            read::sql::OF_TERM,
            read::sql::NOTES_ON,
            read::sql::LATEST_ORDER,
            read::sql::VALUES,
            read::sql::LATEST_OF_KIND,
            scan::sql::BETWEEN,
            scan::sql::SEQS,
        ] {
            let mut explain = conn.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).unwrap();
            let mut rows = explain.raw_query();
            let mut plan: Vec<String> = Vec::new();
            while let Some(row) = rows.next().unwrap() {
                plan.push(row.get("detail").unwrap());
            }
            assert!(plan.iter().any(|step| step.starts_with("SEARCH")), "{sql}: {plan:?}");
            let scans = |step: &&String| step.starts_with("SCAN") && !step.starts_with("SCAN (subquery");
            assert_eq!(plan.iter().find(scans), None, "{sql}: {plan:?}");
        }
    }
}
