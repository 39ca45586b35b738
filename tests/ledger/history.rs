//! What concerns a job or an entry.

use super::{ledger_of, morning, sample::*};
use fociline::bench::entry::{Entry, Numbered, Seq, TextHash};
use fociline::ledger::{Field, Reader};

fn numbers(entries: &[Numbered]) -> Vec<u64> {
    entries.iter().map(|numbered| numbered.seq.0).collect()
}

#[test]
fn a_jobs_history_is_all_that_concerns_it() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    assert_eq!(numbers(&reader.job_history(&job("4471")).unwrap()), [4, 5, 7, 8, 14, 16]);
    // With the readings that notes assigned to it.
    assert_eq!(numbers(&reader.job_history(&job("4480")).unwrap()), [7, 10, 11, 12, 13, 14, 15]);
    assert_eq!(numbers(&reader.job_history(&job("44")).unwrap()), [0u64; 0]);
    assert_eq!(reader.jobs_of(Seq(7)).unwrap(), [job("4471"), job("4480")]);
    assert_eq!(reader.jobs_of(Seq(6)).unwrap(), []);
}

#[test]
fn the_latest_order_stands() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let (seq, order) = reader.latest_order(&job("4471")).unwrap().unwrap();
    assert_eq!((seq, order.revision), (Seq(16), 2));
    assert!(reader.latest_order(&job("4472")).unwrap().is_none());
}

#[test]
fn what_was_derived_from_an_entry_or_said_about_it() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let refers = |seq| numbers(&reader.what_refers_to(Seq(seq)).unwrap());
    assert_eq!(refers(6), [7]);
    assert_eq!(refers(7), [8, 14, 15]);
    assert_eq!(refers(10), [12, 13, 15]);
    assert_eq!(refers(4), [8]);
    assert_eq!(refers(11), [13, 15]);
    assert_eq!(refers(17), [0u64; 0]);
}

#[test]
fn frames_texts_and_names_are_found() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    assert_eq!(numbers(&reader.frames_of("focimeter-1", Seq(1)..=Seq(99), 10).unwrap()), [6]);
    assert_eq!(numbers(&reader.of_kind("note", Seq(13)..=Seq(99), 10).unwrap()), [14]);
    assert_eq!(reader.in_force(&TextHash::of("layout").0).unwrap().unwrap().name, "tagged");
    assert!(reader.in_force("unknown").unwrap().is_none());
    assert_eq!(reader.jobs("44", 10).unwrap(), [job("4471"), job("4480")]);
    assert_eq!(reader.jobs("448", 10).unwrap(), [job("4480")]);
    assert_eq!(reader.jobs("", 1).unwrap(), [job("4471")]);
    assert_eq!(reader.values(Field::Person, "", 10).unwrap(), ["A. Thorne", "B. Lund"]);
    assert_eq!(reader.values(Field::Instrument, "focimeter", 10).unwrap(), ["focimeter-1", "focimeter-2"]);
}

#[test]
fn a_checkpoint_states_the_head() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let checkpoint = reader.checkpoint().unwrap();
    assert_eq!(checkpoint.entries, 17);
    assert_eq!(checkpoint.head, reader.stored_entry(Seq(17)).unwrap().unwrap().hash.to_string());
    assert!(matches!(reader.entry(Seq(17)).unwrap().unwrap().entry, Entry::Clock(_)));
}
