//! Searching the ledger.

use super::language::Language;
use super::lenses::mark_of;
use super::{Frame, render};
use crate::bench::entry::{Entry, Seq};
use crate::judge::verdict::{Outcome, Quantity};
use crate::ledger::Field;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::search::{Found, Search};
use crate::page::session::Who;
use crate::page::view::Envelope;
use crate::parsers::reading::JobNumber;
use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use std::sync::Arc;

/// How many names a field suggests.
const SUGGESTED: usize = 50;

const QUANTITIES: [Quantity; 15] = [
    Quantity::SphereMeridian,
    Quantity::SecondMeridian,
    Quantity::Cylinder,
    Quantity::Axis,
    Quantity::Addition,
    Quantity::SecondAddition,
    Quantity::PrismHorizontal,
    Quantity::PrismVertical,
    Quantity::Prism,
    Quantity::PrismImbalanceHorizontal,
    Quantity::PrismImbalanceVertical,
    Quantity::Pd,
    Quantity::NearPd,
    Quantity::SegmentHeight,
    Quantity::ReferenceHeight,
];
const OUTCOMES: [Outcome; 4] = [Outcome::Pass, Outcome::Fail, Outcome::Borderline, Outcome::Incomplete];

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "ledger.html")]
struct Ledger {
    frame: Frame,
    say: Language,
    search: Search,
    outcomes: Vec<Choice>,
    quantities: Vec<Choice>,
    instruments: Vec<String>,
    persons: Vec<String>,
    lines: Vec<Line>,
    /// What is wrong with what is asked for.
    wrong: Option<String>,
    /// Where the next page is.
    next: Option<String>,
    /// The same search, for a download.
    download: Option<String>,
}

struct Choice {
    value: String,
    name: &'static str,
    chosen: bool,
}

/// An entry in a list.
pub(super) struct Line {
    pub seq: Seq,
    pub time: String,
    pub kind: String,
    pub mark: &'static str,
    pub words: String,
    pub jobs: Vec<JobNumber>,
}

impl Line {
    pub(super) fn of(say: &Language, envelope: &Envelope, jobs: Vec<JobNumber>) -> Self {
        let (mark, words) = match Entry::from_payload(envelope.kind, envelope.payload.get()) {
            Ok(entry) => {
                let mark = match &entry {
                    Entry::Verdict(verdict) => mark_of(verdict.outcome, verdict.held.as_deref()),
                    _ => "",
                };
                (mark, say.entry(&entry))
            }
            Err(why) => ("", why.to_string()),
        };
        Self {
            seq: envelope.seq,
            time: say.date_time(envelope.time),
            kind: say.kind(envelope.kind).to_owned(),
            mark,
            words,
            jobs,
        }
    }
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Query(search): Query<Search>,
) -> Result<Response, Problem> {
    let say = app.language();
    let (found, wrong) = match app.search(&who, &search).await {
        Ok(found) => (found, None),
        Err(problem) if problem.code().is_client_error() => {
            (Found { entries: Vec::new(), next: None }, Some(problem.detail))
        }
        Err(problem) => return Err(problem),
    };
    let suggested = app.read(|record| {
        let values = |field| record.values(field, "", SUGGESTED);
        Ok::<_, crate::ledger::LedgerError>((values(Field::Instrument)?, values(Field::Person)?))
    });
    let (instruments, persons) = suggested.await?;
    let asked = |before: Option<Seq>| {
        let before = before.map_or_else(String::new, |seq| seq.to_string());
        serde_urlencoded::to_string(Search { before, ..search.clone() }).map_err(Problem::fault)
    };
    let outcomes = OUTCOMES.map(|outcome| choice(outcome.to_string(), say.outcome(outcome), &search.outcome));
    let quantities =
        QUANTITIES.map(|quantity| choice(quantity.to_string(), say.quantity(quantity), &search.out_of_limit));
    let page = Ledger {
        frame: Frame::new(&app, &who, say.nav_ledger).under("/ledger"),
        outcomes: outcomes.into(),
        quantities: quantities.into(),
        instruments,
        persons,
        next: found.next.map(|next| asked(Some(next))).transpose()?,
        download: match who.may(Right::Download) {
            true => Some(asked(None)?),
            false => None,
        },
        lines: found.entries.into_iter().map(|hit| Line::of(&say, &hit.entry, hit.jobs)).collect(),
        search,
        wrong,
        say,
    };
    Ok(render(&page))
}

fn choice(value: String, name: &'static str, chosen: &str) -> Choice {
    Choice { chosen: value == chosen, value, name }
}
