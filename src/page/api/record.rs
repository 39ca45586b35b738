//! What is on record.

use crate::bench::entry::Seq;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::search::{Found, Search};
use crate::page::session::Who;
use crate::page::view::{self, EntryView, JobLine, JobView};
use crate::parsers::reading::JobNumber;
use axum::Json;
use axum::extract::{Path, Query, State};
use serde::Deserialize;
use std::sync::Arc;

const MOST_JOBS: usize = 200;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Prefix {
    #[serde(default)]
    prefix: String,
    limit: Option<usize>,
}

pub(super) async fn jobs(
    State(app): State<Arc<App>>,
    Query(Prefix { prefix, limit }): Query<Prefix>,
) -> Result<Json<Vec<JobLine>>, Problem> {
    let limit = limit.unwrap_or(MOST_JOBS).min(MOST_JOBS);
    app.read(move |record| view::jobs(record, &prefix, limit)).await.map(Json)
}

pub(super) async fn job(
    State(app): State<Arc<App>>,
    who: Who,
    Path(job): Path<String>,
) -> Result<Json<JobView>, Problem> {
    let job: JobNumber = job.parse().map_err(Problem::unusable)?;
    let missing = format!("nothing is on record of job {job}");
    let found = app.read(move |record| JobView::of(record, &job)).await?;
    let found = found.ok_or_else(|| Problem::not_found(missing))?;
    app.shows_job(&who, &found);
    Ok(Json(found))
}

pub(super) async fn search(
    State(app): State<Arc<App>>,
    who: Who,
    Query(search): Query<Search>,
) -> Result<Json<Found>, Problem> {
    app.search(&who, &search).await.map(Json)
}

pub(super) async fn entry(
    State(app): State<Arc<App>>,
    who: Who,
    Path(seq): Path<u64>,
) -> Result<Json<EntryView>, Problem> {
    let found = app.read(move |record| EntryView::of(record, Seq(seq))).await?;
    let found = found.ok_or_else(|| Problem::not_found(format!("there is no entry {seq}")))?;
    app.shows_whole_entry(&who, &found);
    Ok(Json(found))
}
