//! Jobs: the list, and one of them.

use super::bench::WaitingView;
use super::language::Language;
use super::lenses::{Stand, Table, mark_of};
use super::{Frame, render};
use crate::bench::entry::{Entry, Purpose, Says, Seq};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::page::view::{self, Envelope, JobView};
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::board::WaitsFor;
use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

/// How many jobs a list has at most.
const MOST: usize = 100;

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Prefix {
    prefix: String,
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "jobs.html")]
struct Jobs {
    frame: Frame,
    say: Language,
    prefix: String,
    jobs: Vec<Line>,
    is_cut: bool,
    waiting: Vec<WaitingView>,
}

struct Line {
    job: JobNumber,
    revision: Option<u32>,
    mark: &'static str,
    word: &'static str,
    overridden: bool,
    last: String,
}

pub(super) async fn list(
    State(app): State<Arc<App>>,
    who: Who,
    Query(Prefix { prefix }): Query<Prefix>,
) -> Result<Response, Problem> {
    let (now, say) = (app.now(), app.language());
    let wanted = prefix.trim().to_owned();
    let jobs = app.read(move |record| view::jobs(record, &wanted, MOST)).await?;
    app.board(|board| app.shows_waiting(&who, board));
    let waiting =
        app.board(|board| board.waiting().map(|waiting| WaitingView::of(&say, waiting, now)).collect());
    let line = |job: &view::JobLine| Line {
        job: job.job.clone(),
        revision: job.revision,
        mark: job.outcome.map_or("none", |outcome| mark_of(outcome, job.held.as_deref())),
        word: job.outcome.map_or(say.not_judged_yet, |outcome| say.standing(outcome, job.held.as_deref())),
        overridden: job.overridden,
        last: say.date_time(job.last),
    };
    let page = Jobs {
        frame: Frame::new(&app, &who, say.nav_jobs).under("/jobs"),
        prefix,
        is_cut: jobs.len() == MOST,
        jobs: jobs.iter().map(line).collect(),
        waiting,
        say,
    };
    Ok(render(&page))
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "job.html")]
struct Job {
    frame: Frame,
    say: Language,
    job: JobNumber,
    stand: Option<Stand>,
    verdict: Option<Seq>,
    overridden: Option<String>,
    tables: Vec<Table>,
    measured: Vec<(&'static str, String)>,
    orders: Vec<Revision>,
    readings: Vec<Reading>,
    manual: Vec<Manual>,
    verdicts: Vec<Given>,
    waiting: Vec<WaitingView>,
}

struct Revision {
    seq: Seq,
    revision: u32,
    time: String,
    kind: String,
    lenses: Vec<(&'static str, String)>,
    from: String,
}

struct Reading {
    seq: Seq,
    time: String,
    instrument: String,
    words: String,
    void: Option<Seq>,
    /// It belongs to another job now.
    gone_to: Option<JobNumber>,
}

/// A manual reading, and what it came to last.
struct Manual {
    seq: Seq,
    time: String,
    eye: &'static str,
    words: String,
    by: String,
    blind: bool,
    mark: &'static str,
    word: &'static str,
    void: Option<Seq>,
}

struct Given {
    seq: Seq,
    time: String,
    mark: &'static str,
    word: &'static str,
    why: String,
}

/// What is known of a job; a problem where nothing is.
pub(super) async fn known(app: &App, who: &Who, job: &str) -> Result<JobView, Problem> {
    let job: JobNumber = job.parse().map_err(Problem::unusable)?;
    let missing = format!("nothing is on record of job {job}");
    let view = app.read(move |record| JobView::of(record, &job)).await?;
    let view = view.ok_or_else(|| Problem::not_found(missing))?;
    app.shows_job(who, &view);
    Ok(view)
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(job): Path<String>,
) -> Result<Response, Problem> {
    let (now, say) = (app.now(), app.language());
    let view = known(&app, &who, &job).await?;
    let waiting = app.board(|board| {
        let here = board
            .waiting()
            .filter(|waiting| waiting.waits_for == WaitsFor::Eye && waiting.job.as_ref() == Some(&view.job));
        here.map(|waiting| WaitingView::of(&say, waiting, now)).collect()
    });
    let order = view.orders.last().map(|order| &order.entry.order);
    let verdict = view.verdict.as_ref();
    let page = Job {
        frame: Frame::new(&app, &who, format!("{} {}", say.job, view.job)).under("/jobs"),
        stand: verdict.map(|verdict| say.stand(&verdict.verdict)),
        verdict: verdict.map(|verdict| verdict.seq),
        overridden: verdict.and_then(|verdict| verdict.overridden.as_ref()).map(|signed| signed.by.clone()),
        tables: verdict.map_or_else(Vec::new, |verdict| say.tables(order, &verdict.verdict)),
        measured: if verdict.is_none() { say.measured(&view.measured) } else { Vec::new() },
        orders: view.orders.iter().rev().map(|order| revision(&say, order)).collect(),
        readings: view.readings.iter().rev().map(|reading| self::reading(&say, &view.job, reading)).collect(),
        manual: manual(&say, &view.history),
        verdicts: view.history.iter().rev().filter_map(|entry| given(&say, &view.job, entry)).collect(),
        job: view.job,
        waiting,
        say,
    };
    Ok(render(&page))
}

fn revision(say: &Language, order: &view::OrderView) -> Revision {
    let entry = &order.entry;
    let lens = |eye| entry.order.lens_for(eye).map(|lens| (say.eye(eye), say.ordered_lens(lens)));
    Revision {
        seq: order.seq,
        revision: entry.revision,
        time: say.date_time(order.time),
        kind: say.order_kind(&entry.order),
        lenses: Eye::BOTH.into_iter().filter_map(lens).collect(),
        from: match &entry.by {
            Some(by) => format!("{}, {by}", entry.source),
            None => entry.source.clone(),
        },
    }
}

fn reading(say: &Language, job: &JobNumber, reading: &view::ReadingView) -> Reading {
    let eye = reading.eye.map_or_else(String::new, |eye| format!("{}: ", say.eye(eye)));
    Reading {
        seq: reading.seq,
        time: say.date_time(reading.time),
        instrument: reading.entry.instrument.clone(),
        words: format!("{eye}{}", say.measured_line(&reading.entry.reading)),
        void: reading.void,
        gone_to: reading.job.clone().filter(|other| other != job),
    }
}

/// The manual readings of a job, the latest first.
fn manual(say: &Language, history: &[Envelope]) -> Vec<Manual> {
    let mut lines: Vec<Manual> = Vec::new();
    for envelope in history.iter().filter(|entry| matches!(entry.kind, "manual" | "cross-check" | "note")) {
        match Entry::from_payload(envelope.kind, envelope.payload.get()) {
            Ok(Entry::Manual(manual)) => lines.push(Manual {
                seq: envelope.seq,
                time: say.date_time(envelope.time),
                eye: manual.eye.map_or("", |eye| say.eye(eye)),
                words: say.measured_lens(&manual.lens),
                by: manual.by,
                blind: manual.blind,
                mark: "none",
                word: if manual.purpose == Purpose::Practice {
                    say.nav_practice
                } else {
                    say.not_compared_yet
                },
                void: None,
            }),
            Ok(Entry::CrossCheck(check)) => {
                if let Some(line) = lines.iter_mut().find(|line| line.seq == check.manual) {
                    let stand = say.compared(&check);
                    (line.mark, line.word) = (stand.mark, stand.word);
                }
            }
            Ok(Entry::Note(note)) if note.says == Says::Void => {
                if let Some(line) = lines.iter_mut().find(|line| line.seq == note.about) {
                    (line.mark, line.word, line.void) = ("none", say.voided, Some(envelope.seq));
                }
            }
            _ => {}
        }
    }
    lines.reverse();
    lines
}

fn given(say: &Language, job: &JobNumber, entry: &Envelope) -> Option<Given> {
    match Entry::from_payload(entry.kind, entry.payload.get()) {
        Ok(Entry::Verdict(verdict)) if verdict.job == *job => {
            let stand = say.stand(&verdict);
            Some(Given {
                seq: entry.seq,
                time: say.date_time(entry.time),
                mark: stand.mark,
                word: stand.word,
                why: stand.in_short(),
            })
        }
        _ => None,
    }
}
