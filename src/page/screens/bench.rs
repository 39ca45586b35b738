//! The bench: the station's screen, to be read from two metres.

use super::language::Language;
use super::lenses::{Stand, Table, mark_of};
use super::{Frame, on_to, render};
use crate::bench::command::Command;
use crate::bench::entry::{PortState, Seq};
use crate::judge::judge;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::page::view::{JobView, ReadingView};
use crate::parsers::reading::{JobNumber, Reading};
use crate::station::board::{Board, PortOnBoard, Waiting, WaitsFor};
use crate::station::notes::Wanted;
use askama::Template;
use axum::extract::{Form, State};
use axum::response::{Redirect, Response};
use jiff::Timestamp;
use serde::Deserialize;
use std::sync::Arc;

/// How many of the last jobs are shown.
const LAST: usize = 6;
/// How many readings that wait are shown, the latest first.
const WAITING: usize = 3;
/// How many readings of the job can be voided here.
const TO_VOID: usize = 4;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "bench.html")]
struct Bench {
    frame: Frame,
    say: Language,
    ports: Vec<Port>,
    job: Option<Job>,
    /// The job that the next frame without a number belongs to, where it is not the one shown.
    next_to: Option<JobNumber>,
    unread: Option<Unread>,
    waiting: Vec<WaitingView>,
    more_waiting: usize,
    last: Vec<LastJob>,
}

/// An instrument's or scanner's state.
pub(super) struct Port {
    pub name: String,
    pub state: String,
    pub is_open: bool,
    /// It was tried, and does not listen: nothing measured there counts.
    pub is_lost: bool,
    pub why: Option<String>,
    pub since: String,
    pub heard: Option<String>,
}

