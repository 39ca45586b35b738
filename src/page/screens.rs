//! Pages for people: what all of them share, and where they are.
//!
//! A page is a template under `templates/` that extends `base.html`, a struct with a `frame`
//! field, and a handler that ends in [`render`]. Each form holds `{{ frame.csrf_field()|safe }}`.

mod start;

use super::app::App;
use super::problem::Problem;
use super::session::Who;
use crate::bench::entry::NOT_SIGNED_IN;
use crate::station::recorder::Health;
use askama::Template;
use axum::Router;
use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use std::sync::Arc;

/// The pages that every page leads to: where, and what it is called.
const NAVIGATION: &[(&str, &str)] = &[("/", "Station")];

/// What pages are made with, besides their templates: name, kind, bytes.
const ASSETS: &[(&str, &str, &[u8])] = &[("style.css", "text/css", include_bytes!("assets/style.css"))];

/// What must stand at every page's foot.
pub const CAUTIONS: [&str; 4] = [
    "Measurements support inspection and do not replace it; the responsible licensed person decides.",
    "Local codes and the current edition of the standard prevail over the tables here.",
    "Tables were entered from published summaries and must be checked against the lab's own copy before use.",
    "Safety eyewear has other standards (impact, marking) that this does not judge.",
];

/// Where the pages are.
pub fn router() -> Router<Arc<App>> {
    Router::new().route("/", get(start::show)).route("/assets/{name}", get(asset))
}

/// What stands around every page: head, banner, navigation and foot.
#[derive(Debug, Clone)]
pub struct Frame {
    /// The page's title.
    pub title: String,
    /// The station's name.
    pub station: String,
    /// Who asks.
    pub by: String,
    /// Their role, where one is signed in.
    pub role: Option<String>,
    /// Why nothing is recorded, where that is so.
    pub not_recording: Option<String>,
    csrf: String,
}

impl Frame {
    /// Around a page of this title.
    pub fn new(app: &App, who: &Who, title: &str) -> Self {
        Self {
            title: title.to_owned(),
            station: app.settings.name.clone(),
            by: who.by().to_owned(),
            role: who.role().map(|role| role.to_string()),
            not_recording: match app.health() {
                Health::Recording => None,
                Health::NotRecording { why } => Some(why),
            },
            csrf: who.csrf.clone(),
        }
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

    /// The pages that every page leads to.
    pub fn navigation(&self) -> &'static [(&'static str, &'static str)] {
        NAVIGATION
    }

    /// What must stand at every page's foot.
    pub fn cautions(&self) -> [&'static str; 4] {
        CAUTIONS
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

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "problem.html")]
struct ProblemPage<'a> {
    frame: Frame,
    problem: &'a Problem,
}

/// The page that says what is wrong.
pub(super) fn problem_page(app: &App, who: Option<&Who>, problem: &Problem) -> Response {
    let frame = match who {
        Some(who) => Frame::new(app, who, problem.title),
        None => Frame {
            title: problem.title.to_owned(),
            station: app.settings.name.clone(),
            by: NOT_SIGNED_IN.to_owned(),
            role: None,
            not_recording: None,
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
        (header::CACHE_CONTROL, HeaderValue::from_static("max-age=300")),
    ];
    Ok((headers, *bytes).into_response())
}
