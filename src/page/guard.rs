//! What every request passes: is it meant for this station, does it come from its own pages, who
//! asks; and what every answer carries.

use super::app::App;
use super::problem::Problem;
use super::screens;
use super::session::Who;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// A request has at most so many bytes.
pub const LARGEST_BODY: usize = 1024 * 1024;
/// A request has to come in, and its answer to begin, within this time.
const ANSWER: Duration = Duration::from_secs(30);
/// Where programs put the token that forms carry in a field.
pub const CSRF_HEADER: &str = "x-csrf-token";

/// What every answer carries. Nothing comes from elsewhere, nothing is put into another page.
const CARRIED: [(HeaderName, &str); 5] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
         base-uri 'none'; frame-ancestors 'none'; form-action 'self'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Lets a request through or answers it, and puts on every answer what it has to carry.
pub async fn guard(
    State(app): State<Arc<App>>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    let path = request.uri().path().to_owned();
    let asked = request.uri().path_and_query().map_or("/", |asked| asked.as_str()).to_owned();
    let is_read = request.method().is_safe();
    let answer = tokio::time::timeout(ANSWER, pass(&app, from.ip(), request, next)).await;
    let (who, mut response) = match answer {
        Ok(answered) => answered,
        Err(_) => {
            let late = "no answer in time; look whether it was recorded before trying again";
            (None, Problem::unavailable(late).into_response())
        }
    };
    if !path.starts_with("/api/") {
        response = for_a_person(&app, who.as_ref(), &asked, is_read, response).await;
    } else if is_bare_error(&response) {
        response = problem_of(response).await.into_response();
    }
    let headers = response.headers_mut();
    for (name, value) in CARRIED {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

async fn pass(app: &Arc<App>, from: IpAddr, mut request: Request, next: Next) -> (Option<Who>, Response) {
    let headers = request.headers();
    if let Err(problem) = meant_for_us(app, headers).and_then(|()| not_too_large(headers)) {
        return (None, problem.into_response());
    }
    let cookie = cookie(app, request.headers());
    let found = cookie.and_then(|cookie| app.sessions.find(cookie, &app.people(), Instant::now()));
    let path = request.uri().path().to_owned();
    let mut set_cookie = None;
    let (session, person, csrf) = match found {
        Some((key, person, csrf)) => (Some(key), person, csrf),
        // A page's forms need a token, also before anybody has signed in.
        None if request.method() == Method::GET
            && !path.starts_with("/api/")
            && !path.starts_with("/assets/") =>
        {
            match app.sessions.begin(None, app.now(), Instant::now()) {
                Ok(begun) => {
                    set_cookie = Some(cookie_of(app, &begun.cookie));
                    (None, None, begun.csrf)
                }
                Err(problem) => return (None, problem.into_response()),
            }
        }
        None => (None, None, String::new()),
    };
    let who = Who { person, from, session, csrf };
    if !request.method().is_safe() {
        request = match from_our_pages(&who, request).await {
            Ok(request) => request,
            Err(problem) => return (Some(who), problem.into_response()),
        };
    }
    let mut response = if who.person.is_none() && app.page.sign_in && !is_open(&path) {
        Problem::sign_in_first().into_response()
    } else {
        request.extensions_mut().insert(who.clone());
        next.run(request).await
    };
    if let Some(value) = set_cookie
        && !response.headers().contains_key(header::SET_COOKIE)
    {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    (Some(who), response)
}

/// What is there before anybody has signed in.
fn is_open(path: &str) -> bool {
    ["/sign-in", "/api/v1/session", "/api/v1/openapi.json"].contains(&path) || path.starts_with("/assets/")
}

/// Against rebinding: a page from elsewhere whose name was made to point here names itself.
fn meant_for_us(app: &App, headers: &HeaderMap) -> Result<(), Problem> {
    let named = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    if is_our_name(&app.page, named) {
        return Ok(());
    }
    let why = format!(
        "{named:?} is not a name of this station; where it is meant to be, put it into `names` under [page] in its settings"
    );
    Err(Problem::new(StatusCode::MISDIRECTED_REQUEST, why))
}

fn is_our_name(page: &crate::station::settings::Page, named: &str) -> bool {
    let host = match named.rsplit_once(':') {
        Some((host, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) && !host.is_empty() => host,
        _ => named,
    };
    let host = host.to_ascii_lowercase();
    if host == "localhost" || page.names.contains(&host) {
        return true;
    }
    let bare = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(&host);
    match bare.parse::<IpAddr>() {
        // No name was looked up for an address: nobody can have made one point elsewhere.
        Ok(address) => {
            address == page.listen.ip() || address.is_loopback() || page.listen.ip().is_unspecified()
        }
        Err(_) => false,
    }
}

/// Whether a request that changes something comes from this station's own pages, or from a
/// program that was given the token. Gives the request back.
async fn from_our_pages(who: &Who, request: Request) -> Result<Request, Problem> {
    let headers = request.headers();
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    let site = text(HeaderName::from_static("sec-fetch-site"));
    let same_site = site.is_none_or(|site| site == "same-origin" || site == "none");
    let same_origin = match text(header::ORIGIN) {
        None => true,
        // What browsers say on a form of a page that gives no referrer.
        Some("null") => site == Some("same-origin"),
        Some(origin) => origin.split_once("://").map(|(_, host)| host) == text(header::HOST),
    };
    if !(same_site && same_origin) {
        return Err(Problem::forbidden("this was sent by a page of another site"));
    }
    let token = headers.get(CSRF_HEADER).map(|token| token.as_bytes().to_vec());
    let kind = text(header::CONTENT_TYPE).and_then(|kind| kind.split(';').next()).unwrap_or_default().trim();
    let is_json = kind.eq_ignore_ascii_case("application/json");
    let is_form = kind.eq_ignore_ascii_case("application/x-www-form-urlencoded");
    let missing = || {
        Problem::forbidden("the form is no longer good, perhaps since the last sign-in: load the page again")
    };
    match (token, who.session.is_some()) {
        (Some(token), true) if same(&token, who.csrf.as_bytes()) => Ok(request),
        (None, true) if is_form => {
            let (parts, body) = request.into_parts();
            let body = whole(body).await?;
            let fields: Vec<(String, String)> = serde_urlencoded::from_bytes(&body).unwrap_or_default();
            let token = fields.iter().find(|(name, _)| name == "csrf").map(|(_, token)| token.as_bytes());
            match token {
                Some(token) if same(token, who.csrf.as_bytes()) => {
                    Ok(Request::from_parts(parts, Body::from(body)))
                }
                _ => Err(missing()),
            }
        }
        // No browser sends this kind to another site without asking that site first, and it is
        // never told yes.
        (None, false) if is_json || request.method() == Method::DELETE => Ok(request),
        _ => Err(missing()),
    }
}

async fn whole(body: Body) -> Result<Bytes, Problem> {
    to_bytes(body, LARGEST_BODY).await.map_err(|_| too_large())
}

fn too_large() -> Problem {
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, format!("at most {LARGEST_BODY} bytes are taken"))
}

/// Told before the body is sent, where its length is said.
fn not_too_large(headers: &HeaderMap) -> Result<(), Problem> {
    let length =
        headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    if length.is_some_and(|length| length > LARGEST_BODY) { Err(too_large()) } else { Ok(()) }
}

/// In a time that does not tell how much of it agrees.
fn same(one: &[u8], other: &[u8]) -> bool {
    one.len() == other.len()
        && !one.is_empty()
        && one.iter().zip(other).fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}

/// Cookies do not tell ports apart, so that the name has to.
fn cookie_name(app: &App) -> String {
    // The prefix holds the cookie to TLS, this very host and every path (RFC 6265bis).
    let prefix = if app.page.tls.is_some() { "__Host-" } else { "" };
    format!("{prefix}fociline-{}", app.page.listen.port())
}

fn cookie<'h>(app: &App, headers: &'h HeaderMap) -> Option<&'h str> {
    let name = cookie_name(app);
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|value| value.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(found, _)| *found == name).map(|(_, value)| value)
}

