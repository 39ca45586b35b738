//! Listening, for as long as the station runs.

use super::app::App;
use super::people::People;
use crate::bench::entry::Seq;
use crate::bridge::standing::Standing;
use crate::ledger::Reader;
use crate::station::attach::Handles;
use crate::station::board::LOOK_BACK;
use crate::station::follow::Follow;
use crate::station::settings::Page;
use axum_server::tls_rustls::{RustlsAcceptor, RustlsConfig};
use axum_server::{Handle, Server};
use jiff::tz::TimeZone;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

/// The pause before a failed try to listen is repeated.
const RETRY: Duration = Duration::from_secs(5);
/// A request's head has to come in within this time.
const HEAD: Duration = Duration::from_secs(10);
/// How long requests under way may take at the end.
const END: Duration = Duration::from_secs(3);
/// How often the file of accounts is looked at.
const LOOK_AT_PEOPLE: Duration = Duration::from_secs(1);

/// Serves the page until the station ends. It never ends the station: when it cannot listen it
/// says so and tries again.
pub async fn run(
    page: Page,
    people: People,
    tls: Option<RustlsConfig>,
    feeds: Arc<Standing>,
    handles: Handles,
) {
    let timezone = TimeZone::system();
    let (recorder, stopped) = (handles.recorder.clone(), handles.stopped.clone());
    let app = Arc::new(App::new(page, people, timezone, feeds, handles));
    let head = app.read(|reader: &Reader| reader.head()).await.map_or(Seq::default(), |head| head.seq);
    let follow = Follow::after(Seq(head.0.saturating_sub(LOOK_BACK)), &recorder, app.settings.ledger.clone());
    drop(recorder);
    let work = async {
        tokio::join!(watch_people(&app), async {
            app.drawn_to(head).await;
            listen(&app, tls).await;
        });
    };
    tokio::select! {
        () = work => {}
        // Goes on until the last request is answered: it may wait for the board.
        () = draw(&app, follow) => {}
        // All of it ends by itself, and this is for what does not.
        () = async { stopped.wait().await; tokio::time::sleep(2 * END).await } => {}
    }
    app.close();
}

/// Keeps the board as the ledger is.
async fn draw(app: &App, mut follow: Follow) {
    loop {
        match follow.next().await {
            Ok(Some(entries)) => app.draw(&entries),
            Ok(None) => return,
            Err(why) => {
                tracing::error!(%why, "the board cannot be drawn on");
                tokio::time::sleep(RETRY).await;
            }
        }
    }
}

/// Takes over what the `people` command changes.
async fn watch_people(app: &App) {
    let mut stopped = std::pin::pin!(app.stopped.clone().wait());
    let stamp =
        || std::fs::metadata(&app.page.people).and_then(|meta| Ok((meta.modified()?, meta.len()))).ok();
    let mut seen = None;
    loop {
        tokio::select! {
            () = tokio::time::sleep(LOOK_AT_PEOPLE) => {}
            () = &mut stopped => return,
        }
        let now = Some(stamp());
        if now == seen {
            continue;
        }
        // The page itself changes the file under this lock too.
        let _turn = app.one_at_a_time.lock().await;
        seen = now;
        match People::load(&app.page.people) {
            Ok(people) => {
                if let Err(why) = app.take_people(people, "the file of accounts", None).await {
                    tracing::error!(why = why.detail, "a change of accounts is not on record");
                }
            }
            Err(why) => {
                tracing::error!(%why, "the accounts stay as they were");
            }
        }
    }
}

async fn listen(app: &Arc<App>, tls: Option<RustlsConfig>) {
    let mut stopped = std::pin::pin!(app.stopped.clone().wait());
    loop {
        let why = match TcpListener::bind(app.page.listen) {
            Ok(listener) => {
                let address = listener.local_addr().unwrap_or(app.page.listen);
                let scheme = if tls.is_some() { "https" } else { "http" };
                tracing::info!(url = format!("{scheme}://{address}/"), "the page is served");
                match serve(app, listener, tls.clone()).await {
                    Ok(()) => return,
                    Err(why) => why,
                }
            }
            Err(why) => why,
        };
        tracing::error!(listen = %app.page.listen, %why, "the page cannot be served; trying again");
        tokio::select! {
            () = tokio::time::sleep(RETRY) => {}
            () = &mut stopped => return,
        }
    }
}

async fn serve(app: &Arc<App>, listener: TcpListener, tls: Option<RustlsConfig>) -> std::io::Result<()> {
    let service = super::router(Arc::clone(app)).into_make_service_with_connect_info::<SocketAddr>();
    let server = axum_server::from_tcp(listener)?;
    let handle = Handle::new();
    let stopped = app.stopped.clone();
    let end = handle.clone();
    let ending = tokio::spawn(async move {
        stopped.wait().await;
        end.graceful_shutdown(Some(END));
    });
    let served = match tls {
        None => set_up(server, handle).serve(service).await,
        Some(tls) => {
            let acceptor = RustlsAcceptor::new(tls).handshake_timeout(HEAD);
            set_up(server.acceptor(acceptor), handle).serve(service).await
        }
    };
    ending.abort();
    served
}

fn set_up<A>(server: Server<SocketAddr, A>, handle: Handle<SocketAddr>) -> Server<SocketAddr, A> {
    let mut server = server.handle(handle).http1_only().first_request_timeout(HEAD);
    server.http_builder().http1().header_read_timeout(HEAD);
    server
}
