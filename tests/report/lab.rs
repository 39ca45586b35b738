//! A ledger of the invented Tarnvale Lens Works with what a test puts into it.

use super::common::ran;
use fociline::bench::entry::*;
use fociline::check::limits::Limits;
use fociline::judge::verdict::*;
use fociline::ledger::Ledger;
use fociline::parsers::reading::{Eye, JobNumber, Lens, Reading};
use jiff::{SignedDuration, Timestamp};
use rust_decimal::Decimal;
use std::collections::HashMap;

pub struct Lab {
    folder: tempfile::TempDir,
    ledger: Option<Ledger>,
    pub now: Timestamp,
}

/// The rows of a report's CSV, by section and figure.
pub struct Csv(pub HashMap<(String, String), Vec<String>>);

impl Csv {
    #[track_caller]
    fn row(&self, section: &str, figure: &str) -> &[String] {
        self.0.get(&(section.to_owned(), figure.to_owned())).unwrap_or_else(|| {
            panic!("no figure {section} / {figure} among {:?}", self.0.keys().collect::<Vec<_>>())
        })
    }

    #[track_caller]
    pub fn number(&self, section: &str, figure: &str) -> f64 {
        let row = self.row(section, figure);
        row[2].parse().unwrap_or_else(|_| panic!("{section} / {figure} is no number: {row:?}"))
    }

    #[track_caller]
    pub fn interval(&self, section: &str, figure: &str) -> (f64, f64) {
        let row = self.row(section, figure);
        (row[3].parse().expect("a number"), row[4].parse().expect("a number"))
    }

    #[track_caller]
    pub fn note(&self, section: &str, figure: &str) -> &str {
        &self.row(section, figure)[7]
    }

    pub fn entries(&self) -> &str {
        self.note("", "entries")
    }
}

