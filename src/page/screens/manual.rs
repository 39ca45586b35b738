//! A lens read by hand: entering it without the instrument's value in sight, and what it comes to.

use super::hand::{Hand, Typed, Wrong, given, kept};
use super::language::Language;
use super::lenses::Stand;
use super::notes::eye;
use super::order::job_place;
use super::{Frame, on_to, render};
use crate::bench::checking::{compared, known, voided_by};
use crate::bench::entry::{CrossCheckEntry, Entry, ManualEntry, Numbered, Purpose, Seq};
use crate::bench::job::JobRecord;
use crate::check::crosscheck::Outcome;
use crate::check::difference::{Difference, difference};
use crate::ledger::{LedgerError, Reader};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber, Lens};
use askama::Template;
use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "manual.html")]
struct ManualForm {
    frame: Frame,
    say: Language,
    job: JobNumber,
    eyes: Vec<EyeChoice>,
    /// The instrument's value, where the reader chose to see it first.
    looked: Option<(&'static str, String)>,
    hand: Hand,
}

/// One of the job's lenses.
struct EyeChoice {
    value: Eye,
    name: &'static str,
    chosen: bool,
    /// When its value was shown to the reader.
    seen: Option<String>,
}

fn parsed(job: &str) -> Result<JobNumber, Problem> {
    job.parse().map_err(Problem::unusable)
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(job): Path<String>,
    Query(typed): Query<Typed>,
) -> Result<Response, Problem> {
    let (job, say) = (parsed(&job)?, app.language());
    let look = eye(typed.get("look").map_or("", String::as_str))?;
    let looked = match look {
        None => None,
        Some(eye) => {
            let number = job.clone();
            let history = app.read(move |record| record.job_history(&number)).await?;
            let measured = JobRecord::from_history(job.clone(), &history).measured(eye);
            app.shows_lens(&who, &job, Some(eye));
            Some((
                say.eye(eye),
                measured.map_or_else(
                    || say.not_measured.to_owned(),
                    |(lens, against)| format!("{}: {}", against.instrument, say.measured_lens(&lens)),
                ),
            ))
        }
    };
    form(&app, &who, job, typed, Wrong::new(), looked).await
}

async fn form(
    app: &App,
    who: &Who,
    job: JobNumber,
    typed: Typed,
    wrong: Wrong,
    looked: Option<(&'static str, String)>,
) -> Result<Response, Problem> {
    let (say, now) = (app.language(), app.now());
    let chosen = typed.get("eye").or(typed.get("look")).cloned().unwrap_or_default();
    let eyes = Eye::BOTH.map(|eye| EyeChoice {
        value: eye,
        name: say.eye(eye),
        chosen: eye.to_string() == chosen,
        seen: app.seen.when(who, &job, Some(eye)).map(|time| say.since(time, now)),
    });
    Ok(render(&ManualForm {
        frame: Frame::new(app, who, format!("{} {job}", say.by_hand_of)).under("/jobs"),
        eyes: eyes.into(),
        looked,
        hand: Hand::new(app, who, typed, wrong).await?,
        job,
        say,
    }))
}

pub(super) async fn save(
    State(app): State<Arc<App>>,
    who: Who,
    Path(job): Path<String>,
    Form(mut typed): Form<Typed>,
) -> Result<Response, Problem> {
    typed.remove("csrf");
    let (job, say) = (parsed(&job)?, app.language());
    let of_eye = eye(typed.get("eye").map_or("", String::as_str))?;
    let wrong = match given(&say, &typed, Purpose::Production, job.clone(), of_eye) {
        Err(wrong) => wrong,
        Ok(given) => match recorded(&app, &who, given).await? {
            Ok(place) => return Ok(Redirect::to(&place).into_response()),
            Err(wrong) => wrong,
        },
    };
    let page = form(&app, &who, job, typed, wrong, None).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// Records a reading: where its result is, or why it is not taken in.
pub(super) async fn recorded(
    app: &App,
    who: &Who,
    given: crate::page::act::ManualGiven,
) -> Result<Result<String, Wrong>, Problem> {
    let job = given.job.clone();
    match app.read_by_hand(who, given).await {
        Ok(entries) => {
            let seq = entries.iter().find(|numbered| matches!(numbered.entry, Entry::Manual(_)));
            let seq = seq.map(|numbered| numbered.seq).unwrap_or_default();
            Ok(Ok(result_place(&job, seq)))
        }
        Err(problem) if problem.code() == StatusCode::UNPROCESSABLE_ENTITY => {
            Ok(Err(Wrong::from([("", problem.detail)])))
        }
        Err(problem) => Err(problem),
    }
}

/// Where the result of a manual reading is.
fn result_place(job: &JobNumber, seq: Seq) -> String {
    format!("{}/manual/{seq}", job_place(job))
}

#[derive(Deserialize)]
pub(super) struct Compare {
    manual: Seq,
    next: String,
}

pub(super) async fn compare(
    State(app): State<Arc<App>>,
    who: Who,
    Form(Compare { manual, next }): Form<Compare>,
) -> Result<Redirect, Problem> {
    app.cross_check(&who, manual).await?;
    Ok(on_to(&next))
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "manual_result.html")]
struct ManualResult {
    frame: Frame,
    say: Language,
    job: JobNumber,
    seq: Seq,
    is_practice: bool,
    facts: Vec<(&'static str, String)>,
    stand: Option<Stand>,
    /// What it is held against, and how far both lie apart.
    against: Option<(String, String)>,
    apart: Vec<(&'static str, String)>,
    reasons: Vec<String>,
    /// The comparisons on record, the latest first.
    checks: Vec<Seq>,
    /// The note since which it does not count.
    void: Option<Seq>,
    /// The instrument has measured the lens since.
    can_compare: bool,
    again: String,
    other_eye: Option<(Eye, &'static str)>,
}

/// A manual reading, what it was compared with, and all of its lens.
struct Around {
    time: jiff::Timestamp,
    manual: ManualEntry,
    /// The latest first.
    checks: Vec<(Seq, CrossCheckEntry)>,
    /// The note since which it does not count.
    void: Option<Seq>,
    history: Vec<Numbered>,
}

impl Around {
    fn of(record: &Reader, job: &JobNumber, seq: Seq) -> Result<Option<Self>, LedgerError> {
        let Some(Numbered { time, entry: Entry::Manual(manual), .. }) = record.entry(seq)? else {
            return Ok(None);
        };
        if manual.job != *job {
            return Ok(None);
        }
        let history = record.job_history(job)?;
        let checks = history.iter().rev().filter_map(|numbered| match &numbered.entry {
            Entry::CrossCheck(check) if check.manual == seq => Some((numbered.seq, (**check).clone())),
            _ => None,
        });
        let (checks, void) = (checks.collect(), voided_by(seq, &history));
        Ok(Some(Self { time, manual: *manual, checks, void, history }))
    }

    /// Whether the instrument has measured the lens otherwise than it was compared.
    fn can_compare(&self) -> bool {
        let is_compared = self.manual.purpose == Purpose::Production && self.void.is_none();
        let Some(eye) = self.manual.eye.filter(|_| is_compared) else {
            return false;
        };
        let measured = JobRecord::from_history(self.manual.job.clone(), &self.history).measured(eye);
        measured.is_some_and(|(_, against)| {
            !self.checks.iter().any(|(_, check)| check.readings == against.readings)
        })
    }

    /// What it is held against, under its name, and how far both lie apart.
    fn against(&self, say: &Language) -> Option<(String, Lens, Difference)> {
        if let Some((seq, check)) = self.checks.first() {
            let (_, measured) = compared(*seq, check, &self.history);
            return Some((check.instrument.clone(), measured?, check.difference));
        }
        if self.can_compare() {
            // A comparison on record shows it.
            return None;
        }
        let (instrument, lens) = known(&self.manual, &self.history)?;
        let apart = difference(&self.manual.lens, &lens, self.manual.eye.unwrap_or(Eye::Right));
        Some((instrument.unwrap_or_else(|| say.certified.to_owned()), lens, apart))
    }
}

pub(super) async fn result(
    State(app): State<Arc<App>>,
    who: Who,
    Path((job, seq)): Path<(String, u64)>,
) -> Result<Response, Problem> {
    let (job, seq, say) = (parsed(&job)?, Seq(seq), app.language());
    let number = job.clone();
    let around = app.read(move |record| Around::of(record, &number, seq)).await?;
    let around =
        around.ok_or_else(|| Problem::not_found(format!("entry {seq} is no manual reading of {job}")))?;
    let against = around.against(&say);
    let manual = &around.manual;
    if against.is_some() {
        app.shows_lens(&who, &job, manual.eye);
    }
    let by = who.person.is_none().then_some(manual.by.as_str());
    let is_practice = manual.purpose == Purpose::Practice;
    let what = if is_practice { say.practice_of } else { say.by_hand_of };
    let title = match manual.eye {
        Some(eye) => format!("{what} {job}, {}", say.eye(eye)),
        None => format!("{what} {job}"),
    };
    let place = if is_practice { "/practice" } else { "/jobs" };
    let other = manual.eye.map(|eye| if eye == Eye::Right { Eye::Left } else { Eye::Right });
    let check = around.checks.first().map(|(_, check)| check);
    let page = ManualResult {
        frame: Frame::new(&app, &who, title).under(place),
        seq,
        is_practice,
        facts: facts(&say, &around),
        stand: if around.void.is_some() { None } else { check.map(|check| say.compared(check)) },
        apart: against.as_ref().map_or_else(Vec::new, |(_, _, apart)| say.apart(apart)),
        against: against.map(|(name, lens, _)| (name, say.measured_lens(&lens))),
        reasons: check.map_or_else(Vec::new, |check| check.reasons.clone()),
        checks: around.checks.iter().map(|(seq, _)| *seq).collect(),
        void: around.void,
        can_compare: around.can_compare(),
        again: kept(by, &manual.focimeter, &manual.sitting),
        other_eye: other.map(|eye| (eye, say.eye(eye))),
        job,
        say,
    };
    Ok(render(&page))
}

fn facts(say: &Language, around: &Around) -> Vec<(&'static str, String)> {
    let manual = &around.manual;
    let mut facts = vec![
        (say.as_read, say.as_read(&manual.read)),
        (say.that_is, say.measured_lens(&manual.lens)),
        (say.person, manual.by.clone()),
        (say.time, say.date_time(around.time)),
        (say.sitting, format!("{}, {}", manual.sitting, manual.focimeter)),
        (say.blind, if manual.blind { say.is_blind } else { say.is_not_blind }.to_owned()),
    ];
    if let Some(start) = &manual.start {
        let zero = format!("{} {} D", say.zero, say.signed(start.zero.value(), "D"));
        facts.push((say.sitting_begun, format!("{}, {zero}", say.eyepiece_was_focused)));
    }
    facts
}

impl Language {
    /// What a comparison comes to, in words and with its mark.
    pub(super) fn compared(&self, check: &CrossCheckEntry) -> Stand {
        let (mark, word) = match check.outcome {
            Outcome::Agree => ("pass", self.agree),
            Outcome::WithinTolerance => ("near", self.within_tolerance),
            Outcome::BeyondTolerance => ("fail", self.beyond_tolerance),
            Outcome::DifferentLens => ("fail", self.different_lens),
            Outcome::NotComparable => ("none", self.not_comparable),
        };
        let why = check.suspect.map_or("", |suspect| suspect.words()).to_owned();
        Stand { mark, word, why, missing: Vec::new() }
    }

    /// How far two readings lie apart, a line for each way to say it.
    pub(super) fn apart(&self, apart: &Difference) -> Vec<(&'static str, String)> {
        let mut lines = Vec::new();
        let mut line = |name: &'static str, value: Option<Decimal>, unit: &str, is_signed: bool| {
            lines.extend(value.map(|value| {
                let number = if is_signed { self.signed(value, unit) } else { self.number(value, unit) };
                (name, self.with_unit(number, unit))
            }));
        };
        line(self.apart_m, apart.m.map(|d| d.value()), "D", true);
        line(self.apart_j0, apart.j0.map(|d| d.value()), "D", true);
        line(self.apart_j45, apart.j45.map(|d| d.value()), "D", true);
        line(self.apart_distance, apart.distance.map(|d| d.value()), "D", false);
        line(self.apart_meridian, apart.meridian.map(|d| d.value()), "D", false);
        line(self.apart_axis, apart.axis.map(|d| d.value()), "deg", true);
        line(self.apart_weighted, apart.axis_weighted.map(|d| d.value()), "D", false);
        line(self.addition, apart.addition.map(|d| d.value()), "D", true);
        line(self.apart_prism_horizontal, apart.prism_horizontal.map(|d| d.value()), "prism-D", true);
        line(self.apart_prism_vertical, apart.prism_vertical.map(|d| d.value()), "prism-D", true);
        line(self.apart_prism, apart.prism.map(|d| d.value()), "prism-D", false);
        lines
    }
}
