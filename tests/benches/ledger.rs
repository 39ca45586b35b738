//! How many triples (frame, reading, verdict of twelve items) a second the ledger takes in
//! batches, what a triple costs on disk, and how long searches take then.
//!
//! `cargo bench --bench ledger -- [triples] [triples a batch]`

#[path = "../ledger/sample.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod sample;

use fociline::bench::entry::{Numbered, Seq};
use fociline::judge::verdict::{Outcome, Quantity};
use fociline::ledger::{Ledger, Query, Reader};
use jiff::SignedDuration;
use std::time::{Duration, Instant};

fn main() {
    let mut arguments = std::env::args().skip(1).filter_map(|argument| argument.parse::<u64>().ok());
    let triples = arguments.next().unwrap_or(50_000);
    let batch = arguments.next().unwrap_or(500);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder for the ledger");
    let path = folder.path().join("bench.ledger");
    let mut ledger = Ledger::open(&path).expect("a new ledger");
    let mut writing = Duration::ZERO;
    for first in (0..triples).step_by(usize::try_from(batch).expect("a batch fits memory")) {
        let entries: Vec<Numbered> = (first..triples.min(first + batch)).flat_map(triple).collect();
        let start = Instant::now();
        ledger.append(&entries).expect("room for the batch");
        writing += start.elapsed();
    }
    let head = ledger.head();
    drop(ledger);
    let bytes = std::fs::metadata(&path).expect("the ledger is there").len();
    println!("{} entries in batches of {batch} triples", head.seq);
    println!("{:>12.0} triples a second", triples as f64 / writing.as_secs_f64());
    println!("{:>12.1} us a triple", writing.as_secs_f64() * 1e6 / triples as f64);
    println!("{:>12} bytes a triple", bytes / triples.max(1));
    let reader = Reader::open(&path).expect("the ledger just written");
    let oldest = sample::seven() + SignedDuration::from_hours(24);
    let page = Query { limit: 50, ..Query::default() };
    for (what, query) in [
        ("the latest", page.clone()),
        ("fails", Query { outcome: Some(Outcome::Fail), ..page.clone() }),
        ("fails of one instrument", fails_of("focimeter-1", &page)),
        // Every twentieth fails, and those are all of the first instrument: the worst case.
        ("fails of the other, none", fails_of("focimeter-2", &page)),
        ("axis out of limit, first day", Query { until: Some(oldest), ..axis(&page) }),
        ("one job", Query { job_prefix: "100000".into(), ..page.clone() }),
        (
            "job prefix 1, passes",
            Query { job_prefix: "1".into(), outcome: Some(Outcome::Pass), ..page.clone() },
        ),
        ("job prefix 1000, axis", Query { job_prefix: "1000".into(), ..axis(&page) }),
        ("job prefix 10, old ones", Query { job_prefix: "10".into(), ..page.clone() }),
        (
            "one person, first day",
            Query { person: Some("A. Thorne".into()), until: Some(oldest), ..page.clone() },
        ),
    ] {
        let start = Instant::now();
        let hits = reader.search(&query).expect("the ledger just written").len();
        println!("{:>12.1} ms for {hits:>2} hits: {what}", start.elapsed().as_secs_f64() * 1e3);
    }
    let start = Instant::now();
    let jobs = reader.jobs("10", 20).expect("the ledger just written").len();
    println!("{:>12.1} ms for {jobs} job numbers that begin with 10", start.elapsed().as_secs_f64() * 1e3);
}

fn fails_of(instrument: &str, page: &Query) -> Query {
    Query { outcome: Some(Outcome::Fail), instrument: Some(instrument.into()), ..page.clone() }
}

fn axis(page: &Query) -> Query {
    Query { out_of_limit: Some(Quantity::Axis), ..page.clone() }
}

/// The `n`th frame with its reading and verdict: four of a job, every twentieth out of limit.
fn triple(n: u64) -> [Numbered; 3] {
    let seq = 3 * n;
    let job = (100_000 + n / 4).to_string();
    let instrument = ["focimeter-1", "focimeter-2"][usize::from(n % 2 == 1)];
    let failed: &[Quantity] = if n.is_multiple_of(20) { &[Quantity::Axis] } else { &[] };
    let time =
        sample::seven() + SignedDuration::from_secs(i64::try_from(20 * n).expect("within the calendar"));
    [
        sample::frame(
            instrument,
            b"\x02JOB=100000;R;S=-01.25;C=-00.50;A=091;ADD=+02.00;PX=0.40I;PY=0.25U;PD=31.5\x03\r\n",
        ),
        sample::reading(seq + 1, instrument, Some(&job), Some("A. Thorne")),
        sample::verdict(&job, 1, &[(seq + 2).saturating_sub(6).max(2), seq + 2], failed),
    ]
    .into_iter()
    .zip(seq + 1..)
    .map(|(entry, seq)| Numbered { seq: Seq(seq), time, entry })
    .collect::<Vec<_>>()
    .try_into()
    .expect("three entries")
}
