//! The station as it stands.

use crate::bench::entry::{InForceEntry, Seq};
use crate::judge::verdict::Outcome;
use crate::page::app::App;
use crate::page::feeds::{self, FeedView};
use crate::page::problem::Problem;
use crate::parsers::reading::JobNumber;
use crate::station::board::{Current, PortOnBoard, Waiting};
use crate::station::recorder::Health;
use crate::station::run::texts_in_force;
use axum::Json;
use axum::extract::State;
use jiff::Timestamp;
use serde::Serialize;
use serde_with::skip_serializing_none;
use std::sync::Arc;

/// Whether what happens is being recorded.
#[skip_serializing_none]
#[derive(Debug, Serialize)]
pub(super) struct HealthView {
    recording: bool,
    why: Option<String>,
}

impl From<Health> for HealthView {
    fn from(health: Health) -> Self {
        match health {
            Health::Recording => Self { recording: true, why: None },
            Health::NotRecording { why } => Self { recording: false, why: Some(why) },
        }
    }
}

#[derive(Serialize)]
pub(super) struct Station {
    name: String,
    version: &'static str,
    now: Timestamp,
    health: HealthView,
    rules: String,
    entries: Seq,
    current: Option<Current>,
    jobs: Vec<Judged>,
    ports: Vec<PortOnBoard>,
    waiting: Vec<Waiting>,
}

#[skip_serializing_none]
#[derive(Serialize)]
struct Judged {
    job: JobNumber,
    outcome: Outcome,
    held: Option<String>,
    verdict: Seq,
    time: Timestamp,
    overridden: bool,
}

pub(super) async fn show(State(app): State<Arc<App>>) -> Json<Station> {
    let now = app.now();
    Json(app.board(|board| {
        Station {
            name: app.settings.name.clone(),
            version: env!("CARGO_PKG_VERSION"),
            now,
            health: app.health().into(),
            rules: app.settings.rules.name().to_owned(),
            entries: board.seq(),
            current: board.current(now).cloned(),
            jobs: board
                .jobs()
                .map(|judged| Judged {
                    job: judged.verdict.job.clone(),
                    outcome: judged.verdict.outcome,
                    held: judged.verdict.held.clone(),
                    verdict: judged.seq,
                    time: judged.time,
                    overridden: judged.overridden.is_some(),
                })
                .collect(),
            ports: board.ports().to_vec(),
            waiting: board.waiting().cloned().collect(),
        }
    }))
}

pub(super) async fn feeds(State(app): State<Arc<App>>) -> Result<Json<Vec<FeedView>>, Problem> {
    feeds::feeds(&app).await.map(Json)
}

pub(super) async fn in_force(State(app): State<Arc<App>>) -> Json<Vec<InForceEntry>> {
    Json(texts_in_force(&app.settings))
}
