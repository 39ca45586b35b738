//! Search finds what fulfils every condition, newest first.

use super::{ledger_of, morning, place, sample::*};
use fociline::bench::entry::{Entry, Numbered, Seq};
use fociline::judge::verdict::{Outcome, Quantity};
use fociline::ledger::{Hit, Ledger, Query, Reader};
use jiff::SignedDuration;

fn numbers(hits: &[Hit]) -> Vec<u64> {
    hits.iter().map(|hit| hit.numbered.seq.0).collect()
}

#[test]
fn each_condition_finds_its_entries() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let search = |query: Query| numbers(&reader.search(&Query { limit: 50, ..query }).unwrap());
    let any = Query::default;
    assert_eq!(search(Query { outcome: Some(Outcome::Fail), ..any() }), [8]);
    assert_eq!(search(Query { outcome: Some(Outcome::Pass), ..any() }), [15, 13]);
    assert_eq!(search(Query { outcome: Some(Outcome::Borderline), ..any() }), [0u64; 0]);
    assert_eq!(search(Query { out_of_limit: Some(Quantity::Axis), ..any() }), [8]);
    assert_eq!(search(Query { out_of_limit: Some(Quantity::Cylinder), ..any() }), [0u64; 0]);
    // Readings, and the verdicts on them.
    assert_eq!(search(Query { instrument: Some("focimeter-2".into()), ..any() }), [15, 13, 10]);
    assert_eq!(search(Query { person: Some("A. Thorne".into()), ..any() }), [15, 8, 7]);
    assert_eq!(search(Query { person: Some("B. Lund".into()), ..any() }), [14, 12]);
    assert_eq!(search(Query { job_prefix: "447".into(), ..any() }), [16, 14, 8, 7, 5, 4]);
    assert_eq!(search(Query { job_prefix: "44".into(), ..any() }), [16, 15, 14, 13, 12, 11, 10, 8, 7, 5, 4]);
    assert_eq!(search(Query { job_prefix: "9".into(), ..any() }), [0u64; 0]);
    assert_eq!(
        search(Query {
            instrument: Some("focimeter-1".into()),
            outcome: Some(Outcome::Pass),
            job_prefix: "448".into(),
            ..any()
        }),
        [15]
    );
    // Entry n is n seconds after seven.
    let second = |n| Some(seven() + SignedDuration::from_secs(n));
    assert_eq!(search(Query { from: second(14), until: second(16), ..any() }), [15, 14]);
    assert_eq!(search(Query { from: second(3600 * 24), ..any() }), [0u64; 0]);
    assert_eq!(search(Query { until: second(2), ..any() }), [1]);
    let jobs =
        reader.search(&Query { limit: 1, person: Some("A. Thorne".into()), before: Some(Seq(8)), ..any() });
    assert_eq!(jobs.unwrap()[0].jobs, [job("4471"), job("4480")]);
}

/// Enough jobs that a short prefix is not put in order at once, against the plain way.
#[test]
fn many_jobs_are_searched_as_a_plain_filter_would() {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    let jobs = 3000;
    let entries: Vec<Numbered> = (0..jobs)
        .flat_map(|n| {
            let failed: &[Quantity] = if n % 7 == 0 { &[Quantity::Axis] } else { &[] };
            let number = (if n < 2000 { 40_000 } else { 50_000 } + n).to_string();
            let instrument = if n % 2 == 0 { "focimeter-1" } else { "focimeter-2" };
            let seq = 2 * n;
            let time = seven() + SignedDuration::from_mins(i64::try_from(n).unwrap());
            [reading(1, instrument, Some(&number), None), verdict(&number, 1, &[seq + 1], failed)]
                .into_iter()
                .zip(seq + 1..)
                .map(move |(entry, seq)| Numbered { seq: Seq(seq), time, entry })
        })
        .collect();
    ledger.append(&entries).unwrap();
    let reader = Reader::open(&place.path).unwrap();
    let plain = |prefix: &str, instrument: &str, fails: bool| -> Vec<u64> {
        let matches = |numbered: &&Numbered| match &numbered.entry {
            Entry::Verdict(verdict) => {
                let Entry::Reading(reading) = &entries[usize::try_from(numbered.seq.0).unwrap() - 2].entry
                else {
                    return false;
                };
                verdict.job.as_str().starts_with(prefix)
                    && reading.instrument == instrument
                    && (verdict.outcome == Outcome::Fail) == fails
            }
            _ => false,
        };
        entries.iter().rev().filter(matches).map(|numbered| numbered.seq.0).collect()
    };
    for prefix in ["", "4", "5", "41", "419", "51", "52999", "6"] {
        for fails in [true, false] {
            let mut query = Query {
                job_prefix: prefix.into(),
                instrument: Some("focimeter-2".into()),
                outcome: Some(if fails { Outcome::Fail } else { Outcome::Pass }),
                limit: 100,
                ..Query::default()
            };
            let mut paged = Vec::new();
            loop {
                let page = numbers(&reader.search(&query).unwrap());
                assert!(page.len() <= 100);
                let Some(last) = page.last() else { break };
                query.before = Some(Seq(*last));
                paged.extend(page);
            }
            assert_eq!(paged, plain(prefix, "focimeter-2", fails), "{prefix:?} {fails}");
        }
    }
    let newest_of_prefix = Query { job_prefix: "4".into(), limit: 2, ..Query::default() };
    assert_eq!(numbers(&reader.search(&newest_of_prefix).unwrap()), [4000, 3999]);
}

#[test]
fn dates_hold_where_the_clock_was_set_back() {
    let mut entries = numbered(0, seven(), morning());
    for numbered in &mut entries[10..] {
        numbered.time -= SignedDuration::from_hours(72);
    }
    let place = place();
    Ledger::open(&place.path).unwrap().append(&entries).unwrap();
    let reader = Reader::open(&place.path).unwrap();
    let until = Query { until: Some(seven() - SignedDuration::from_hours(1)), limit: 3, ..Query::default() };
    assert_eq!(numbers(&reader.search(&until).unwrap()), [17, 16, 15]);
    let from = Query { from: Some(seven()), limit: 3, ..Query::default() };
    assert_eq!(numbers(&reader.search(&from).unwrap()), [10, 9, 8]);
}
