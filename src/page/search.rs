//! What is asked of the ledger, as it stands in an address: for programs, pages and downloads.

use super::app::App;
use super::problem::Problem;
use super::session::Who;
use super::view::Envelope;
use crate::bench::entry::Seq;
use crate::ledger::{LedgerError, Query, Reader};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;

/// How many hits a page of them has where nothing is said.
const USUAL: usize = 50;
/// How many it has at most.
const MOST: usize = 500;

/// The fields of a search; an empty one is not asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Search {
    /// The job number begins so.
    pub job: String,
    /// From this time on: a date or time in the station's zone, or a time with its zone.
    #[serde(alias = "from")]
    pub since: String,
    /// Before this time; of a date, its whole day is meant.
    pub until: String,
    /// The instrument.
    pub instrument: String,
    /// The person.
    pub person: String,
    /// `pass`, `fail`, `borderline` or `incomplete`.
    pub outcome: String,
    /// A quantity that is out of its limit.
    pub out_of_limit: String,
    /// Only entries before this one: for the next page.
    pub before: String,
    /// How many hits at most.
    pub limit: String,
}

impl Search {
    /// The query it stands for.
    ///
    /// # Errors
    /// Names the field that cannot be used, and what is expected in it.
    pub fn query(&self, timezone: &TimeZone) -> Result<Query, Problem> {
        Ok(Query {
            job_prefix: self.job.trim().to_owned(),
            from: given(&self.since).map(|text| time("since", text, timezone, 0)).transpose()?,
            until: given(&self.until).map(|text| time("until", text, timezone, 1)).transpose()?,
            instrument: given(&self.instrument).map(str::to_owned),
            person: given(&self.person).map(str::to_owned),
            outcome: given(&self.outcome).map(|text| named("outcome", text)).transpose()?,
            out_of_limit: given(&self.out_of_limit).map(|text| named("out_of_limit", text)).transpose()?,
            before: given(&self.before).map(|text| number("before", text)).transpose()?.map(Seq),
            limit: match given(&self.limit).map(|text| number("limit", text)).transpose()? {
                None => USUAL,
                Some(limit) => usize::try_from(limit).unwrap_or(MOST).min(MOST),
            },
        })
    }
}

pub(super) fn given(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}

fn number(field: &str, text: &str) -> Result<u64, Problem> {
    text.parse().map_err(|_| Problem::unusable(format!("{field}: {text:?}: expected a whole number")))
}

fn named<T: DeserializeOwned>(field: &str, text: &str) -> Result<T, Problem> {
    serde_json::from_value(serde_json::Value::from(text))
        .map_err(|why| Problem::unusable(format!("{field}: {why}")))
}

pub(super) fn time(
    field: &str,
    text: &str,
    timezone: &TimeZone,
    days_later: i64,
) -> Result<Timestamp, Problem> {
    let expected = || {
        Problem::unusable(format!(
            "{field}: {text:?}: expected a date such as 2026-11-25, or a time such as 2026-11-25T08:00"
        ))
    };
    if let Ok(time) = text.parse::<Timestamp>() {
        return Ok(time);
    }
    let local = match text.contains([':', 'T', ' ']) {
        true => text.parse::<jiff::civil::DateTime>().map_err(|_| expected())?,
        false => {
            let day = text.parse::<jiff::civil::Date>().map_err(|_| expected())?;
            let day = day.checked_add(jiff::Span::new().days(days_later)).map_err(|_| expected())?;
            day.at(0, 0, 0, 0)
        }
    };
    timezone.to_timestamp(local).map_err(|_| expected())
}

/// A page of hits, the newest first.
#[skip_serializing_none]
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// The entries.
    pub entries: Vec<FoundEntry>,
    /// What `before` has to be for the next page; absent on the last one.
    pub next: Option<Seq>,
}

/// An entry that was found, and the jobs that it concerns.
#[derive(Debug, Clone, Serialize)]
pub struct FoundEntry {
    /// The jobs, those that notes assigned it to included.
    pub jobs: Vec<crate::parsers::reading::JobNumber>,
    /// The entry.
    pub entry: Envelope,
}

impl Found {
    /// Looks for it.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn of(record: &Reader, query: &Query) -> Result<Self, LedgerError> {
        let hits = record.search(query)?;
        let next = hits.last().filter(|_| hits.len() == query.limit).map(|last| last.numbered.seq);
        let entries = hits
            .into_iter()
            .map(|hit| FoundEntry { entry: Envelope::from(&hit.numbered), jobs: hit.jobs })
            .collect();
        Ok(Self { entries, next })
    }
}

impl App {
    /// A page of hits.
    ///
    /// # Errors
    /// When a field cannot be used, or the ledger cannot be read.
    pub async fn search(&self, who: &Who, search: &Search) -> Result<Found, Problem> {
        let query = search.query(&self.timezone)?;
        let found = self.read(move |record| Found::of(record, &query)).await?;
        for hit in &found.entries {
            self.shows_entry(who, hit.entry.kind, &hit.jobs);
        }
        Ok(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn query(fields: &str) -> Result<Query, String> {
        let search: Search = serde_urlencoded::from_str(fields).map_err(|why| why.to_string())?;
        search.query(&TimeZone::fixed(jiff::tz::offset(2))).map_err(|problem| problem.detail)
    }

    #[test]
    fn a_form_with_empty_fields_asks_for_everything() {
        assert_eq!(query("job=&since=&until=&outcome="), Ok(Query { limit: USUAL, ..Query::default() }));
    }

    #[test]
    fn days_are_those_of_the_station() {
        let query = query("since=2026-11-25&until=2026-11-25&limit=9999").unwrap();
        assert_eq!(query.from.unwrap().to_string(), "2026-11-24T22:00:00Z");
        assert_eq!(query.until.unwrap().to_string(), "2026-11-25T22:00:00Z");
        assert_eq!(query.limit, MOST);
    }

    #[test]
    fn what_cannot_be_used_is_named() {
        for (fields, field) in [
            ("since=tomorrow", "since"),
            ("from=tomorrow", "since"),
            ("outcome=good", "outcome"),
            ("before=x", "before"),
            ("color=red", "color"),
        ] {
            let why = query(fields).unwrap_err();
            assert!(why.contains(field), "{why}");
        }
    }
}
