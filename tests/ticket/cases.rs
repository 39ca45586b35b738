//! Tickets of jobs on record in real ledgers. Everything is of an invented lab.

use fociline::bench::entry::*;
use fociline::bench::job::JobRecord;
use fociline::judge::RuleSet;
use fociline::judge::verdict::{ItemOutcome, Outcome, Verdict};
use fociline::ledger::{Ledger, Reader};
use fociline::order::Order;
use fociline::ticket::{self, Ticket};
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// The station that judged.
pub const STATION: &str = "tarnvale-2";

const PAIR: &str = r#"{"job":"4471","lens":"single-vision","mounted":true,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90},"left":{"sphere":-1.00}}"#;
const MANY: &str = r#"{"job":"TL-2026-004471","lens":"progressive","mounted":true,
    "right":{"sphere":2.25,"cylinder":-1.75,"axis":178,"addition":2.00,"prism":[{"amount":0.50,"base":"in"},{"amount":1.00,"base":"up"}],"pd":31.5,"reference_height":21.0},
    "left":{"sphere":-2.50,"cylinder":-2.25,"axis":12,"addition":2.25,"pd":32.0,"reference_height":21.5}}"#;
const MANY_READ: &str = r#"{"right":{"sphere":2.62,"cylinder":-2.00,"axis":3,"addition":2.25,"prism":[{"amount":1.25,"base":"out"},{"amount":0.25,"base":"down"}],"pd":33.0,"reference_height":23.5},
    "left":{"sphere":-2.87,"cylinder":-2.50,"axis":21,"addition":2.62,"prism":[{"amount":0.25,"base":"in"}],"pd":30.0,"reference_height":21.0}}"#;
const PRISM: &str = r#"{"job":"4490","lens":"single-vision","mounted":false,"right":{"sphere":1.00,"prism":[{"amount":2.00,"base":"in"},{"amount":1.50,"base":"down"}]}}"#;

/// What else is done to a case.
type Then = fn(&mut Verdict);

pub struct Case {
    pub name: &'static str,
    order: String,
    reading: String,
    instrument: &'static str,
    then: Then,
    signed: Option<(&'static str, &'static str)>,
}

fn case(name: &'static str, order: &str, reading: &str) -> Case {
    Case {
        name,
        order: order.to_owned(),
        reading: reading.to_owned(),
        instrument: "focimeter-1",
        then: |_| {},
        signed: None,
    }
}

/// Every case that is kept as a file.
pub fn all() -> Vec<Case> {
    let pass = r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":92},"left":{"sphere":-1.10}}"#;
    let off = r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":104},"left":{"sphere":-1.00}}"#;
    let long = "TARNVALE-LENS-WORKS-2026-11-25-TRAY-0017-POSITION-03-REMAKE-0002X";
    vec![
        case("pass", PAIR, pass),
        case("fail", PAIR, off),
        case("fail-many", MANY, MANY_READ),
        Case {
            signed: Some(("Q. Inspector", "the axis was agreed with the prescriber by telephone")),
            ..case("overridden", PAIR, off)
        },
        case("incomplete", PAIR, r#"{"right":{"sphere":-1.25}}"#),
        Case {
            then: |verdict| {
                verdict.outcome = Outcome::Borderline;
                verdict.items[2].outcome = ItemOutcome::Borderline;
            },
            ..case("borderline", PAIR, &pass.replace("92", "97"))
        },
        Case {
            then: |verdict| {
                verdict.held =
                    Some("focimeter-1: the check with REF+5 is older than 24 hours (entry 12)".to_owned());
            },
            ..case("held", PAIR, off)
        },
        case(
            "single-eye",
            r#"{"job":"4472","lens":"single-vision","mounted":false,"right":{"sphere":0.50,"cylinder":1.75,"axis":88}}"#,
            r#"{"right":{"sphere":2.25,"cylinder":-1.75,"axis":178}}"#,
        ),
        case(
            "prism",
            PRISM,
            r#"{"right":{"sphere":1.00,"prism":[{"amount":1.95,"base":"in"},{"amount":1.00,"base":"down"}]}}"#,
        ),
        case("long-number", &PAIR.replace("4471", &long[..64]), pass),
        Case {
            instrument: "fokom\u{e8}tre \u{2116} 1",
            signed: Some((
                "\u{141}ucja \u{39a}\u{3ce}\u{3c3}\u{3c4}\u{3b1}\u{3c2} \u{7530}",
                "d\u{e9}j\u{e0} vu\u{202e}\u{1b}[2J",
            )),
            ..case("other-letters", &PAIR.replace("4471", "\u{10c}-4471"), off)
        },
    ]
}

impl Case {
    /// A ledger that holds the job, and the verdict's entry.
    pub fn recorded(&self) -> (tempfile::TempDir, Reader, Seq) {
        let order: Order = serde_json::from_str(&self.order).expect("an order");
        let job = order.job.clone();
        let mut entries = vec![
            Entry::Order(Box::new(OrderEntry {
                revision: 1,
                source: "orders.jsonl line 1".to_owned(),
                by: None,
                dropped: Vec::new(),
                order,
            })),
            Entry::Reading(Box::new(ReadingEntry {
                frame: Seq(1),
                instrument: self.instrument.to_owned(),
                job: Some(job.clone()),
                job_from: JobFrom::Station,
                reading: serde_json::from_str(&self.reading).expect("a reading"),
            })),
        ];
        let time: Timestamp = "2026-11-25T08:14:05Z".parse().expect("a time");
        let numbered = |entries: &[Entry]| -> Vec<Numbered> {
            let number = |(index, entry): (usize, &Entry)| Numbered {
                seq: Seq(index as u64 + 1),
                time,
                entry: entry.clone(),
            };
            entries.iter().enumerate().map(number).collect()
        };
        let rules = RuleSet::built_in("ansi-z80.1-2015").expect("built in");
        let record = JobRecord::from_history(job.clone(), &numbered(&entries));
        let mut verdict = record.judged(&rules, "0", "0.1.0").expect("judged");
        (self.then)(&mut verdict);
        entries.push(Entry::Verdict(Box::new(verdict)));
        if let Some((by, reason)) = self.signed {
            entries.push(Entry::Override(OverrideEntry {
                about: Seq(3),
                job,
                by: by.to_owned(),
                role: Role::Quality,
                meaning: "I answer for this".to_owned(),
                reason: reason.to_owned(),
            }));
        }
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("bench.ledger");
        Ledger::open(&path).expect("opens").append(&numbered(&entries)).expect("written");
        (folder, Reader::open(&path).expect("opens"), Seq(3))
    }

    pub fn ticket(&self) -> Ticket {
        let (_folder, record, seq) = self.recorded();
        ticket::of(&record, seq, STATION, &TimeZone::UTC).expect("a ticket")
    }
}

/// One of the cases.
pub fn named(name: &str) -> Case {
    all().into_iter().find(|case| case.name == name).expect("there is such a case")
}
