//! What past frames would say by another layout. Nothing is changed: what is on record stays.

use super::error::LedgerError;
use super::read::Reader;
use crate::bench::entry::{Entry, FrameEntry, InForce, InForceEntry, Numbered, Seq, TextHash};
use crate::optics::normal_form;
use crate::parsers::frame::Ended;
use crate::parsers::reader::Reader as FrameReader;
use crate::parsers::reading::Reading;
use jiff::Timestamp;
use rust_decimal::Decimal;
use serde_json::Value;

/// What came of comparing two layouts on past frames.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Compared {
    /// How many frames both read alike.
    pub alike: u64,
    /// How many neither reads.
    pub unread: u64,
    /// The others.
    pub otherwise: Vec<Otherwise>,
}

/// A frame that the new layout reads otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Otherwise {
    /// The frame's entry.
    pub seq: Seq,
    /// When it came in.
    pub time: Timestamp,
    /// From which instrument.
    pub instrument: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Each thing that is otherwise.
    pub changes: Vec<Change>,
}

/// One thing that would be read otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// What, such as `right.cylinder`; `the whole frame` where one layout refuses it.
    pub what: String,
    /// By the old layout.
    pub old: String,
    /// By the new one.
    pub new: String,
}

impl Reader {
    /// The layouts that were ever in force, the latest last.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn layouts(&self) -> Result<Vec<InForceEntry>, LedgerError> {
        let texts = self.of_kind("in-force", Seq(0)..=Seq(u64::MAX), usize::MAX)?;
        let layout = |numbered: Numbered| match numbered.entry {
            Entry::InForce(text) if text.what == InForce::Layout => Some(text),
            _ => None,
        };
        Ok(texts.into_iter().filter_map(layout).collect())
    }
}

/// Reads every whole frame that the layout `old` decided over by `new` too. `progress` is told
/// how many entries of how many are done.
///
/// # Errors
/// When the ledger cannot be read.
pub fn compare(
    record: &Reader,
    old: &FrameReader,
    new: &FrameReader,
    mut progress: impl FnMut(u64, u64),
) -> Result<Compared, LedgerError> {
    let hash = TextHash::of(&old.text());
    let head = record.head()?.seq;
    let mut found = Compared::default();
    for numbered in record.entries(Seq(1)..=head) {
        let numbered = numbered?;
        progress(numbered.seq.0, head.0);
        let Entry::Frame(frame) = numbered.entry else { continue };
        if frame.layout != hash || frame.ended != Ended::Complete {
            continue;
        }
        let changes = match changes(&frame, old, new) {
            None => {
                found.unread += 1;
                continue;
            }
            Some(changes) if changes.is_empty() => {
                found.alike += 1;
                continue;
            }
            Some(changes) => changes,
        };
        let FrameEntry { instrument, bytes, .. } = frame;
        found.otherwise.push(Otherwise {
            seq: numbered.seq,
            time: numbered.time,
            instrument,
            bytes,
            changes,
        });
    }
    Ok(found)
}

/// What `new` reads otherwise; nothing where neither reads the frame.
fn changes(frame: &FrameEntry, old: &FrameReader, new: &FrameReader) -> Option<Vec<Change>> {
    let whole = |old: String, new: String| vec![Change { what: "the whole frame".to_owned(), old, new }];
    match (old.read(&frame.bytes).map(normal_form), new.read(&frame.bytes).map(normal_form)) {
        (Err(_), Err(_)) => None,
        (Ok(old), Err(why)) => Some(whole(json(&old), format!("not read: {why}"))),
        (Err(why), Ok(new)) => Some(whole(format!("not read: {why}"), json(&new))),
        (Ok(old), Ok(new)) => {
            let mut changes = Vec::new();
            differ("", Some(&value(&old)), Some(&value(&new)), &mut changes);
            Some(changes)
        }
    }
}

fn value(reading: &Reading) -> Value {
    serde_json::to_value(reading).expect("these forms hold only text keys and finite decimals")
}

fn json(reading: &Reading) -> String {
    value(reading).to_string()
}

/// Adds every leaf in which the two differ.
fn differ(what: &str, old: Option<&Value>, new: Option<&Value>, changes: &mut Vec<Change>) {
    if let (Some(Value::Object(old)), Some(Value::Object(new))) = (old, new) {
        let mut names: Vec<&String> = old.keys().chain(new.keys()).collect();
        names.sort();
        names.dedup();
        for name in names {
            let what = if what.is_empty() { name.clone() } else { format!("{what}.{name}") };
            differ(&what, old.get(name), new.get(name), changes);
        }
    } else if !same(old, new) {
        let show = |side: Option<&Value>| side.map_or_else(|| "absent".to_owned(), Value::to_string);
        changes.push(Change { what: what.to_owned(), old: show(old), new: show(new) });
    }
}

/// Numbers are the same whatever their digits: -0.5 and -0.50.
fn same(old: Option<&Value>, new: Option<&Value>) -> bool {
    let number = |side: Option<&Value>| match side {
        Some(Value::Number(number)) => number.to_string().parse::<Decimal>().ok(),
        _ => None,
    };
    match (number(old), number(new)) {
        (Some(old), Some(new)) => old == new,
        _ => old == new,
    }
}
