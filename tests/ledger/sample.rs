//! Entries as a bench makes them, in the invented lab's words.

use fociline::bench::entry::*;
use fociline::judge::verdict::*;
use fociline::order::Order;
use fociline::parsers::frame::Ended;
use fociline::parsers::reading::{JobNumber, Reading};
use jiff::{SignedDuration, Timestamp};
use rust_decimal::Decimal;

pub fn job(number: &str) -> JobNumber {
    number.parse().unwrap()
}

/// 2026-03-02T07:00:00Z.
pub fn seven() -> Timestamp {
    "2026-03-02T07:00:00Z".parse().unwrap()
}

/// Numbers entries on from `after`, one each second from `start`.
pub fn numbered(after: u64, start: Timestamp, entries: impl IntoIterator<Item = Entry>) -> Vec<Numbered> {
    (after + 1..)
        .zip(entries)
        .map(|(seq, entry)| Numbered {
            seq: Seq(seq),
            time: start + SignedDuration::from_secs(i64::try_from(seq - after).unwrap()),
            entry,
        })
        .collect()
}

pub fn frame(instrument: &str, bytes: &[u8]) -> Entry {
    Entry::Frame(FrameEntry {
        instrument: instrument.into(),
        bytes: bytes.to_vec(),
        ended: Ended::Complete,
        layout: TextHash::of("layout"),
        reject: None,
        arrived: None,
    })
}

pub fn reading(frame: u64, instrument: &str, job_number: Option<&str>, operator: Option<&str>) -> Entry {
    let mut reading: Reading = serde_json::from_str(
        r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":91,"addition":2.00,
            "prism":[{"amount":0.40,"base":"in"},{"amount":0.25,"base":37.5}],"pd":31.5,"mode":"distance",
            "as_sent":{"sphere":-1.75,"cylinder":0.50,"axis":1}},
            "left":{"sphere":-2.00,"prism":[]},"faults":["E2"],"checksum_verified":true}"#,
    )
    .unwrap();
    reading.operator = operator.map(Into::into);
    Entry::Reading(Box::new(ReadingEntry {
        frame: Seq(frame),
        instrument: instrument.into(),
        job: job_number.map(job),
        job_from: if job_number.is_some() { JobFrom::Frame } else { JobFrom::Nobody },
        reading,
    }))
}

pub fn order(number: &str, revision: u32) -> Entry {
    let order: Order = serde_json::from_str(&format!(
        r#"{{"job":{number:?},"lens":"progressive","mounted":true,
            "right":{{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"pd":31.5}},
            "left":{{"sphere":-2.00}}}}"#
    ))
    .unwrap();
    Entry::Order(Box::new(OrderEntry {
        revision,
        source: "tray.csv, line 2".into(),
        by: None,
        dropped: vec!["name".into()],
        order,
    }))
}

pub fn note(about: u64, says: Says, before: Option<&str>, after: Option<&str>, by: &str) -> Entry {
    Entry::Note(NoteEntry {
        about: Seq(about),
        says,
        reason: "laid on the wrong tray".into(),
        by: by.into(),
        job: after.map(job),
        eye: None,
        job_before: before.map(job),
    })
}

/// A verdict of twelve items; `failed` are out of their limit.
pub fn verdict(number: &str, order: u64, readings: &[u64], failed: &[Quantity]) -> Entry {
    use Quantity::*;
    let mut items = Vec::new();
    for eye in [Side::Right, Side::Left] {
        for quantity in [SphereMeridian, SecondMeridian, Cylinder, Axis, Addition] {
            items.push(item(eye, quantity, failed));
        }
    }
    items.push(item(Side::Pair, PrismImbalanceHorizontal, failed));
    items.push(item(Side::Pair, PrismImbalanceVertical, failed));
    Entry::Verdict(Box::new(Verdict {
        job: job(number),
        rules: "ansi-z80.1-2015".into(),
        outcome: if failed.is_empty() { Outcome::Pass } else { Outcome::Fail },
        items,
        decision: "simple acceptance".into(),
        basis: Some(Basis {
            order,
            readings: readings.to_vec(),
            rules: TextHash::of("rules").0,
            software: "0.1.0".into(),
            checks: vec![],
            hold: None,
        }),
        notes: vec![],
        held: None,
    }))
}

fn item(eye: Side, quantity: Quantity, failed: &[Quantity]) -> Item {
    let fails = failed.contains(&quantity);
    Item {
        eye,
        quantity,
        ordered: Some(Decimal::new(-125, 2)),
        measured: Some(Decimal::new(if fails { -150 } else { -131 }, 2)),
        deviation: Some(Decimal::new(if fails { -25 } else { -6 }, 2)),
        limit: Some(Decimal::new(13, 2)),
        unit: "D".into(),
        outcome: if fails { ItemOutcome::Fail } else { ItemOutcome::Pass },
        clause: "5.1.1 table 1".into(),
        notes: vec![],
    }
}
