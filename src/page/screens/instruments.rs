//! The station's instruments and barcode readers: how each is set up and what came in on it; and
//! its feeds to other programs.

use super::bench::Port;
use super::chart::{self, Column};
use super::language::Language;
use super::{Frame, render};
use crate::bench::entry::{Entry, Numbered, Seq};
use crate::ledger::{LedgerError, Reader};
use crate::page::app::App;
use crate::page::feeds::{self, FeedView};
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::notation;
use crate::parsers::reading::JobNumber;
use crate::station::board::{Board, Device, HostOnBoard, PortOnBoard};
use crate::station::settings::{Address, DataBits, Flow, Parity, PortSettings, StopBits};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use jiff::Timestamp;
use std::sync::Arc;

/// How many of the last frames are shown.
const LAST: usize = 8;
/// How far back they are looked for, in entries; each step goes further.
const LOOK_BACK: [u64; 3] = [500, 10_000, 200_000];

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "instruments.html")]
struct Instruments {
    frame: Frame,
    say: Language,
    devices: Vec<DeviceView>,
    feeds: Vec<FeedLine>,
}

struct FeedLine {
    feed: FeedView,
    since: String,
    oldest: Option<String>,
}

struct DeviceView {
    port: Port,
    is_instrument: bool,
    path: String,
    line: String,
    layout: Option<String>,
    /// The host that it goes on talking to: where, and how that stands.
    host: Option<(String, String)>,
    columns: Vec<Column>,
    most: u32,
    frames: u32,
    rejects: u32,
    last: Vec<FrameLine>,
}

struct FrameLine {
    seq: Seq,
    time: String,
    text: String,
    reject: Option<String>,
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Result<Response, Problem> {
    let (now, say) = (app.now(), app.language());
    let board = app.board(Board::clone);
    let mut devices = Vec::new();
    for port in board.ports() {
        let name = port.name.clone();
        let last = match port.device {
            Device::Instrument => {
                let (frames, jobs) = app
                    .read(move |record| {
                        let frames = last_frames(record, &name)?;
                        let jobs = jobs_of(record, &frames)?;
                        Ok::<_, LedgerError>((frames, jobs))
                    })
                    .await?;
                app.shows_entry(&who, "reading", &jobs);
                frames
            }
            Device::Scanner => Vec::new(),
        };
        devices.push(device(&app, &say, port, &last, now));
    }
    let line = |feed: FeedView| FeedLine {
        since: feed.standing.since.map_or_else(String::new, |since| say.since(since, now)),
        oldest: feed.oldest.map(|oldest| say.since(oldest, now)),
        feed,
    };
    let feeds = feeds::feeds(&app).await?.into_iter().map(line).collect();
    Ok(render(&Instruments {
        frame: Frame::new(&app, &who, say.nav_instruments).under("/instruments"),
        devices,
        feeds,
        say,
    }))
}

/// The last frames of an instrument, the latest first.
fn last_frames(record: &Reader, instrument: &str) -> Result<Vec<Numbered>, LedgerError> {
    let head = record.head()?.seq;
    let mut found = Vec::new();
    for back in LOOK_BACK {
        let range = Seq(head.0.saturating_sub(back))..=head;
        found = record.frames_of(instrument, range, usize::MAX)?;
        if found.len() >= LAST || back >= head.0 {
            break;
        }
    }
    Ok(found.into_iter().rev().take(LAST).collect())
}

/// The jobs of the readings that these frames gave: a reading is written with its frame.
fn jobs_of(record: &Reader, frames: &[Numbered]) -> Result<Vec<JobNumber>, LedgerError> {
    let mut jobs = Vec::new();
    for frame in frames {
        if let Some(Entry::Reading(reading)) = record.entry(frame.seq.next())?.map(|numbered| numbered.entry)
        {
            jobs.extend(reading.job);
        }
    }
    Ok(jobs)
}

fn device(app: &App, say: &Language, port: &PortOnBoard, last: &[Numbered], now: Timestamp) -> DeviceView {
    let settings = &app.settings;
    let instrument = settings.instruments.iter().find(|instrument| instrument.name == port.name);
    let scanner = settings.scanners.iter().find(|scanner| scanner.name == port.name);
    let line = instrument.map(|instrument| &instrument.port).or(scanner.map(|scanner| &scanner.port));
    let (columns, most) = chart::columns(port.hours.iter(), app.timezone.to_datetime(now));
    let line_of = |numbered: &Numbered| match &numbered.entry {
        Entry::Frame(frame) => Some(FrameLine {
            seq: numbered.seq,
            time: say.since(numbered.time, now),
            text: notation::to_text(&frame.bytes),
            reject: frame.reject.as_ref().map(ToString::to_string),
        }),
        _ => None,
    };
    DeviceView {
        port: Port::of(say, port, now),
        is_instrument: port.device == Device::Instrument,
        path: port.path.clone(),
        line: line.map_or_else(String::new, |line| line_in_words(say, line)),
        layout: instrument.map(|instrument| instrument.reader.name().to_owned()),
        host: port.host.as_ref().map(|host| (host.path.clone(), host_in_words(say, host, now))),
        frames: columns.iter().map(|column| column.frames).sum(),
        rejects: columns.iter().map(|column| column.rejects).sum(),
        columns,
        most,
        last: last.iter().filter_map(line_of).collect(),
    }
}

/// How a host stands: `open since 12 minutes`, or why it is not.
fn host_in_words(say: &Language, host: &HostOnBoard, now: Timestamp) -> String {
    let Some(state) = host.state else { return say.host_none.to_owned() };
    let since = host.since.map(|since| format!("{} {}", say.since, say.since(since, now)));
    let words = [Some(state.to_string()), since, host.why.clone()];
    words.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// A line's settings, as the trade writes them: `9600 baud, 8N1`.
fn line_in_words(say: &Language, port: &PortSettings) -> String {
    if matches!(port.device, Address::Tcp(_)) {
        return "TCP".to_owned();
    }
    let data = match port.data_bits {
        DataBits::Five => 5,
        DataBits::Six => 6,
        DataBits::Seven => 7,
        DataBits::Eight => 8,
    };
    let parity = match port.parity {
        Parity::None => 'N',
        Parity::Odd => 'O',
        Parity::Even => 'E',
    };
    let stop = match port.stop_bits {
        StopBits::One => 1,
        StopBits::Two => 2,
    };
    let flow = match port.flow {
        Flow::None => say.flow_none,
        Flow::Software => say.flow_software,
        Flow::Hardware => say.flow_hardware,
    };
    format!("{} baud, {data}{parity}{stop}, {flow}", port.baud)
}

impl DeviceView {
    /// The chart in words, for those who do not see it.
    fn in_words(&self, say: &Language) -> String {
        let hours = self.columns.iter().filter(|column| column.frames > 0);
        let hours = hours.map(|column| match column.rejects {
            0 => format!("{:02}:00 {}", column.hour, column.frames),
            rejects => format!("{:02}:00 {} ({} {rejects})", column.hour, column.frames, say.not_read),
        });
        let hours: Vec<String> = hours.collect();
        if hours.is_empty() { say.nothing_today.to_owned() } else { hours.join(", ") }
    }
}
