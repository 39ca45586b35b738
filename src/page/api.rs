//! The HTTP JSON API: the same forms as files and the ledger have.
//!
//! `openapi.json` describes it, and a test holds the two to each other: each route here is in the
//! document, each of the document is here, and answers are as it says.

mod checks;
mod events;
mod export;
mod people;
mod record;
mod reports;
mod session;
mod station;
mod work;

use super::app::App;
use axum::Router;
use axum::http::header;
use axum::routing::{MethodRouter, delete, get, post};
use std::sync::Arc;

/// The description of the API, OpenAPI 3.1.
pub const DESCRIPTION: &str = include_str!("openapi.json");

macro_rules! routes {
    ($($method:ident $path:literal => $handler:path,)*) => {
        /// Every method and path.
        pub const ROUTES: &[(&str, &str)] = &[$((stringify!($method), $path)),*];

        fn handlers() -> impl Iterator<Item = (&'static str, MethodRouter<Arc<App>>)> {
            [$(($path, $method($handler))),*].into_iter()
        }
    };
}

routes! {
    get "/api/v1/openapi.json" => description,
    get "/api/v1/session" => session::show,
    post "/api/v1/session" => session::sign_in,
    delete "/api/v1/session" => session::sign_out,
    get "/api/v1/station" => station::show,
    get "/api/v1/in-force" => station::in_force,
    get "/api/v1/feeds" => station::feeds,
    get "/api/v1/jobs" => record::jobs,
    get "/api/v1/jobs/{job}" => record::job,
    get "/api/v1/entries" => record::search,
    get "/api/v1/entries/{seq}" => record::entry,
    get "/api/v1/export" => export::export,
    get "/api/v1/reports/{kind}" => reports::report,
    get "/api/v1/events" => events::events,
    post "/api/v1/current-job" => work::choose,
    post "/api/v1/orders" => work::orders,
    post "/api/v1/notes" => work::note,
    post "/api/v1/overrides" => work::override_fail,
    post "/api/v1/manual-readings" => checks::manual,
    post "/api/v1/cross-checks" => checks::cross_check,
    get "/api/v1/reference-lenses" => checks::register,
    post "/api/v1/reference-lenses" => checks::add_reference,
    post "/api/v1/instrument-checks" => checks::say_check,
    get "/api/v1/people" => people::list,
    post "/api/v1/people" => people::set,
    delete "/api/v1/people/{name}" => people::remove,
}

/// Where programs ask.
pub fn router() -> Router<Arc<App>> {
    handlers().fold(Router::new(), |router, (path, handler)| router.route(path, handler))
}

async fn description() -> ([(header::HeaderName, &'static str); 1], &'static str) {
    ([(header::CONTENT_TYPE, "application/json")], DESCRIPTION)
}
