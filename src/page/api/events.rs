//! Server-sent events: every committed entry as it is committed, and whether anything is.
//!
//! An entry's number is the event's id. A browser that comes back says the last one it has seen,
//! and gets all that came since, from the ledger.

use super::station::HealthView;
use crate::bench::entry::Seq;
use crate::ledger::Reader;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::{Key, Who};
use crate::page::view::Envelope;
use crate::station::follow::Follow;
use crate::station::recorder::Health;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use futures_util::stream::{self, Stream, StreamExt};
use serde::Deserialize;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{OwnedSemaphorePermit, watch};

/// How often it is asked whether the session still holds.
const LOOK_AT_SESSION: Duration = Duration::from_secs(15);
/// After this time a browser comes back.
const COME_BACK: Duration = Duration::from_secs(2);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct After {
    /// Like the header `Last-Event-ID`, which wins, for a first request.
    after: Option<u64>,
}

pub(super) async fn events(
    State(app): State<Arc<App>>,
    who: Who,
    Query(After { after }): Query<After>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, axum::Error>>>, Problem> {
    let place = app.stream_place()?;
    let last = match headers.get("last-event-id") {
        None => after,
        Some(id) => {
            let wrong = || Problem::unusable("Last-Event-ID: expected the number of an entry");
            Some(id.to_str().ok().and_then(|id| id.parse().ok()).ok_or_else(wrong)?)
        }
    };
    let last = match last {
        Some(last) => Seq(last),
        None => app.read(|record: &Reader| record.head()).await?.seq,
    };
    let follow = Follow::after(last, &app.recorder()?, app.settings.ledger.clone());
    let mut health = app.watch_health();
    health.mark_changed();
    let stopped = app.stopped.clone();
    let live = Live { session: who.session, follow, health, ready: VecDeque::new(), app, _place: place };
    let stream = stream::unfold(live, |mut live| async move {
        let event = live.next().await?;
        Some((event, live))
    });
    Ok(Sse::new(stream.take_until(stopped.wait())).keep_alive(KeepAlive::default()))
}

struct Live {
    app: Arc<App>,
    session: Option<Key>,
    follow: Follow,
    health: watch::Receiver<Health>,
    ready: VecDeque<Result<Event, axum::Error>>,
    _place: OwnedSemaphorePermit,
}

impl Live {
    /// The next event; nothing when the stream is over.
    async fn next(&mut self) -> Option<Result<Event, axum::Error>> {
        loop {
            if !self.still_may() {
                return None;
            }
            if let Some(event) = self.ready.pop_front() {
                return Some(event);
            }
            tokio::select! {
                biased;
                changed = self.health.changed() => {
                    changed.ok()?;
                    let health = HealthView::from(self.health.borrow_and_update().clone());
                    self.ready.push_back(Event::default().retry(COME_BACK).event("health").json_data(health));
                }
                next = self.follow.next() => match next {
                    Ok(Some(entries)) => {
                        // Whoever asks back on hearing of an entry has to find it on the board.
                        self.app.drawn_to(self.follow.last()).await;
                        self.ready.extend(entries.iter().map(|numbered| {
                            let id = numbered.seq.to_string();
                            Event::default().id(id).event("entry").json_data(Envelope::from(numbered))
                        }));
                    }
                    Ok(None) => return None,
                    Err(why) => {
                        tracing::warn!(%why, "a live stream cannot go on");
                        return None;
                    }
                },
                () = tokio::time::sleep(LOOK_AT_SESSION) => {}
            }
        }
    }

    fn still_may(&self) -> bool {
        match &self.session {
            Some(key) => self.app.sessions.is_good(key, &self.app.people(), Instant::now()),
            None => !self.app.page.sign_in,
        }
    }
}
