//! Signing in and out.

use super::app::App;
use super::guard::cookie_of;
use super::problem::Problem;
use super::screens::{self, Frame, render};
use super::session::{Begun, Person, Who};
use crate::bench::entry::PersonDid;
use askama::Template;
use axum::Router;
use axum::extract::{Form, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use std::sync::Arc;
use std::time::Instant;

/// The pages for it.
pub fn router() -> Router<Arc<App>> {
    Router::new().route("/sign-in", get(show).post(sign_in)).route("/sign-out", post(sign_out))
}

impl App {
    /// Begins a session for a name and a passphrase, and ends the one there was.
    ///
    /// # Errors
    /// When they are not somebody's, there were too many tries, or it cannot be recorded.
    pub async fn sign_in(
        &self,
        who: &Who,
        name: &str,
        passphrase: String,
    ) -> Result<(Begun, Person), Problem> {
        let account = self.known(name, passphrase, who).await?;
        let person = Person { name: account.name.clone(), role: account.role, since: self.now() };
        self.record_person(PersonDid::SignedIn, Some(person.name.clone()), Some(person.role), who, None)
            .await?;
        if let Some(key) = &who.session {
            self.sessions.end(key);
        }
        let begun = self.sessions.begin(Some(account), person.since, Instant::now())?;
        Ok((begun, person))
    }

    /// Ends the session.
    ///
    /// # Errors
    /// When it cannot be recorded; it has ended all the same.
    pub async fn sign_out(&self, who: &Who) -> Result<(), Problem> {
        if let Some(key) = &who.session {
            self.sessions.end(key);
        }
        match &who.person {
            Some(person) => {
                self.record_person(
                    PersonDid::SignedOut,
                    Some(person.name.clone()),
                    Some(person.role),
                    who,
                    None,
                )
                .await
            }
            None => Ok(()),
        }
    }
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "sign_in.html")]
struct SignIn<'a> {
    frame: Frame,
    next: &'a str,
    name: &'a str,
    problem: Option<&'a str>,
    nobody: bool,
}

#[derive(Deserialize)]
struct Next {
    #[serde(default)]
    next: String,
}

#[derive(Deserialize)]
struct Given {
    name: String,
    passphrase: String,
    #[serde(default)]
    next: String,
}

/// A place on this station to go on to; never another site.
pub(super) fn place(next: &str) -> &str {
    let fits = next.starts_with('/') && !next.starts_with("//") && !next.contains(['\\', '\r', '\n', '\t']);
    if fits { next } else { "/" }
}

async fn show(State(app): State<Arc<App>>, who: Who, Query(Next { next }): Query<Next>) -> Response {
    let nobody = app.people().is_empty();
    render(&SignIn {
        frame: Frame::new(&app, &who, app.language().sign_in).under(screens::SIGN_IN),
        next: place(&next),
        name: "",
        problem: None,
        nobody,
    })
}

async fn sign_in(State(app): State<Arc<App>>, who: Who, Form(given): Form<Given>) -> Response {
    let next = place(&given.next);
    match app.sign_in(&who, &given.name, given.passphrase).await {
        Ok((begun, _)) => {
            let cookie = cookie_of(&app, &begun.cookie);
            ([(header::SET_COOKIE, cookie)], Redirect::to(next)).into_response()
        }
        Err(problem) if problem.code() == StatusCode::UNAUTHORIZED => {
            let frame = Frame::new(&app, &who, app.language().sign_in).under(screens::SIGN_IN);
            let page =
                SignIn { frame, next, name: &given.name, problem: Some(&problem.detail), nobody: false };
            (StatusCode::UNAUTHORIZED, render(&page)).into_response()
        }
        Err(problem) => problem.into_response(),
    }
}

async fn sign_out(State(app): State<Arc<App>>, who: Who) -> Result<Redirect, Problem> {
    app.sign_out(&who).await?;
    Ok(Redirect::to("/sign-in"))
}

#[cfg(test)]
mod tests {
    use super::place;

    #[test]
    fn nobody_is_sent_to_another_site() {
        assert_eq!(place("/jobs/4471?x=1"), "/jobs/4471?x=1");
        for next in [
            "",
            "https://elsewhere.example/",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "/\n/elsewhere.example",
        ] {
            assert_eq!(place(next), "/", "{next:?}");
        }
    }
}
