//! The first page: how the station stands.

use super::{Frame, render};
use crate::page::app::App;
use crate::page::session::Who;
use crate::station::board::Board;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "start.html")]
struct Start {
    frame: Frame,
    job: Option<String>,
    board: Board,
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Response {
    let now = app.now();
    let board = app.board(Board::clone);
    let job = board.current(now).map(|current| current.job.to_string());
    render(&Start { frame: Frame::new(&app, &who, "Station"), job, board })
}
