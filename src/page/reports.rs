//! Reports, as they are asked for in an address: for programs, pages and downloads.

use super::app::App;
use super::problem::Problem;
use super::search::{given, time};
use crate::ledger::{LedgerError, Reader};
use crate::order::typed;
use crate::report::{self, Filters, Kind, Report};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

/// What a report is to be about; an empty field asks for everything.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Asked {
    /// From this time on: a date or time in the station's zone, or a time with its zone.
    #[serde(alias = "from", skip_serializing_if = "String::is_empty")]
    pub since: String,
    /// Before this time; of a date, its whole day is meant.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub until: String,
    /// Only this instrument.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub instrument: String,
    /// Only this person.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub person: String,
    /// Agreement: the one side, an instrument or a person.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub first: String,
    /// Agreement: the other side.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub second: String,
    /// Gauge: only these lenses, one a line, such as `4471 right` or `REF+5`.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub lenses: String,
    /// Gauge: `yes` for persons' practice readings instead of their production ones.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub practice: String,
    /// Gauge: the full width of the tolerance, dioptres.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub tolerance: String,
}

impl Asked {
    /// The filters that it stands for.
    ///
    /// # Errors
    /// Names the field that cannot be used, and what is expected in it.
    pub fn filters(&self, timezone: &TimeZone) -> Result<Filters, Problem> {
        let name = |text: &str| given(text).map(str::to_owned);
        let lenses = self.lenses.lines().filter_map(given).map(str::to_owned);
        Ok(Filters {
            from: given(&self.since).map(|text| time("since", text, timezone, 0)).transpose()?,
            until: given(&self.until).map(|text| time("until", text, timezone, 1)).transpose()?,
            instrument: name(&self.instrument),
            person: name(&self.person),
            first: name(&self.first),
            second: name(&self.second),
            lenses: lenses.collect(),
            practice: match self.practice.trim() {
                "" => false,
                "yes" => true,
                other => {
                    return Err(Problem::unusable(format!("practice: {other:?}: expected yes, or nothing")));
                }
            },
            tolerance: given(&self.tolerance).map(width).transpose()?,
        })
    }
}

fn width(text: &str) -> Result<f64, Problem> {
    let width = typed::number(text, &["D", "dpt"]).filter(|width: &f64| width.is_finite() && *width > 0.0);
    width.ok_or_else(|| {
        Problem::unusable(format!(
            "tolerance: {text:?}: expected the upper limit less the lower one, such as 0.26"
        ))
    })
}

/// The kind of report of this name.
///
/// # Errors
/// When there is none; names those that there are.
pub fn kind(name: &str) -> Result<Kind, Problem> {
    let known = || Kind::ALL.map(Kind::name).join(", ");
    let found = Kind::ALL.into_iter().find(|kind| kind.name() == name);
    found.ok_or_else(|| Problem::not_found(format!("there is no report {name}; there are: {}", known())))
}

impl App {
    /// Makes a report. One at a time, and not with the readers at hand: a report on years must not
    /// keep pages waiting.
    ///
    /// # Errors
    /// When a filter cannot be used, or the ledger cannot be read.
    pub async fn report(&self, kind: Kind, asked: &Asked) -> Result<Report, Problem> {
        let filters = asked.filters(&self.timezone)?;
        filters.check(kind).map_err(Problem::unusable)?;
        let turn = self.report_turn().await?;
        let ledger = self.settings.ledger.clone();
        let make = move || {
            let _turn = turn;
            report::report(&Reader::open(&ledger)?, kind, &filters)
        };
        let made: Result<Report, LedgerError> =
            tokio::task::spawn_blocking(make).await.map_err(Problem::fault)?;
        Ok(made?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filters(fields: &str) -> Result<Filters, String> {
        let asked: Asked = serde_urlencoded::from_str(fields).map_err(|why| why.to_string())?;
        asked.filters(&TimeZone::fixed(jiff::tz::offset(2))).map_err(|problem| problem.detail)
    }

    #[test]
    fn an_address_stands_for_filters() {
        let found = filters(
            "since=2026-11-01&until=2026-11-30&first=&lenses=4471+right%0d%0a%0aREF%2b5&tolerance=0,26&practice=yes",
        );
        let found = found.unwrap();
        assert_eq!(found.from.unwrap().to_string(), "2026-10-31T22:00:00Z");
        assert_eq!(found.until.unwrap().to_string(), "2026-11-30T22:00:00Z");
        assert_eq!((found.first, found.lenses), (None, vec!["4471 right".to_owned(), "REF+5".to_owned()]));
        assert_eq!((found.practice, found.tolerance), (true, Some(0.26)));
    }

    #[test]
    fn what_cannot_be_used_is_named() {
        for (fields, field) in [
            ("since=x", "since"),
            ("from=x", "since"),
            ("practice=no", "practice"),
            ("tolerance=-1", "tolerance"),
            ("job=1", "job"),
        ] {
            let why = filters(fields).unwrap_err();
            assert!(why.contains(field), "{why}");
        }
    }
}
