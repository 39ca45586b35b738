//! Signing in and out, for programs.

use crate::bench::entry::Role;
use crate::page::app::App;
use crate::page::guard::cookie_of;
use crate::page::problem::Problem;
use crate::page::session::Who;
use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

#[derive(Serialize)]
pub(super) struct Session {
    by: String,
    role: Option<Role>,
    sign_in: bool,
    /// Goes with each request that changes something, as `x-csrf-token`.
    #[serde(skip_serializing_if = "String::is_empty")]
    csrf: String,
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Json<Session> {
    Json(Session { by: who.by().to_owned(), role: who.role(), sign_in: app.page.sign_in, csrf: who.csrf })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Given {
    name: String,
    passphrase: String,
}

pub(super) async fn sign_in(
    State(app): State<Arc<App>>,
    who: Who,
    Json(given): Json<Given>,
) -> Result<Response, Problem> {
    let (begun, person) = app.sign_in(&who, &given.name, given.passphrase).await?;
    let cookie = cookie_of(&app, &begun.cookie);
    let session =
        Session { by: person.name, role: Some(person.role), sign_in: app.page.sign_in, csrf: begun.csrf };
    Ok(([(header::SET_COOKIE, cookie)], Json(session)).into_response())
}

pub(super) async fn sign_out(State(app): State<Arc<App>>, who: Who) -> Result<StatusCode, Problem> {
    app.sign_out(&who).await?;
    Ok(StatusCode::NO_CONTENT)
}
