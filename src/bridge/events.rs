//! A feed as server-sent events (WHATWG HTML, section 9.2), for receivers that come here.
//!
//! `GET /` with the key, where there is one, as `Authorization: Bearer …`. An event's `id` is the
//! entry's number, its `event` the kind, its `data` the message. Who comes back with
//! `Last-Event-ID` has kept everything up to there: the cursor moves there, and the stream goes on
//! after it. Who comes without begins at the cursor.

use super::feed::Source;
use super::signature::same;
use super::standing::Standing;
use crate::bench::entry::Seq;
use crate::station::attach::Handles;
use crate::station::follow::Follow;
use crate::station::settings::feed::Feed;
use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, KeepAlive};
use axum::response::{IntoResponse, Response, Sse};
use axum::routing::get;
use futures_util::stream::{self, StreamExt};
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{Mutex, OwnedSemaphorePermit, Semaphore};

/// How many receivers there are at most at one time.
const RECEIVERS: usize = 16;
const RETRY: Duration = Duration::from_secs(5);
/// How long streams may take to end at the station's end.
const END: Duration = Duration::from_secs(1);

/// Where receivers come to, and what they have to know.
#[derive(Debug)]
pub(super) struct Events {
    pub(super) at: SocketAddr,
    pub(super) key: Option<Vec<u8>>,
}

struct Served {
    source: Mutex<Source>,
    key: Option<Vec<u8>>,
    places: Arc<Semaphore>,
    stopped: crate::station::attach::Stopped,
}

/// Serves a feed until the station ends.
pub(super) async fn run(feed: Feed, events: Events, handles: Handles, standing: Arc<Standing>) {
    let stopped = handles.stopped.clone();
    tokio::select! {
        () = serve(&feed, events, handles, &standing) => {}
        () = async { stopped.wait().await; tokio::time::sleep(END).await } => {}
    }
}

async fn serve(feed: &Feed, events: Events, handles: Handles, standing: &Arc<Standing>) {
    let (clock, stopped) = (Arc::clone(&handles.clock), handles.stopped.clone());
    let down = |why: &str| standing.down(&feed.name, why, clock());
    let source = loop {
        match Source::open(feed, &handles, Arc::clone(standing)).await {
            Ok(source) => break source,
            Err(why) => down(&why.to_string()),
        }
        tokio::time::sleep(RETRY).await;
    };
    drop(handles);
    let served = Arc::new(Served {
        source: Mutex::new(source),
        key: events.key,
        places: Arc::new(Semaphore::new(RECEIVERS)),
        stopped: stopped.clone(),
    });
    let router = Router::new().route("/", get(stream_of)).with_state(served);
    loop {
        match TcpListener::bind(events.at).await {
            Ok(listener) => {
                standing.up(&feed.name, clock());
                let ended =
                    axum::serve(listener, router.clone()).with_graceful_shutdown(stopped.clone().wait());
                match ended.await {
                    Ok(()) => return,
                    Err(why) => down(&why.to_string()),
                }
            }
            Err(why) => down(&format!("cannot listen at {}: {why}", events.at)),
        }
        tokio::time::sleep(RETRY).await;
    }
}

async fn stream_of(State(served): State<Arc<Served>>, headers: HeaderMap) -> Response {
    let refused = |status, why: &str| (status, format!("{why}\n")).into_response();
    if let Some(key) = &served.key {
        let given = headers.get(header::AUTHORIZATION).map(|value| value.as_bytes());
        let given = given.and_then(|value| value.strip_prefix(b"Bearer ")).unwrap_or_default();
        if !same(given, key) {
            return refused(StatusCode::UNAUTHORIZED, "expected Authorization: Bearer and the feed's key");
        }
    }
    let Ok(place) = Arc::clone(&served.places).try_acquire_owned() else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, "too many receivers are connected");
    };
    let last = match headers.get("last-event-id").map(|id| id.to_str().unwrap_or_default().parse()) {
        None => None,
        Some(Ok(id)) => Some(Seq(id)),
        Some(Err(_)) => {
            return refused(StatusCode::BAD_REQUEST, "Last-Event-ID: expected the number of an entry");
        }
    };
    let follow = {
        let mut source = served.source.lock().await;
        if let Some(last) = last.filter(|last| *last > source.cursor) {
            source.cursor = last;
            source.kept(0, last);
        }
        source.follow(last.unwrap_or(source.cursor))
    };
    let stopped = served.stopped.clone();
    let live = Live { served, follow, ready: VecDeque::new(), _place: place };
    let stream = stream::unfold(live, |mut live| async move {
        let event = live.next().await?;
        Some((event, live))
    });
    Sse::new(stream.take_until(stopped.wait())).keep_alive(KeepAlive::default()).into_response()
}

struct Live {
    served: Arc<Served>,
    follow: Follow,
    ready: VecDeque<Event>,
    _place: OwnedSemaphorePermit,
}

impl Live {
    async fn next(&mut self) -> Option<Result<Event, std::convert::Infallible>> {
        loop {
            if let Some(event) = self.ready.pop_front() {
                return Some(Ok(event));
            }
            let messages = match self.follow.next().await {
                Ok(Some(entries)) => self.served.source.lock().await.messages(&entries).await,
                Ok(None) => return None,
                Err(why) => Err(why),
            };
            match messages {
                Ok(messages) => self.ready.extend(messages.into_iter().map(|message| {
                    Event::default().id(message.seq.to_string()).event(message.kind).data(message.json)
                })),
                Err(why) => {
                    tracing::warn!(%why, "a stream of events cannot go on");
                    return None;
                }
            }
        }
    }
}
