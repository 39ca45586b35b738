//! One entry: what it says, what it came from, where it stands in the chain, what came after it.

use super::bytes::{self, Part};
use super::language::Language;
use super::ledger::Line;
use super::lenses::{Stand, Table};
use super::{Frame, render};
use crate::bench::entry::{Entry, FrameEntry, OrderEntry, ReadingEntry, Says, Seq, TextHash};
use crate::judge::RuleSet;
use crate::judge::verdict::{Outcome, Verdict};
use crate::ledger::Reader as Record;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::page::view::EntryView;
use crate::parsers::reader::Reader;
use crate::parsers::reading::{Eye, JobNumber};
use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "entry.html")]
struct EntryPage {
    frame: Frame,
    say: Language,
    seq: Seq,
    kind: String,
    time: String,
    words: String,
    jobs: Vec<JobNumber>,
    /// The frames that it came from.
    frames: Vec<FrameShown>,
    reading: Vec<(String, String)>,
    order: Option<OrderShown>,
    verdict: Option<VerdictShown>,
    /// A text that was in force.
    text: Option<(String, TextHash)>,
    payload: String,
    prev: String,
    hash: String,
    verifies: bool,
    entries: Seq,
    later: Vec<Line>,
    /// What can be said of it.
    can_void: bool,
    can_assign: bool,
    wants_eye: bool,
    can_override: bool,
    before: Option<Seq>,
    after: Option<Seq>,
}

/// A frame and what its bytes were taken for.
struct FrameShown {
    seq: Seq,
    reading: Option<Seq>,
    instrument: String,
    layout: TextHash,
    layout_name: String,
    parts: Vec<Part>,
    reject: Option<String>,
}