struct Job {
    number: JobNumber,
    kind: String,
    revision: Option<u32>,
    stand: Stand,
    verdict: Option<Seq>,
    tables: Vec<Table>,
    pair: Option<Table>,
    overridden: Option<String>,
    /// What was measured, where there is no order to put beside it.
    measured: Vec<(&'static str, String)>,
    readings: Vec<Said>,
}

/// A reading in a line.
pub(super) struct Said {
    pub seq: Seq,
    pub time: String,
    pub words: String,
}

struct Unread {
    seq: Seq,
    time: String,
    instrument: String,
    why: String,
}

/// A reading that waits for a person.
pub(super) struct WaitingView {
    pub seq: Seq,
    pub time: String,
    pub instrument: String,
    pub words: String,
    pub for_eye: bool,
    pub job: Option<JobNumber>,
}

struct LastJob {
    job: JobNumber,
    mark: &'static str,
    word: &'static str,
    overridden: bool,
    time: String,
}

impl Port {
    pub(super) fn of(say: &Language, port: &PortOnBoard, now: Timestamp) -> Self {
        Self {
            name: port.name.clone(),
            state: match port.state {
                None => say.port_not_tried,
                Some(PortState::Opened | PortState::Answering) => say.port_open,
                Some(PortState::Silent) => say.port_silent,
                Some(PortState::Lost) => say.port_lost,
                Some(PortState::Unavailable) => say.port_unavailable,
                Some(PortState::Closed) => say.port_closed,
            }
            .to_owned(),
            is_open: port.state.is_some_and(is_open),
            is_lost: port.state.is_some_and(|state| !is_open(state)),
            why: port.why.clone(),
            since: port.since.map_or_else(String::new, |since| say.since(since, now)),
            heard: port.last_heard.map(|heard| say.since(heard, now)),
        }
    }
}

/// Whether measurements can come in.
fn is_open(state: PortState) -> bool {
    matches!(state, PortState::Opened | PortState::Answering)
}

impl WaitingView {
    pub(super) fn of(say: &Language, waiting: &Waiting, now: Timestamp) -> Self {
        Self {
            seq: waiting.seq,
            time: say.since(waiting.time, now),
            instrument: waiting.instrument.clone(),
            words: say.measured_line(&waiting.reading),
            for_eye: waiting.waits_for == WaitsFor::Eye,
            job: waiting.job.clone(),
        }
    }
}

impl Said {
    pub(super) fn of(say: &Language, reading: &ReadingView, now: Timestamp) -> Self {
        Self {
            seq: reading.seq,
            time: say.since(reading.time, now),
            words: format!("{}: {}", reading.entry.instrument, say.measured_line(&reading.entry.reading)),
        }
    }
}

/// The job to show: the one at the station, or one that an instrument has named since.
fn shown(board: &Board, app: &App, now: Timestamp) -> Option<JobNumber> {
    let current = board.current(now);
    let fresh = |time: Timestamp| now.duration_since(time) <= app.settings.job_hold;
    let latest = board.latest().filter(|latest| fresh(latest.time));
    let named = latest.and_then(|latest| latest.job.clone().map(|job| (latest.time, job)));
    match (current, named) {
        (Some(current), Some((time, job))) if time > current.last_used => Some(job),
        (Some(current), _) => Some(current.job.clone()),
        (None, named) => named.map(|(_, job)| job),
    }
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Result<Response, Problem> {
    let now = app.now();
    let board = app.board(Board::clone);
    app.shows_waiting(&who, &board);
    let say = app.language();
    let job = match shown(&board, &app, now) {
        None => None,
        Some(number) => {
            let job = number.clone();
            let view = app.read(move |record| JobView::of(record, &job)).await?;
            if let Some(view) = &view {
                app.shows_job(&who, view);
            }
            Some(Job::of(&app, &say, number, view, now))
        }
    };
    let current = board.current(now).map(|current| current.job.clone());
    let unread = board.latest().and_then(|latest| {
        let why = latest.reject.clone()?;
        let fresh = now.duration_since(latest.time) <= app.settings.job_hold;
        let (time, instrument) = (say.since(latest.time, now), latest.instrument.clone());
        fresh.then_some(Unread { seq: latest.seq, time, instrument, why })
    });
    let waiting: Vec<&Waiting> = board.waiting().collect();
    let last = board.jobs().take(LAST).map(|judged| LastJob {
        job: judged.verdict.job.clone(),
        mark: mark_of(judged.verdict.outcome, judged.verdict.held.as_deref()),
        word: say.standing(judged.verdict.outcome, judged.verdict.held.as_deref()),
        overridden: judged.overridden.is_some(),
        time: say.since(judged.time, now),
    });
    let page = Bench {
        frame: Frame::new(&app, &who, say.nav_bench).under("/"),
        ports: board.ports().iter().map(|port| Port::of(&say, port, now)).collect(),
        next_to: current.filter(|current| job.as_ref().is_some_and(|job| job.number != *current)),
        job,
        unread,
        more_waiting: waiting.len().saturating_sub(WAITING),
        waiting: waiting
            .iter()
            .rev()
            .take(WAITING)
            .map(|waiting| WaitingView::of(&say, waiting, now))
            .collect(),
        last: last.collect(),
        say,
    };
    Ok(render(&page))
}

impl Job {
    fn of(app: &App, say: &Language, number: JobNumber, view: Option<JobView>, now: Timestamp) -> Self {
        let order = view.as_ref().and_then(|view| view.orders.last());
        let verdict = view.as_ref().and_then(|view| view.verdict.as_ref());
        let mut tables = Vec::new();
        let stand = match (verdict, order) {
            (Some(verdict), order) => {
                tables = say.tables(order.map(|order| &order.entry.order), &verdict.verdict);
                say.stand(&verdict.verdict)
            }
            (None, Some(order)) => {
                // Nothing is measured yet: what there will be to measure.
                let order = &order.entry.order;
                let nothing = judge(order, &Reading::default(), &app.settings.rules);
                tables = say.tables(Some(order), &nothing);
                Stand { mark: "none", word: say.ready, why: say.ready_why.to_owned(), missing: Vec::new() }
            }
            (None, None) => Stand {
                mark: "none",
                word: say.no_order,
                why: say.no_order_why.to_owned(),
                missing: Vec::new(),
            },
        };
        let pair = tables.pop_if(|table| table.side == crate::judge::verdict::Side::Pair);
        let readings = view.as_ref().map_or(&[][..], |view| &view.readings);
        let here =
            readings.iter().filter(|reading| reading.void.is_none() && reading.job.as_ref() == Some(&number));
        Self {
            kind: order.map_or_else(String::new, |order| say.order_kind(&order.entry.order)),
            revision: order.map(|order| order.entry.revision),
            verdict: verdict.map(|verdict| verdict.seq),
            overridden: verdict
                .and_then(|verdict| verdict.overridden.as_ref())
                .map(|signed| signed.by.clone()),
            measured: match order {
                None => view.as_ref().map_or_else(Vec::new, |view| say.measured(&view.measured)),
                Some(_) => Vec::new(),
            },
            readings: here.rev().take(TO_VOID).map(|reading| Said::of(say, reading, now)).collect(),
            stand,
            tables,
            pair,
            number,
        }
    }
}

#[derive(Deserialize)]
pub(super) struct Scan {
    text: String,
}

/// What a barcode reader or a keyboard sends: a job number, or a command from the sheet.
pub(super) async fn scan(
    State(app): State<Arc<App>>,
    who: Who,
    Form(Scan { text }): Form<Scan>,
) -> Result<Redirect, Problem> {
    let say = app.language();
    match Command::from_text(&text) {
        None => {
            app.choose(&who, text.parse().map_err(Problem::unusable)?).await?;
        }
        Some(Command::Eye(eye)) => {
            let waits = app.board(|board| {
                board.waiting().filter(|waiting| waiting.waits_for == WaitsFor::Eye).last().cloned()
            });
            let waits = waits.ok_or_else(|| Problem::unusable(say.no_reading_waits))?;
            app.note(
                &who,
                waits.seq,
                Wanted::Assign { job: None, eye: Some(eye) },
                say.eye_reason.to_owned(),
            )
            .await?;
        }
        Some(Command::Void) => {
            who.needs(Right::Work)?;
            let now = app.now();
            let number = app
                .board(|board| shown(board, &app, now))
                .ok_or_else(|| Problem::unusable(say.no_job_why))?;
            let view = app.read(move |record| JobView::of(record, &number)).await?;
            let last =
                view.and_then(|view| view.readings.into_iter().rfind(|reading| reading.void.is_none()));
            let last = last.ok_or_else(|| Problem::unusable(say.nothing_to_void))?;
            app.note(&who, last.seq, Wanted::Void, say.void_reasons()[0].to_owned()).await?;
        }
    }
    Ok(on_to("/"))
}

impl Bench {
    fn lost(&self) -> impl Iterator<Item = &Port> {
        self.ports.iter().filter(|port| port.is_lost)
    }
}
