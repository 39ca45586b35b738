//! A feed as server-sent events (WHATWG HTML, section 9.2), for receivers that come here.
//!
//! `GET /` with the key, where there is one, as `Authorization: Bearer …`. An event's `id` is the
//! entry's number, its `event` the kind, its `data` the message. Who comes back with
//! `Last-Event-ID` has kept everything up to there: the cursor moves there, and the stream goes on
//! after it. Who comes without begins at the cursor. A receiver that stays says what it has kept by
//! `POST /` with nothing but the number of the last entry.

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
    let router = Router::new().route("/", get(stream_of).post(kept)).with_state(served);
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

/// A refusal, and why.
struct Refused(StatusCode, String);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, self.1 + "\n").into_response()
    }
}

fn refused(status: StatusCode, why: impl Into<String>) -> Refused {
    Refused(status, why.into())
}

impl Served {
    fn knows(&self, headers: &HeaderMap) -> Result<(), Refused> {
        let Some(key) = &self.key else { return Ok(()) };
        let given = headers.get(header::AUTHORIZATION).map(|value| value.as_bytes());
        let given = given.and_then(|value| value.strip_prefix(b"Bearer ")).unwrap_or_default();
        if same(given, key) {
            return Ok(());
        }
        Err(refused(StatusCode::UNAUTHORIZED, "expected Authorization: Bearer and the feed's key"))
    }

    /// Moves the cursor on, never back; an entry that is not there yet cannot have been kept.
    async fn kept(&self, last: Seq) -> Result<(), Refused> {
        let mut source = self.source.lock().await;
        let head =
            source.head().await.map_err(|why| refused(StatusCode::SERVICE_UNAVAILABLE, why.to_string()))?;
        if last > head {
            return Err(refused(StatusCode::BAD_REQUEST, format!("entry {last} is not there yet")));
        }
        if last > source.cursor {
            source.cursor = last;
            source.kept(0, last);
        }
        Ok(())
    }
}

async fn kept(
    State(served): State<Arc<Served>>,
    headers: HeaderMap,
    content: String,
) -> Result<StatusCode, Refused> {
    served.knows(&headers)?;
    let expected = "expected the number (seq) of the last entry that was kept";
    let last = content.trim().parse().map_err(|_| refused(StatusCode::BAD_REQUEST, expected))?;
    served.kept(Seq(last)).await?;
    Ok(StatusCode::NO_CONTENT)
}

async fn stream_of(State(served): State<Arc<Served>>, headers: HeaderMap) -> Result<Response, Refused> {
    served.knows(&headers)?;
    let place = Arc::clone(&served.places)
        .try_acquire_owned()
        .map_err(|_| refused(StatusCode::SERVICE_UNAVAILABLE, "too many receivers are connected"))?;
    let expected = "Last-Event-ID: expected the number of an entry";
    let last = headers.get("last-event-id").map(|id| id.to_str().unwrap_or_default().parse().map(Seq));
    let last = last.transpose().map_err(|_| refused(StatusCode::BAD_REQUEST, expected))?;
    if let Some(last) = last {
        served.kept(last).await?;
    }
    let follow = {
        let source = served.source.lock().await;
        source.follow(last.unwrap_or(source.cursor))
    };
    let stopped = served.stopped.clone();
    let live = Live { served, follow, ready: VecDeque::new(), _place: place };
    let stream = stream::unfold(live, |mut live| async move {
        let event = live.next().await?;
        Some((event, live))
    });
    Ok(Sse::new(stream.take_until(stopped.wait())).keep_alive(KeepAlive::default()).into_response())
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