impl Lab {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let ledger = Ledger::open(folder.path().join("bench-1.ledger")).expect("a new ledger");
        Self { folder, ledger: Some(ledger), now: "2026-03-02T07:00:00Z".parse().expect("a time") }
    }

    pub fn add(&mut self, entry: Entry) -> Seq {
        let ledger = self.ledger.as_mut().expect("still written to");
        let seq = ledger.head().seq.next();
        ledger.append(&[Numbered { seq, time: self.now, entry }]).expect("written");
        self.now += SignedDuration::from_secs(30);
        seq
    }

    /// An instrument's reading of one lens.
    pub fn measured(&mut self, instrument: &str, job: &str, lens: &str) -> Seq {
        let reading = Reading { right: Some(a_lens(lens)), ..Reading::default() };
        self.add(Entry::Reading(Box::new(ReadingEntry {
            frame: Seq(1),
            instrument: instrument.to_owned(),
            job: Some(name(job)),
            job_from: JobFrom::Frame,
            reading,
        })))
    }

    /// A person's reading of one lens.
    pub fn read(&mut self, person: &str, purpose: Purpose, sitting: &str, job: &str, lens: &str) -> Seq {
        let eye = (!job.starts_with("REF")).then_some(Eye::Right);
        let read: fociline::check::AsRead = serde_json::from_str(lens).expect("a reading");
        self.add(Entry::Manual(Box::new(ManualEntry {
            by: person.to_owned(),
            focimeter: "manual".to_owned(),
            sitting: sitting.to_owned(),
            start: None,
            purpose,
            job: name(job),
            eye,
            blind: true,
            lens: read.lens().expect("a lens"),
            read,
        })))
    }

    pub fn reference(&mut self, lens: &str) -> Seq {
        let lens = serde_json::from_str(lens).expect("a reference lens");
        self.add(Entry::ReferenceLens(Box::new(ReferenceLensEntry {
            revision: 1,
            by: "B. Lund".into(),
            lens,
        })))
    }

    /// A check of an instrument, of which the sphere meridian is off by so much.
    pub fn check(&mut self, instrument: &str, lens: &str, off: &str) -> Seq {
        let off: Decimal = off.parse().expect("a number");
        let found = fociline::check::reference::check(
            &serde_json::from_str(&format!(
                r#"{{"name":"{lens}","serial":"T","sphere":5.00,"due":"2099-01-01"}}"#
            ))
            .unwrap(),
            &Reading {
                unspecified: Some(a_lens(&format!(r#"{{"sphere":{}}}"#, Decimal::from(5) + off))),
                ..Reading::default()
            },
            &Limits::default(),
            "2026-03-02".parse().unwrap(),
        );
        self.add(Entry::InstrumentCheck(Box::new(InstrumentCheckEntry {
            instrument: instrument.to_owned(),
            by: "B. Lund".to_owned(),
            lens: name(lens),
            lens_entry: Seq(1),
            reading: Seq(1),
            outcome: found.outcome,
            items: found.items,
            notes: found.notes,
            limits: TextHash::of(Limits::default().text()),
        })))
    }

    /// A verdict whose items are (quantity, ordered, deviation, limit), judged by simple acceptance.
    pub fn judged(&mut self, job: &str, held: Option<&str>, items: &[(Quantity, &str, &str, &str)]) -> Seq {
        let number = |text: &str| text.parse::<Decimal>().expect("a number");
        let items: Vec<Item> = items
            .iter()
            .map(|(quantity, ordered, deviation, limit)| Item {
                eye: Side::Right,
                quantity: *quantity,
                ordered: Some(number(ordered)),
                measured: Some(number(ordered) + number(deviation)),
                deviation: Some(number(deviation)),
                limit: Some(number(limit)),
                unit: "D".into(),
                outcome: if number(deviation).abs() <= number(limit) {
                    ItemOutcome::Pass
                } else {
                    ItemOutcome::Fail
                },
                clause: String::new(),
                notes: Vec::new(),
            })
            .collect();
        let fails = items.iter().any(|item| item.outcome == ItemOutcome::Fail);
        self.add(Entry::Verdict(Box::new(Verdict {
            job: name(job),
            rules: "ansi-z80.1-2015".to_owned(),
            outcome: if fails { Outcome::Fail } else { Outcome::Pass },
            items,
            decision: String::new(),
            basis: None,
            notes: Vec::new(),
            held: held.map(str::to_owned),
        })))
    }

    pub fn path(&self, file: &str) -> String {
        self.folder.path().join(file).to_str().expect("text").to_owned()
    }

    /// Where the pages of the month's test stay.
    pub fn kept(kind: &str) -> String {
        format!("{}/report-{kind}.html", env!("CARGO_TARGET_TMPDIR"))
    }

    /// A report that is refused as unusable, with the reason given.
    #[track_caller]
    pub fn refused(&mut self, arguments: &str, why: &str) {
        self.ledger = None;
        let ledger = self.path("bench-1.ledger");
        let ran =
            ran(&["report", "--ledger", &ledger].into_iter().chain(arguments.split(' ')).collect::<Vec<_>>());
        assert_eq!(ran.status, 2, "{}", ran.out);
        assert!(ran.err.contains(why), "{}", ran.err);
    }

    /// The report's numbers and page; the arguments after the kind of report.
    pub fn report(&mut self, kind: &str, arguments: &[&str]) -> (Csv, String) {
        self.ledger = None;
        let (ledger, csv, html) =
            (self.path("bench-1.ledger"), self.path("report.csv"), self.path("report.html"));
        let mut words = vec!["report", kind, "--ledger", &ledger, "--csv", &csv, "--html", &html];
        words.extend(arguments);
        let ran = ran(&words);
        assert_eq!(ran.status, 0, "{}", ran.err);
        let html = std::fs::read_to_string(html).expect("written");
        let body = html.strip_prefix("<!DOCTYPE html>\n").expect("an HTML file");
        let page = roxmltree::Document::parse(body).expect("well formed");
        let text: Vec<&str> = page.descendants().filter_map(|node| node.text()).collect();
        for caution in ["responsible licensed person decides", "Safety eyewear"] {
            assert!(text.iter().any(|text| text.contains(caution)), "the page says: {caution}");
        }
        let mut rows = HashMap::new();
        for row in csv::Reader::from_path(csv).expect("opens").into_records() {
            let row: Vec<String> = row.expect("a row").iter().map(str::to_owned).collect();
            assert!(
                rows.insert((row[0].clone(), row[1].clone()), row).is_none(),
                "each figure has its own name"
            );
        }
        (Csv(rows), html)
    }
}

fn name(job: &str) -> JobNumber {
    job.parse().expect("a job number")
}

fn a_lens(json: &str) -> Lens {
    serde_json::from_str(json).expect("a lens")
}
