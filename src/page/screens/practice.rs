//! Practice: reading lenses by hand to learn it, sitting by sitting.

use super::hand::{Hand, Typed, Wrong, given};
use super::language::Language;
use super::manual::recorded;
use super::notes::eye;
use super::order::job_place;
use super::{Frame, render};
use crate::bench::checking::{known, voided_by};
use crate::bench::entry::{Entry, ManualEntry, Numbered, Purpose, Seq};
use crate::check::difference::difference;
use crate::ledger::{LedgerError, Reader};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber};
use askama::Template;
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use std::collections::HashMap;
use std::sync::Arc;

/// How many of the last readings are shown.
const LAST: usize = 40;
/// Among how many manual readings they are looked for.
const LOOKED_AT: usize = 1000;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "practice.html")]
struct Practice {
    frame: Frame,
    say: Language,
    lenses: Vec<String>,
    hand: Hand,
    sittings: Vec<Sitting>,
    report: String,
}

/// Readings of one person without a break, the latest first.
struct Sitting {
    name: String,
    by: String,
    lines: Vec<Line>,
}

struct Line {
    seq: Seq,
    time: String,
    place: String,
    lens: String,
    read: String,
    off: String,
    is_void: bool,
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Query(typed): Query<Typed>,
) -> Result<Response, Problem> {
    page(&app, &who, typed, Wrong::new()).await
}

pub(super) async fn save(
    State(app): State<Arc<App>>,
    who: Who,
    Form(mut typed): Form<Typed>,
) -> Result<Response, Problem> {
    typed.remove("csrf");
    let say = app.language();
    let of_eye = eye(typed.get("eye").map_or("", String::as_str))?;
    let wrong = match typed.get("lens").map_or("", String::as_str).parse::<JobNumber>() {
        Err(why) => Wrong::from([("lens", why.to_string())]),
        Ok(lens) => match given(&say, &typed, Purpose::Practice, lens, of_eye) {
            Err(wrong) => wrong,
            Ok(given) => match recorded(&app, &who, given).await? {
                Ok(place) => return Ok(Redirect::to(&place).into_response()),
                Err(wrong) => wrong,
            },
        },
    };
    let page = page(&app, &who, typed, wrong).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

async fn page(app: &App, who: &Who, typed: Typed, wrong: Wrong) -> Result<Response, Problem> {
    let say = app.language();
    let only = who.person.as_ref().map(|person| person.name.clone());
    let report = only
        .as_ref()
        .map_or_else(String::new, |name| serde_urlencoded::to_string([("person", name)]).unwrap_or_default());
    let found = app.read(move |record| Found::of(record, only.as_deref())).await?;
    Ok(render(&Practice {
        frame: Frame::new(app, who, say.nav_practice).under("/practice"),
        sittings: sittings(&say, &found),
        lenses: found.lenses,
        hand: Hand::new(app, who, typed, wrong).await?,
        report,
        say,
    }))
}

/// The last practice readings, with all that is known of their lenses.
struct Found {
    lenses: Vec<String>,
    readings: Vec<(Numbered, ManualEntry)>,
    histories: HashMap<JobNumber, Vec<Numbered>>,
}

impl Found {
    fn of(record: &Reader, only: Option<&str>) -> Result<Self, LedgerError> {
        let mut found = Self { lenses: Vec::new(), readings: Vec::new(), histories: HashMap::new() };
        for numbered in record.of_kind("reference-lens", Seq(0)..=Seq(u64::MAX), LOOKED_AT)? {
            if let Entry::ReferenceLens(entry) = numbered.entry {
                found.lenses.push(entry.lens.name.to_string());
            }
        }
        found.lenses.sort_unstable();
        found.lenses.dedup();
        for numbered in record.latest_of_kind("manual", LOOKED_AT)? {
            let Entry::Manual(manual) = &numbered.entry else { continue };
            let manual = (**manual).clone();
            let is_own = only.is_none_or(|name| name == manual.by);
            if manual.purpose != Purpose::Practice || !is_own || found.readings.len() == LAST {
                continue;
            }
            if !found.histories.contains_key(&manual.job) {
                found.histories.insert(manual.job.clone(), record.job_history(&manual.job)?);
            }
            found.readings.push((numbered, manual));
        }
        Ok(found)
    }
}

fn sittings(say: &Language, found: &Found) -> Vec<Sitting> {
    let mut sittings: Vec<Sitting> = Vec::new();
    for (numbered, manual) in &found.readings {
        let line = line(say, numbered, manual, &found.histories[&manual.job]);
        match sittings.iter_mut().find(|known| known.name == manual.sitting && known.by == manual.by) {
            Some(known) => known.lines.push(line),
            None => sittings.push(Sitting {
                name: manual.sitting.clone(),
                by: manual.by.clone(),
                lines: vec![line],
            }),
        }
    }
    sittings
}

fn line(say: &Language, numbered: &Numbered, manual: &ManualEntry, history: &[Numbered]) -> Line {
    let eye = manual.eye.map_or_else(String::new, |eye| format!(" {}", say.eye(eye)));
    let is_void = voided_by(numbered.seq, history).is_some();
    let off = known(manual, history).filter(|_| !is_void).map(|(_, lens)| {
        let apart = difference(&manual.lens, &lens, manual.eye.unwrap_or(Eye::Right));
        let mut words = Vec::new();
        words.extend(apart.distance.map(|d| format!("{} D", say.number(d.value(), "D"))));
        words.extend(apart.axis.map(|d| format!("{} {}\u{b0}", say.axis, say.signed(d.value(), "deg"))));
        words.extend(apart.addition.map(|d| format!("{} {} D", say.addition, say.signed(d.value(), "D"))));
        words.extend(
            apart.prism.map(|d| format!("{} {} \u{394}", say.prism, say.number(d.value(), "prism-D"))),
        );
        words.join(", ")
    });
    Line {
        seq: numbered.seq,
        time: say.date_time(numbered.time),
        place: format!("{}/manual/{}", job_place(&manual.job), numbered.seq),
        lens: format!("{}{eye}", manual.job),
        read: say.measured_lens(&manual.lens),
        off: off.unwrap_or_else(|| if is_void { say.voided } else { say.nothing_known }.to_owned()),
        is_void,
    }
}
