//! The web page and the HTTP API beneath it, served by the station's own process.
//!
//! Read in the order in which a request passes: [`server`] takes the connection ([`tls`] where it
//! is not from this computer), [`guard`] lets it through or not and finds out who asks
//! ([`session`], [`rights`]), [`sign`] signs people in against [`people`] and [`throttle`]s those
//! who guess, [`api`] answers programs and [`screens`] answers people. Both see the same things
//! ([`view`], [`search`], [`mod@feeds`], the station's board) and do the same things ([`act`]), all through
//! [`app::App`]. What goes wrong is a [`problem::Problem`].

pub mod act;
pub mod api;
pub mod app;
pub mod feeds;
pub mod guard;
pub mod people;
pub mod problem;
pub mod references;
pub mod reports;
pub mod rights;
pub mod screens;
pub mod search;
pub mod seen;
pub mod server;
pub mod session;
pub mod sign;
pub mod throttle;
pub mod tls;
pub mod view;

use crate::bridge::standing::Standing;
use crate::station::attach::{Attached, attached};
use crate::station::settings::Settings;
use app::App;
use axum::Router;
use std::sync::Arc;

/// Why the page cannot be served as the settings say.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct PageError(pub String);

/// The page as a task beside the station; nothing where the settings have no page. Everything
/// that can be wrong with the settings' files is found here, before the station starts.
///
/// # Errors
/// When the file of accounts, the certificate or the language cannot be used.
pub fn beside(settings: &Settings, feeds: Arc<Standing>) -> Result<Option<Attached>, PageError> {
    let Some(page) = settings.page.clone() else { return Ok(None) };
    if !screens::language::is_known(&page.language) {
        let known: Vec<&str> = screens::language::known().collect();
        let why = format!("[page] language = {:?}: expected one of {}", page.language, known.join(", "));
        return Err(PageError(why));
    }
    let people = people::People::load(&page.people).map_err(|why| PageError(why.to_string()))?;
    if people.is_empty() && page.sign_in {
        let file = page.people.display();
        tracing::warn!("nobody can sign in yet: {file} has no accounts; add one with `fociline people add`");
    }
    let tls = page.tls.as_ref().map(|tls| tls::load(tls, &page)).transpose()?;
    Ok(Some(attached(move |handles| server::run(page, people, tls, feeds, handles))))
}

/// Everything that is served.
pub fn router(app: Arc<App>) -> Router {
    Router::new()
        .merge(api::router())
        .merge(screens::router())
        .merge(sign::router())
        .fallback(async || problem::Problem::not_found("there is no such page"))
        .method_not_allowed_fallback(async || problem::Problem::method_not_allowed())
        .layer(axum::extract::DefaultBodyLimit::max(guard::LARGEST_BODY))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&app), guard::guard))
        .with_state(app)
}
