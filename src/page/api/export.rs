//! Downloads: everything that a search finds, written as it is read.

use crate::bench::entry::Seq;
use crate::ledger::{Query, Reader};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::search::Search;
use crate::page::session::Who;
use crate::page::view::Envelope;
use axum::body::{Body, Bytes};
use axum::extract::{RawQuery, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;
use tokio::sync::mpsc;

/// How many hits are read at a time.
const BLOCK: usize = 256;
/// How many blocks may wait for a slow line.
const WAITING: usize = 4;

#[derive(Clone, Copy)]
enum Format {
    Csv,
    JsonLines,
}

pub(super) async fn export(
    State(app): State<Arc<App>>,
    who: Who,
    RawQuery(query): RawQuery,
) -> Result<Response, Problem> {
    who.needs(Right::Download)?;
    let (format, fields) = format_of(query.as_deref())?;
    let format = match format.as_deref() {
        Some("csv") => Format::Csv,
        Some("jsonl") | None => Format::JsonLines,
        Some(other) => return Err(Problem::unusable(format!("format: {other:?}: expected csv or jsonl"))),
    };
    let search: Search = serde_urlencoded::from_str(&fields).map_err(Problem::unusable)?;
    let query = search.query(&app.timezone)?;
    let most = if search.limit.trim().is_empty() { usize::MAX } else { query.limit };
    let place = app.stream_place()?;
    let (send, blocks) = mpsc::channel::<io::Result<Bytes>>(WAITING);
    let ledger = app.settings.ledger.clone();
    // Not one of the readers at hand: a long download must not keep pages waiting.
    tokio::task::spawn_blocking(move || {
        let _place = place;
        if let Err(why) = write(&ledger, query, most, format, &send) {
            // Nobody listens any more, or else a broken download tells.
            let _ = send.blocking_send(Err(why));
        }
    });
    let body = stream::unfold(blocks, |mut blocks| async move { Some((blocks.recv().await?, blocks)) });
    let (kind, name) = match format {
        Format::Csv => ("text/csv; charset=utf-8", "entries.csv"),
        Format::JsonLines => ("application/jsonl", "entries.jsonl"),
    };
    Ok((download(kind, name)?, Body::from_stream(body)).into_response())
}

/// The field `format` of a query, and the query without it.
pub(super) fn format_of(query: Option<&str>) -> Result<(Option<String>, String), Problem> {
    let mut fields: Vec<(String, String)> =
        serde_urlencoded::from_str(query.unwrap_or_default()).map_err(Problem::unusable)?;
    let format = fields.iter().position(|(name, _)| name == "format").map(|at| fields.remove(at).1);
    Ok((format, serde_urlencoded::to_string(&fields).map_err(Problem::fault)?))
}

/// The headers of a file of this kind and name.
pub(super) fn download(
    kind: &'static str,
    name: &str,
) -> Result<[(header::HeaderName, HeaderValue); 2], Problem> {
    let attached = HeaderValue::from_str(&format!("attachment; filename=\"{name}\""));
    Ok([
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CONTENT_DISPOSITION, attached.map_err(Problem::fault)?),
    ])
}

fn write(
    ledger: &Path,
    mut query: Query,
    mut left: usize,
    format: Format,
    send: &mpsc::Sender<io::Result<Bytes>>,
) -> io::Result<()> {
    let record = Reader::open(ledger).map_err(io::Error::other)?;
    let gone = |_| io::Error::from(io::ErrorKind::BrokenPipe);
    let mut head = matches!(format, Format::Csv);
    loop {
        query.limit = BLOCK.min(left);
        let hits = record.search(&query).map_err(io::Error::other)?;
        let mut block = Vec::new();
        match format {
            Format::JsonLines => {
                for hit in &hits {
                    serde_json::to_writer(&mut block, &Envelope::from(&hit.numbered))?;
                    writeln!(block)?;
                }
            }
            Format::Csv => {
                let mut csv = csv::Writer::from_writer(&mut block);
                if std::mem::take(&mut head) {
                    csv.write_record(["seq", "time", "kind", "jobs", "payload"])?;
                }
                for hit in &hits {
                    let entry = &hit.numbered;
                    let jobs: Vec<&str> = hit.jobs.iter().map(|job| job.as_str()).collect();
                    let (seq, time) = (entry.seq.to_string(), entry.time.to_string());
                    let payload = entry.entry.payload();
                    csv.write_record([&seq, &time, entry.entry.kind(), &jobs.join(" "), &payload])?;
                }
                csv.flush()?;
            }
        }
        if !block.is_empty() {
            send.blocking_send(Ok(block.into())).map_err(gone)?;
        }
        left -= hits.len();
        match hits.last() {
            Some(last) if hits.len() == query.limit && left > 0 => {
                query.before = Some(Seq(last.numbered.seq.0))
            }
            _ => return Ok(()),
        }
    }
}
