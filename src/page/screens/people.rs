//! The accounts, for those who keep them.

use super::language::Language;
use super::{Frame, on_to, render};
use crate::bench::entry::Role;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use askama::Template;
use axum::extract::{Form, State};
use axum::response::{Redirect, Response};
use serde::Deserialize;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "people.html")]
struct People {
    frame: Frame,
    say: Language,
    accounts: Vec<(String, Role)>,
    roles: [Role; 3],
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Result<Response, Problem> {
    who.needs(Right::Accounts)?;
    let say = app.language();
    let people = app.people();
    let page = People {
        frame: Frame::new(&app, &who, say.nav_people).under("/people"),
        accounts: people.iter().map(|account| (account.name.clone(), account.role)).collect(),
        roles: [Role::Bench, Role::Quality, Role::Admin],
        say,
    };
    Ok(render(&page))
}

#[derive(Deserialize)]
pub(super) struct Account {
    name: String,
    role: Option<Role>,
    #[serde(default)]
    passphrase: String,
}

pub(super) async fn set(
    State(app): State<Arc<App>>,
    who: Who,
    Form(account): Form<Account>,
) -> Result<Redirect, Problem> {
    let passphrase = Some(account.passphrase).filter(|words| !words.is_empty());
    app.set_account(&who, account.name, account.role, passphrase).await?;
    Ok(on_to("/people"))
}

#[derive(Deserialize)]
pub(super) struct Named {
    name: String,
}

pub(super) async fn remove(
    State(app): State<Arc<App>>,
    who: Who,
    Form(named): Form<Named>,
) -> Result<Redirect, Problem> {
    app.remove_account(&who, named.name).await?;
    Ok(on_to("/people"))
}
