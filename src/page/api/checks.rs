//! Manual readings, cross-checks, the register of reference lenses, instruments' checks.

use super::work::{Answer, recorded};
use crate::bench::entry::Seq;
use crate::check::ReferenceLens;
use crate::page::act::ManualGiven;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::references::Register;
use crate::page::session::Who;
use crate::parsers::reading::JobNumber;
use axum::Json;
use axum::extract::State;
use serde::Deserialize;
use std::sync::Arc;

pub(super) async fn manual(State(app): State<Arc<App>>, who: Who, Json(given): Json<ManualGiven>) -> Answer {
    recorded(&app.read_by_hand(&who, given).await?)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Compare {
    manual: Seq,
}

pub(super) async fn cross_check(
    State(app): State<Arc<App>>,
    who: Who,
    Json(Compare { manual }): Json<Compare>,
) -> Answer {
    recorded(&app.cross_check(&who, manual).await?)
}

pub(super) async fn register(State(app): State<Arc<App>>, who: Who) -> Result<Json<Register>, Problem> {
    app.register(&who).await.map(Json)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Added {
    lens: ReferenceLens,
    by: Option<String>,
}

pub(super) async fn add_reference(
    State(app): State<Arc<App>>,
    who: Who,
    Json(Added { lens, by }): Json<Added>,
) -> Answer {
    recorded(&app.add_reference(&who, lens, by).await?)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Said {
    reading: Seq,
    lens: JobNumber,
    by: Option<String>,
}

pub(super) async fn say_check(
    State(app): State<Arc<App>>,
    who: Who,
    Json(Said { reading, lens, by }): Json<Said>,
) -> Answer {
    recorded(&app.say_check(&who, reading, lens, by).await?)
}
