//! What is done at the bench.

use crate::bench::entry::{Numbered, Says, Seq};
use crate::page::act::{Signature, TakenOrders};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::page::view::Envelope;
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::notes::Wanted;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::sync::Arc;

/// The entries that were recorded.
#[derive(Serialize)]
pub(super) struct Recorded {
    entries: Vec<Envelope>,
}

pub(super) type Answer = Result<(StatusCode, Json<Recorded>), Problem>;

pub(super) fn recorded(entries: &[Numbered]) -> Answer {
    Ok((StatusCode::CREATED, Json(Recorded { entries: entries.iter().map(Envelope::from).collect() })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Choice {
    job: JobNumber,
}

pub(super) async fn choose(State(app): State<Arc<App>>, who: Who, Json(choice): Json<Choice>) -> Answer {
    recorded(&app.choose(&who, choice.job).await?)
}

pub(super) async fn orders(
    State(app): State<Arc<App>>,
    who: Who,
    Json(orders): Json<Box<RawValue>>,
) -> Result<(StatusCode, Json<TakenOrders>), Problem> {
    let taken = app.take_orders(&who, "orders.json", orders.get()).await?;
    let status = if taken.taken.is_empty() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::CREATED };
    Ok((status, Json(taken)))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Note {
    about: Seq,
    says: Says,
    reason: String,
    job: Option<JobNumber>,
    eye: Option<Eye>,
}

pub(super) async fn note(State(app): State<Arc<App>>, who: Who, Json(note): Json<Note>) -> Answer {
    let Note { about, says, reason, job, eye } = note;
    let wanted = match says {
        Says::Void => Wanted::Void,
        Says::Assign => Wanted::Assign { job, eye },
        Says::Remark => Wanted::Remark,
    };
    recorded(&app.note(&who, about, wanted, reason).await?)
}

pub(super) async fn override_fail(
    State(app): State<Arc<App>>,
    who: Who,
    Json(signature): Json<Signature>,
) -> Answer {
    recorded(&app.override_fail(&who, signature).await?)
}
