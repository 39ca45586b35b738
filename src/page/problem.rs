//! What goes wrong with a request, in words for the person in front of it.
//!
//! A program gets it as `application/problem+json` (RFC 9457); the [`guard`](super::guard) makes
//! a page of it where a person asked.

use super::people::PeopleError;
use crate::ledger::LedgerError;
use crate::station::asked::AskError;
use crate::station::recorder::Closed;
use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_with::skip_serializing_none;

/// Why a request is not answered as asked.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// The HTTP status.
    pub status: u16,
    /// What kind of problem it is, in a few words.
    pub title: &'static str,
    /// What is wrong, and what to do.
    pub detail: String,
    /// After how many seconds to try again.
    pub retry_after: Option<u64>,
}

impl Problem {
    /// A problem of this status.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        let title = status.canonical_reason().unwrap_or("Problem");
        Self { status: status.as_u16(), title, detail: detail.into(), retry_after: None }
    }

    /// What was sent cannot be used.
    pub fn unusable(why: impl ToString) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, why.to_string())
    }

    /// There is no such thing.
    pub fn not_found(what: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, what)
    }

    /// The address knows other methods.
    pub fn method_not_allowed() -> Self {
        Self::new(StatusCode::METHOD_NOT_ALLOWED, "this address does not take that method")
    }

    /// Nobody is signed in.
    pub fn sign_in_first() -> Self {
        Self::new(StatusCode::UNAUTHORIZED, "sign in first")
    }

    /// The person may not do that.
    pub fn forbidden(why: impl Into<String>) -> Self {
        Self::new(StatusCode::FORBIDDEN, why)
    }

    /// It cannot be done now.
    pub fn unavailable(why: impl Into<String>) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, why)
    }

    /// Too many tries: wait so many seconds.
    pub fn too_many(seconds: u64) -> Self {
        let detail = format!("too many tries: wait {seconds} seconds, then try again");
        Self { retry_after: Some(seconds), ..Self::new(StatusCode::TOO_MANY_REQUESTS, detail) }
    }

    /// A fault of the program or of the computer.
    pub fn fault(why: impl ToString) -> Self {
        let why = why.to_string();
        tracing::error!(%why, "a request could not be answered");
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, why)
    }

    /// The status.
    pub fn code(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = (self.code(), Json(&self)).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if let Some(seconds) = self.retry_after {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response.extensions_mut().insert(self);
        response
    }
}

impl From<LedgerError> for Problem {
    fn from(why: LedgerError) -> Self {
        Self::fault(why)
    }
}

impl From<AskError> for Problem {
    fn from(why: AskError) -> Self {
        match why {
            AskError::Refused(why) => Self::unusable(why),
            AskError::Ledger(why) => why.into(),
        }
    }
}

impl From<PeopleError> for Problem {
    fn from(why: PeopleError) -> Self {
        match why {
            PeopleError::Refused(why) => Self::unusable(why),
            other => Self::fault(other),
        }
    }
}

impl From<Closed> for Problem {
    fn from(why: Closed) -> Self {
        Self::unavailable(why.to_string())
    }
}
