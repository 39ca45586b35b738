//! How long a month's reports take out of a ledger of many months, and whether that depends on the
//! ledger's length: the same reports on the month alone.
//!
//! `FOCILINE_BENCH_ENTRIES=10000000 cargo bench --bench report`
//!
//! About so many entries are written, 400 000 where nothing is said: in triples of a frame, its
//! reading and its verdict of twelve items. A bench that takes 300 jobs of four readings a day, 26
//! days a month, makes 31 200 triples a month; ten million entries are nine years, and 14 GB.

#[path = "../ledger/sample.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod sample;

use fociline::bench::entry::*;
use fociline::check::Limits;
use fociline::judge::RuleSet;
use fociline::judge::verdict::Quantity;
use fociline::ledger::{Ledger, Reader};
use fociline::report::{Filters, Kind, report};
use jiff::{SignedDuration, Timestamp};
use std::path::Path;
use std::time::Instant;

/// How many triples a month has.
const TRIPLES: u64 = 31_200;

fn main() {
    let entries = match std::env::var("FOCILINE_BENCH_ENTRIES") {
        Ok(text) => text.parse::<u64>().expect("FOCILINE_BENCH_ENTRIES is a whole number, such as 10000000"),
        Err(_) => 400_000,
    };
    let months = (entries / (3 * TRIPLES)).max(1);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder for the ledgers");
    for months in [1, months] {
        let path = folder.path().join(format!("{months}.ledger"));
        let start = Instant::now();
        fill(&path, months, TRIPLES);
        let (size, spent) = (std::fs::metadata(&path).map_or(0, |file| file.len()), start.elapsed());
        let reader = Reader::open(&path).expect("the ledger just written");
        let head = reader.head().expect("the ledger just written").seq;
        println!(
            "{months} months, {head} entries, {} MB, written in {:.0} s",
            size / 1_000_000,
            spent.as_secs_f64()
        );
        let from = month(months / 2);
        let filters = Filters { from: Some(from), until: Some(month(months / 2 + 1)), ..Filters::default() };
        for kind in Kind::ALL {
            let start = Instant::now();
            let made = report(&reader, kind, &filters).expect("the ledger just written");
            let (html, csv) = (made.html().len(), made.csv().len());
            let spent = start.elapsed().as_secs_f64() * 1e3;
            println!(
                "{spent:>12.1} ms {:<11} of {} entries; HTML {} kB, CSV {} kB",
                kind.name(),
                made.entries.len(),
                html / 1000,
                csv / 1000
            );
        }
    }
}

/// The start of a month of 30 days.
fn month(number: u64) -> Timestamp {
    sample::seven()
        + SignedDuration::from_hours(i64::try_from(number * 30 * 24).expect("within the calendar"))
}

fn fill(path: &Path, months: u64, triples: u64) {
    let mut ledger = Ledger::open(path).expect("a new ledger");
    let mut next = 1;
    let mut add = |entries: Vec<(Timestamp, Entry)>| {
        let number = |(time, entry)| {
            let seq = Seq(next);
            next += 1;
            Numbered { seq, time, entry }
        };
        let batch: Vec<Numbered> = entries.into_iter().map(number).collect();
        ledger.append(&batch).expect("room for the batch").seq.0
    };
    add(REFERENCES.map(|lens| (month(0), kind("reference-lens", lens))).to_vec());
    let days = 26;
    for day in 0..months * days {
        let start = month(day / days)
            + SignedDuration::from_hours(24).checked_mul(whole(day % days)).expect("a month");
        let mut head = add(opening(start));
        for first in (0..triples / days).step_by(500) {
            let range = first..(triples / days).min(first + 500);
            let batch = range.flat_map(|n| triple(head + 3 * (n - first), day * triples / days + n, start));
            head = add(batch.collect());
        }
    }
}

fn whole(number: u64) -> i32 {
    i32::try_from(number).expect("not so many")
}

fn kind(kind: &str, payload: &str) -> Entry {
    Entry::from_payload(kind, payload).expect("of its form")
}

const REFERENCES: [&str; 2] = [
    r#"{"revision":1,"by":"B. Lund","lens":{"name":"REF+5","serial":"T-1","sphere":5.00,"due":"2099-01-01"}}"#,
    r#"{"revision":1,"by":"B. Lund","lens":{"name":"REF-10","serial":"T-2","sphere":-10.00,"due":"2099-01-01"}}"#,
];

/// What stands on record each morning: the texts in force, a check of each of two instruments with
/// each of two lenses, and a note on something of the day before.
fn opening(time: Timestamp) -> Vec<(Timestamp, Entry)> {
    let rules = RuleSet::built_in("ansi-z80.1-2015").expect("built in");
    let text = |what, name: &str, text: &str| {
        let (name, text) = (name.to_owned(), text.to_owned());
        Entry::InForce(InForceEntry { what, name, hash: TextHash::of(&text), text })
    };
    let mut entries = vec![
        text(InForce::Settings, "bench-1", "[station]"),
        text(InForce::Rules, rules.name(), rules.text()),
        text(InForce::Limits, "limits", Limits::default().text()),
    ];
    for (instrument, lens) in [
        ("focimeter-1", "REF+5"),
        ("focimeter-1", "REF-10"),
        ("focimeter-2", "REF+5"),
        ("focimeter-2", "REF-10"),
    ] {
        let item = |quantity: &str| {
            format!(
                r#"{{"quantity":"{quantity}","expected":5.00,"measured":5.01,"deviation":0.01,"limit":0.06,"unit":"D",
                    "outcome":"pass","figures":"from memory"}}"#
            )
        };
        entries.push(kind(
            "instrument-check",
            &format!(
                r#"{{"instrument":"{instrument}","by":"B. Lund","lens":"{lens}","lens_entry":1,"reading":1,"outcome":"good",
                    "items":[{},{}],"limits":"abcd"}}"#,
                item("sphere-meridian"),
                item("second-meridian")
            ),
        ));
    }
    entries.into_iter().map(|entry| (time, entry)).collect()
}

/// The `n`th frame after the entry `head`, with its reading and verdict: four of a job, every
/// twentieth out of limit.
fn triple(head: u64, n: u64, start: Timestamp) -> [(Timestamp, Entry); 3] {
    let job = (100_000 + n / 4).to_string();
    let instrument = ["focimeter-1", "focimeter-2"][usize::from(n % 2 == 1)];
    let failed: &[Quantity] = if n.is_multiple_of(20) { &[Quantity::Axis] } else { &[] };
    let bytes = b"\x02JOB=100000;R;S=-01.25;C=-00.50;A=091;ADD=+02.00;PX=0.40I;PY=0.25U;PD=31.5\x03\r\n";
    let reading = sample::reading(head + 1, instrument, Some(&job), Some("A. Thorne"));
    // Every fortieth lens is read by hand as well: then the third entry is that instead of a verdict.
    let last = if n % 40 == 7 {
        let manual = format!(
            r#"{{"by":"A. Thorne","focimeter":"manual","sitting":"day","job":"{job}","eye":"right","blind":true,
                "read":{{"sphere":-1.{}}},"lens":{{"sphere":-1.{}}}}}"#,
            20 + n % 11,
            20 + n % 11
        );
        kind("manual", &manual)
    } else {
        sample::verdict(&job, 1, &[head + 2], failed)
    };
    [sample::frame(instrument, bytes), reading, last].map(|entry| (start, entry))
}
