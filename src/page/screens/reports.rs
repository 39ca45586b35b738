//! Reports: which there are, and one of them.

use super::language::Language;
use super::{Frame, render};
use crate::ledger::{Field, LedgerError};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::reports::{Asked, kind};
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::report::Kind;
use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use std::sync::Arc;

/// How many names there are to choose from.
const NAMES: usize = 200;
/// How many days back a report begins where nothing else is asked for.
const DAYS: i64 = 30;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "reports.html")]
struct Index {
    frame: Frame,
    say: Language,
    asked: Asked,
    names: Names,
    kinds: Vec<(Kind, &'static str, &'static str)>,
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "report.html")]
struct Shown {
    frame: Frame,
    say: Language,
    kind: Kind,
    what: &'static str,
    asked: Asked,
    names: Names,
    /// The report, or what is wrong with what is asked for.
    body: Result<String, String>,
    /// The same report, for a download.
    download: Option<String>,
}

/// Those on record.
struct Names {
    instruments: Vec<String>,
    persons: Vec<String>,
}

impl Names {
    async fn of(app: &App) -> Result<Self, Problem> {
        app.read(|record| {
            let values = |field| record.values(field, "", NAMES);
            Ok::<_, LedgerError>(Self {
                instruments: values(Field::Instrument)?,
                persons: values(Field::Person)?,
            })
        })
        .await
    }

    fn has(&self, name: &str) -> bool {
        name.is_empty() || self.instruments.iter().chain(&self.persons).any(|known| known == name)
    }
}

impl Language {
    /// A report's name, and what it tells.
    fn report(&self, kind: Kind) -> (&'static str, &'static str) {
        match kind {
            Kind::Agreement => (self.agreement, self.agreement_what),
            Kind::Gauge => (self.gauge, self.gauge_what),
            Kind::Drift => (self.drift, self.drift_what),
            Kind::Capability => (self.capability, self.capability_what),
            Kind::Practice => (self.practice_report, self.practice_what),
            Kind::Pareto => (self.pareto, self.pareto_what),
        }
    }
}

pub(super) async fn index(
    State(app): State<Arc<App>>,
    who: Who,
    Query(mut asked): Query<Asked>,
) -> Result<Response, Problem> {
    let say = app.language();
    if asked == Asked::default() {
        let today = app.timezone.to_datetime(app.now()).date();
        asked.since = today.saturating_sub(jiff::Span::new().days(DAYS)).to_string();
    }
    let named = |kind| {
        let (name, what) = say.report(kind);
        (kind, name, what)
    };
    let page = Index {
        frame: Frame::new(&app, &who, say.nav_reports).under("/reports"),
        names: Names::of(&app).await?,
        kinds: Kind::ALL.map(named).into(),
        asked,
        say,
    };
    Ok(render(&page))
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(name): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    let (say, kind) = (app.language(), kind(&name)?);
    let (name, what) = say.report(kind);
    let (title, body) = match app.report(kind, &asked).await {
        Ok(report) => (report.title.clone(), Ok(report.body("/ledger/"))),
        Err(problem) if problem.code().is_client_error() => (name.to_owned(), Err(problem.detail)),
        Err(problem) => return Err(problem),
    };
    let page = Shown {
        frame: Frame::new(&app, &who, title).under("/reports"),
        names: Names::of(&app).await?,
        download: match body.is_ok() && who.may(Right::Download) {
            true => Some(serde_urlencoded::to_string(&asked).map_err(Problem::fault)?),
            false => None,
        },
        kind,
        what,
        asked,
        body,
        say,
    };
    Ok(render(&page))
}
