//! The accounts.

use crate::bench::entry::Role;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

#[derive(Serialize)]
pub(super) struct Account {
    name: String,
    role: Role,
}

pub(super) async fn list(State(app): State<Arc<App>>, who: Who) -> Result<Json<Vec<Account>>, Problem> {
    who.needs(Right::Accounts)?;
    let people = app.people();
    Ok(Json(
        people.iter().map(|account| Account { name: account.name.clone(), role: account.role }).collect(),
    ))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    name: String,
    role: Option<Role>,
    passphrase: Option<String>,
}

pub(super) async fn set(
    State(app): State<Arc<App>>,
    who: Who,
    Json(wanted): Json<Wanted>,
) -> Result<StatusCode, Problem> {
    app.set_account(&who, wanted.name, wanted.role, wanted.passphrase).await?;
    Ok(StatusCode::NO_CONTENT)
}

pub(super) async fn remove(
    State(app): State<Arc<App>>,
    who: Who,
    Path(name): Path<String>,
) -> Result<StatusCode, Problem> {
    app.remove_account(&who, name).await?;
    Ok(StatusCode::NO_CONTENT)
}