/// An order as it stood.
struct OrderShown {
    seq: Seq,
    revision: u32,
    kind: String,
    lenses: Vec<(&'static str, String)>,
    from: String,
    dropped: String,
}

/// A verdict and what it was derived from.
struct VerdictShown {
    stand: Stand,
    tables: Vec<Table>,
    rules: String,
    rules_title: String,
    rules_hash: Option<String>,
    decision: String,
    notes: Vec<String>,
    software: String,
}

/// What is read of an entry besides itself.
struct Around {
    view: EntryView,
    entry: Entry,
    frames: Vec<(Seq, Option<Seq>, FrameEntry, Option<Reader>)>,
    order: Option<(Seq, OrderEntry)>,
    rules: Option<RuleSet>,
}

impl Around {
    fn of(record: &Record, seq: Seq) -> Result<Option<Self>, Problem> {
        let Some(view) = EntryView::of(record, seq)? else { return Ok(None) };
        let entry = Entry::from_payload(&view.kind, view.payload.get()).map_err(Problem::fault)?;
        let (mut frames, mut order, mut rules) = (Vec::new(), None, None);
        let mut frame_of = |seq: Seq, reading: Option<Seq>| -> Result<(), Problem> {
            if let Some(Entry::Frame(frame)) = record.entry(seq)?.map(|numbered| numbered.entry) {
                let reader = reader(record, &frame.layout)?;
                frames.push((seq, reading, frame, reader));
            }
            Ok(())
        };
        match &entry {
            Entry::Frame(_) => frame_of(seq, None)?,
            Entry::Reading(reading) => {
                frame_of(reading.frame, Some(seq))?;
                // The order as the verdict on this reading took it.
                let verdict = view.later.iter().find(|later| later.kind == "verdict");
                if let Some(Entry::Verdict(verdict)) =
                    verdict.and_then(|v| Entry::from_payload(v.kind, v.payload.get()).ok())
                {
                    order = order_of(record, &verdict)?;
                }
            }
            Entry::Order(revision) => order = Some((seq, OrderEntry::clone(revision))),
            Entry::Verdict(verdict) => {
                order = order_of(record, verdict)?;
                for reading in verdict.basis.iter().flat_map(|basis| &basis.readings) {
                    if let Some(frame) = frame_of_reading(record, Seq(*reading))? {
                        frame_of(frame, Some(Seq(*reading)))?;
                    }
                }
                rules = match &verdict.basis {
                    Some(basis) => record
                        .in_force(&basis.rules)?
                        .and_then(|text| RuleSet::from_toml(&text.text, &text.name).ok()),
                    None => None,
                };
            }
            _ => {}
        }
        Ok(Some(Self { view, entry, frames, order, rules }))
    }
}

fn frame_of_reading(record: &Record, seq: Seq) -> Result<Option<Seq>, Problem> {
    Ok(match record.entry(seq)?.map(|numbered| numbered.entry) {
        Some(Entry::Reading(reading)) => Some(reading.frame),
        _ => None,
    })
}

fn order_of(record: &Record, verdict: &Verdict) -> Result<Option<(Seq, OrderEntry)>, Problem> {
    let Some(basis) = &verdict.basis else { return Ok(None) };
    let seq = Seq(basis.order);
    Ok(match record.entry(seq)?.map(|numbered| numbered.entry) {
        Some(Entry::Order(order)) => Some((seq, OrderEntry::clone(&order))),
        _ => None,
    })
}

/// What read frames when this text was in force.
fn reader(record: &Record, layout: &TextHash) -> Result<Option<Reader>, Problem> {
    let text = record.in_force(&layout.0)?;
    Ok(text.and_then(|text| Reader::from_record(&text.name, &text.text).ok()))
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(seq): Path<u64>,
) -> Result<Response, Problem> {
    let say = app.language();
    let seq = Seq(seq);
    let around = app.read(move |record| Around::of(record, seq)).await?;
    let around = around.ok_or_else(|| Problem::not_found(format!("there is no entry {seq}")))?;
    app.shows_whole_entry(&who, &around.view);
    let Around { view, entry, frames, order, rules } = around;
    let said = |says: Says| {
        view.later.iter().any(|later| match Entry::from_payload(later.kind, later.payload.get()) {
            Ok(Entry::Note(note)) => note.says == says,
            _ => false,
        })
    };
    let may_work = who.may(Right::Work);
    let is_reading = matches!(&entry, Entry::Reading(_));
    let counts = (is_reading || matches!(&entry, Entry::Manual(_))) && !said(Says::Void);
    let overridden = view.later.iter().any(|later| later.kind == "override");
    let page = EntryPage {
        frame: Frame::new(&app, &who, format!("{} {seq}", say.entry_word)).under("/ledger"),
        seq,
        kind: say.kind(&view.kind).to_owned(),
        time: view.time.parse().map_or_else(|_| view.time.clone(), |time| say.date_time(time)),
        words: say.entry(&entry),
        frames: frames.into_iter().map(|found| frame_shown(&say, found)).collect(),
        reading: match &entry {
            Entry::Reading(reading) => reading_shown(&say, reading),
            _ => Vec::new(),
        },
        verdict: match &entry {
            Entry::Verdict(verdict) => Some(verdict_shown(&say, verdict, order.as_ref(), rules.as_ref())),
            _ => None,
        },
        order: order.map(|(seq, order)| order_shown(&say, seq, &order)),
        text: match &entry {
            Entry::InForce(text) => Some((text.name.clone(), text.hash.clone())),
            _ => None,
        },
        payload: pretty(view.payload.get()),
        can_void: may_work && counts,
        can_assign: may_work && counts && is_reading,
        wants_eye: matches!(&entry, Entry::Reading(reading) if reading.reading.unspecified.is_some()),
        can_override: who.may(Right::Override)
            && !overridden
            && matches!(&entry, Entry::Verdict(verdict) if verdict.outcome == Outcome::Fail && verdict.held.is_none()),
        before: (seq.0 > 1).then(|| Seq(seq.0 - 1)),
        after: (seq < view.entries).then(|| seq.next()),
        later: view.later.iter().map(|later| Line::of(&say, later, Vec::new())).collect(),
        jobs: view.jobs,
        prev: view.prev,
        hash: view.hash,
        verifies: view.verifies,
        entries: view.entries,
        say,
    };
    Ok(render(&page))
}

fn frame_shown(
    say: &Language,
    (seq, reading, frame, reader): (Seq, Option<Seq>, FrameEntry, Option<Reader>),
) -> FrameShown {
    let whole = frame.ended == crate::parsers::frame::Ended::Complete;
    FrameShown {
        seq,
        reading,
        parts: match reader.as_ref().filter(|_| whole) {
            Some(reader) => bytes::parts(say, reader, &frame.bytes),
            None => bytes::plain(say, &frame.bytes),
        },
        layout_name: reader.map_or_else(String::new, |reader| reader.name().to_owned()),
        layout: frame.layout,
        instrument: frame.instrument,
        reject: frame.reject.map(|reject| reject.to_string()),
    }
}

fn reading_shown(say: &Language, reading: &ReadingEntry) -> Vec<(String, String)> {
    let mut lines = vec![(say.instrument.to_owned(), reading.instrument.clone())];
    lines.extend(say.reading_in_full(&reading.reading));
    lines
}

fn order_shown(say: &Language, seq: Seq, entry: &OrderEntry) -> OrderShown {
    let lens = |eye| entry.order.lens_for(eye).map(|lens| (say.eye(eye), say.ordered_lens(lens)));
    OrderShown {
        seq,
        revision: entry.revision,
        kind: say.order_kind(&entry.order),
        lenses: Eye::BOTH.into_iter().filter_map(lens).collect(),
        from: match &entry.by {
            Some(by) => format!("{}, {by}", entry.source),
            None => entry.source.clone(),
        },
        dropped: entry.dropped.join(", "),
    }
}

fn verdict_shown(
    say: &Language,
    verdict: &Verdict,
    order: Option<&(Seq, OrderEntry)>,
    rules: Option<&RuleSet>,
) -> VerdictShown {
    VerdictShown {
        stand: say.stand(verdict),
        tables: say.tables(order.map(|(_, entry)| &entry.order), verdict),
        rules: verdict.rules.clone(),
        rules_title: rules
            .map_or_else(String::new, |rules| format!("{}, {}", rules.title(), rules.edition())),
        rules_hash: verdict.basis.as_ref().map(|basis| basis.rules.clone()),
        decision: verdict.decision.clone(),
        notes: verdict.notes.clone(),
        software: verdict.basis.as_ref().map_or_else(String::new, |basis| basis.software.clone()),
    }
}

/// JSON over several lines, its numbers as they were written.
fn pretty(payload: &str) -> String {
    let value = serde_json::from_str::<serde_json::Value>(payload);
    value.and_then(|value| serde_json::to_string_pretty(&value)).unwrap_or_else(|_| payload.to_owned())
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "text.html")]
struct TextPage {
    frame: Frame,
    say: Language,
    what: &'static str,
    name: String,
    hash: TextHash,
    text: String,
}

pub(super) async fn text(
    State(app): State<Arc<App>>,
    who: Who,
    Path(hash): Path<String>,
) -> Result<Response, Problem> {
    let say = app.language();
    let missing = format!("no text with the hash {hash} was ever in force");
    let found =
        app.read(move |record| record.in_force(&hash)).await?.ok_or_else(|| Problem::not_found(missing))?;
    let what = say.text_in_force(found.what);
    let frame = Frame::new(&app, &who, format!("{what} {}", found.name)).under("/ledger");
    Ok(render(&TextPage { frame, what, name: found.name, hash: found.hash, text: found.text, say }))
}
