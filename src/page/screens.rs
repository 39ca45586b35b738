//! Pages for people: what all of them share, and where they are.
//!
//! A page is a template under `templates/` that extends `base.html`, a struct with a `frame`
//! field, and a handler that ends in [`render`]. Each form holds `{{ frame.csrf_field()|safe }}`.
//! Words come from [`text`], numbers and dates from [`language`]; `lenses`, `bytes` and
//! `summary` turn what is on record into lines and tables. Every page works without its script:
//! the script fetches the same page again and changes what is marked `data-live` in it.

mod bench;
mod bytes;
mod certificate;
mod chart;
mod commands;
mod entry;
mod hand;
mod instruments;
mod jobs;
pub mod language;
mod layouts;
mod learn;
mod ledger;
mod lenses;
mod manual;
mod notes;
mod order;
mod people;
mod practice;
mod references;
mod reports;
mod summary;
pub mod text;

use super::app::App;
use super::problem::Problem;
use super::rights::Right;
use super::session::Who;
use crate::bench::entry::NOT_SIGNED_IN;
use crate::evidence::plot;
use crate::report;
use crate::station::recorder::Health;
use askama::Template;
use axum::Router;
use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use language::Language;
use std::sync::Arc;

/// What pages are made with, besides their templates: name, kind, bytes.
const ASSETS: &[(&str, &str, &[u8])] = &[
    ("style.css", "text/css", include_bytes!("assets/style.css")),
    ("report.css", "text/css", report::LOOK.as_bytes()),
    ("plot.css", "text/css", plot::LOOK.as_bytes()),
    ("page.js", "text/javascript", include_bytes!("assets/page.js")),
    ("sign.svg", "image/svg+xml", include_bytes!("assets/sign.svg")),
];

/// Where people sign in.
pub(super) const SIGN_IN: &str = "/sign-in";

/// Where the pages are.
pub fn router() -> Router<Arc<App>> {
    Router::new()
        .route("/", get(bench::show))
        .route("/scan", post(bench::scan))
        .route("/commands", get(commands::show))
        .route("/jobs", get(jobs::list))
        .route("/jobs/{job}", get(jobs::show))
        .route("/jobs/{job}/certificate", get(certificate::show))
        .route("/jobs/{job}/manual", get(manual::show).post(manual::save))
        .route("/jobs/{job}/manual/{seq}", get(manual::result))
        .route("/cross-checks", post(manual::compare))
        .route("/practice", get(practice::show).post(practice::save))
        .route("/reference", get(references::show).post(references::add))
        .route("/reference/checks", post(references::check))
        .route("/orders/new", get(order::show).post(order::save))
        .route("/ledger", get(ledger::show))
        .route("/ledger/{seq}", get(entry::show))
        .route("/texts/{hash}", get(entry::text))
        .route("/notes", post(notes::note))
        .route("/overrides", post(notes::override_fail))
        .route("/instruments", get(instruments::show))
        .route("/layouts", get(layouts::list))
        .route("/layouts/learn", get(learn::show).post(learn::learnt))
        .route("/layouts/{name}", get(layouts::show))
        .route("/reports", get(reports::index))
        .route("/reports/{kind}", get(reports::show))
        .route("/people", get(people::show).post(people::set))
        .route("/people/remove", post(people::remove))
        .route("/assets/{name}", get(asset))
}

/// What stands around every page: head, banner, navigation and foot.
#[derive(Debug, Clone)]
pub struct Frame {
    /// The page's title.
    pub title: String,
    /// Under which place of the navigation it stands; empty for none.
    pub place: &'static str,
    /// The station's name.
    pub station: String,
    /// Who asks.
    pub by: String,
    /// Their role, where one is signed in.
    pub role: Option<String>,
    /// Whether they keep the accounts.
    pub keeps_accounts: bool,
    /// Whether people sign in here.
    pub sign_in: bool,
    /// Why nothing is recorded, where that is so.
    pub not_recording: Option<String>,
    /// Its language.
    pub say: Language,
    csrf: String,
}

impl Frame {
    /// Around a page of this title.
    pub fn new(app: &App, who: &Who, title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            place: "",
            station: app.settings.name.clone(),
            by: who.by().to_owned(),
            role: who.role().map(|role| role.to_string()),
            keeps_accounts: who.may(Right::Accounts),
            sign_in: app.page.sign_in,
            not_recording: match app.health() {
                Health::Recording => None,
                Health::NotRecording { why } => Some(why),
            },
            say: app.language(),
            csrf: who.csrf.clone(),
        }
    }

    /// The same under a place of the navigation.
    pub fn under(self, place: &'static str) -> Self {
        Self { place, ..self }
    }

    /// Whether it is the page to sign in on.
    pub fn is_sign_in(&self) -> bool {
        self.place == SIGN_IN
    }

    /// The field that every form has to hold.
    pub fn csrf_field(&self) -> String {
        // The token is made of hexadecimal digits.
        format!(r#"<input type="hidden" name="csrf" value="{}">"#, self.csrf)
    }

    /// The token, for the script: it sends it as `x-csrf-token`.
    pub fn csrf(&self) -> &str {
        &self.csrf
    }

    /// The pages that every page leads to: where, what it is called, whether this one stands there.
    pub fn navigation(&self) -> Vec<(&'static str, &'static str, bool)> {
        let say = &self.say;
        let mut places = vec![
            ("/", say.nav_bench),
            ("/jobs", say.nav_jobs),
            ("/ledger", say.nav_ledger),
            ("/reports", say.nav_reports),
            ("/practice", say.nav_practice),
            ("/instruments", say.nav_instruments),
            ("/layouts", say.nav_layouts),
        ];
        if self.keeps_accounts {
            places.push(("/people", say.nav_people));
        }
        places.into_iter().map(|(place, name)| (place, name, place == self.place)).collect()
    }
}

impl App {
    /// The language of the pages.
    pub fn language(&self) -> Language {
        Language::new(&self.page.language, self.timezone.clone())
    }
}

/// A page out of its template.
pub fn render(page: &impl Template) -> Response {
    match page.render() {
        Ok(text) => Html(text).into_response(),
        Err(why) => (StatusCode::INTERNAL_SERVER_ERROR, Html(format!("this page cannot be made: {why}")))
            .into_response(),
    }
}

/// On to a place of this station after something was done; never to another site.
fn on_to(place: &str) -> Redirect {
    Redirect::to(super::sign::place(place))
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "problem.html")]
struct ProblemPage<'a> {
    frame: Frame,
    problem: &'a Problem,
}

/// The page that says what is wrong.
pub(super) fn problem_page(app: &App, who: Option<&Who>, problem: &Problem) -> Response {
    let title = app.language().problem;
    let frame = match who {
        Some(who) => Frame::new(app, who, title),
        None => Frame {
            title: title.to_owned(),
            place: "",
            station: app.settings.name.clone(),
            by: NOT_SIGNED_IN.to_owned(),
            role: None,
            keeps_accounts: false,
            sign_in: app.page.sign_in,
            not_recording: None,
            say: app.language(),
            csrf: String::new(),
        },
    };
    (problem.code(), render(&ProblemPage { frame, problem })).into_response()
}

async fn asset(Path(name): Path<String>) -> Result<Response, Problem> {
    let found = ASSETS.iter().find(|(known, _, _)| *known == name);
    let (_, kind, bytes) = found.ok_or_else(|| Problem::not_found("there is no such file"))?;
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        // They change with the program, and a page must not look like the one before.
        (header::CACHE_CONTROL, HeaderValue::from_static("no-cache")),
    ];
    Ok((headers, *bytes).into_response())
}