/// The header that sets the session's cookie.
pub(super) fn cookie_of(app: &App, value: &str) -> HeaderValue {
    let secure = if app.page.tls.is_some() { "; Secure" } else { "" };
    let text = format!("{}={value}; Path=/; HttpOnly; SameSite=Strict{secure}", cookie_name(app));
    HeaderValue::from_str(&text).expect("digits, and letters of this program's own")
}

/// An error of the framework's own, which says little and says it as plain text.
fn is_bare_error(response: &Response) -> bool {
    let status = response.status();
    let kind = response.headers().get(header::CONTENT_TYPE);
    (status.is_client_error() || status.is_server_error())
        && kind.is_none_or(|kind| kind.as_bytes().starts_with(b"text/plain"))
}

async fn problem_of(response: Response) -> Problem {
    if let Some(problem) = response.extensions().get::<Problem>() {
        return problem.clone();
    }
    let status = response.status();
    let text = to_bytes(response.into_body(), 4096).await.unwrap_or_default();
    Problem::new(status, String::from_utf8_lossy(&text))
}

/// A person gets a page that says what is wrong, or is asked to sign in.
async fn for_a_person(
    app: &App,
    who: Option<&Who>,
    asked: &str,
    is_read: bool,
    response: Response,
) -> Response {
    if response.extensions().get::<Problem>().is_none() && !is_bare_error(&response) {
        return response;
    }
    let carried: Vec<_> = [header::SET_COOKIE, header::RETRY_AFTER, header::ALLOW]
        .into_iter()
        .filter_map(|name| response.headers().get(&name).cloned().map(|value| (name, value)))
        .collect();
    let problem = problem_of(response).await;
    let signed_out = who.is_some_and(|who| who.person.is_none());
    let mut page = if problem.code() == StatusCode::UNAUTHORIZED && signed_out && is_read {
        let next: String = serde_urlencoded::to_string([("next", asked)]).unwrap_or_default();
        Redirect::to(&format!("/sign-in?{next}")).into_response()
    } else {
        screens::problem_page(app, who, &problem)
    };
    page.headers_mut().extend(carried);
    page
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::settings::Page;

    fn page(listen: &str) -> Page {
        Page {
            listen: listen.parse().unwrap(),
            names: vec!["bench-1.lab.example".into()],
            sign_in: true,
            people: "people.toml".into(),
            idle: Duration::from_secs(60),
            language: "en".into(),
            tls: None,
        }
    }

    #[test]
    fn only_names_of_this_station_are_its_own() {
        let here = page("127.0.0.1:8765");
        for name in [
            "127.0.0.1:8765",
            "localhost",
            "LOCALHOST:8765",
            "[::1]:8765",
            "bench-1.lab.example:1",
            "127.0.0.1",
        ] {
            assert!(is_our_name(&here, name), "{name}");
        }
        for name in [
            "",
            ":80",
            "elsewhere.example",
            "192.0.2.7",
            "localhost.elsewhere.example",
            "127.0.0.1.elsewhere.example",
        ] {
            assert!(!is_our_name(&here, name), "{name}");
        }
        let everywhere = page("0.0.0.0:8765");
        assert!(is_our_name(&everywhere, "192.0.2.7:8765") && !is_our_name(&everywhere, "elsewhere.example"));
    }

    #[test]
    fn tokens_are_the_same_or_not() {
        assert!(same(b"abc", b"abc"));
        assert!(!same(b"abc", b"abd") && !same(b"abc", b"ab") && !same(b"", b""));
    }
}
