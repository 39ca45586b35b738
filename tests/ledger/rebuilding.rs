//! Projections follow from the entries alone.

use super::{morning, place, sample::*};
use fociline::bench::entry::{Entry, Numbered, Says};
use fociline::judge::verdict::Quantity;
use fociline::ledger::{Ledger, Reader, verify};
use proptest::prelude::*;
use rusqlite::Connection;
use rusqlite::types::Value;
use std::path::Path;

fn projections(path: &Path) -> Vec<Vec<Value>> {
    let raw = Connection::open(path).unwrap();
    let mut rows = Vec::new();
    for sql in [
        "SELECT id, field, value, last FROM terms ORDER BY id",
        "SELECT term, seq FROM postings ORDER BY term, seq",
        "SELECT day, first, last FROM days ORDER BY day",
    ] {
        let mut statement = raw.prepare(sql).unwrap();
        let columns = statement.column_count();
        let found = statement
            .query_map([], |row| (0..columns).map(|column| row.get(column)).collect())
            .unwrap()
            .collect::<Result<Vec<Vec<Value>>, _>>()
            .unwrap();
        assert!(!found.is_empty());
        rows.extend(found);
    }
    rows
}

fn write(path: &Path, entries: &[Numbered], batch: usize) {
    let mut ledger = Ledger::open(path).unwrap();
    for batch in entries.chunks(batch) {
        ledger.append(batch).unwrap();
    }
}

fn any_entry() -> impl Strategy<Value = Entry> {
    let name = |from: &'static [&'static str]| prop::sample::select(from);
    let jobs = || name(&["1", "2", "30", "31"]);
    let instruments = || name(&["focimeter-1", "focimeter-2"]);
    let people = || name(&["A. Thorne", "B. Lund"]);
    prop_oneof![
        instruments().prop_map(|instrument| frame(instrument, b"R\r\n")),
        (1..40u64, instruments(), prop::option::of(jobs()), prop::option::of(people()))
            .prop_map(|(seq, instrument, job, person)| reading(seq, instrument, job, person)),
        (jobs(), 1..5u32).prop_map(|(job, revision)| order(job, revision)),
        (jobs(), 1..40u64, prop::collection::vec(1..40u64, 0..4), any::<bool>()).prop_map(
            |(job, order, readings, fails)| {
                verdict(job, order, &readings, if fails { &[Quantity::Axis, Quantity::Pd] } else { &[] })
            }
        ),
        (1..40u64, any::<bool>(), prop::option::of(jobs()), prop::option::of(jobs()), people()).prop_map(
            |(about, assigns, before, after, person)| {
                note(about, if assigns { Says::Assign } else { Says::Void }, before, after, person)
            }
        ),
        prop::sample::select(morning()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_rebuild_gives_the_same_whatever_the_batches(
        entries in prop::collection::vec(any_entry(), 1..40),
        batch in 1..8usize,
    ) {
        let entries = numbered(0, seven(), entries);
        let (in_batches, at_once) = (place(), place());
        write(&in_batches.path, &entries, batch);
        write(&at_once.path, &entries, entries.len());
        let before = projections(&in_batches.path);
        prop_assert_eq!(&before, &projections(&at_once.path));
        Ledger::open(&in_batches.path).unwrap().rebuild().unwrap();
        prop_assert_eq!(&before, &projections(&in_batches.path));
        let verified = verify(&Reader::open(&in_batches.path).unwrap(), &[], |_, _| {}).unwrap();
        prop_assert!(verified.is_sound(), "{:?}", verified.findings);
    }
}

#[test]
fn a_lost_projection_is_made_again_and_writing_goes_on() {
    let place = place();
    let entries = numbered(0, seven(), morning());
    write(&place.path, &entries[..12], 12);
    let raw = Connection::open(&place.path).unwrap();
    raw.execute_batch("DROP TABLE postings; DELETE FROM terms WHERE field = 1").unwrap();
    raw.close().unwrap();
    let mut ledger = Ledger::open(&place.path).unwrap();
    assert!(ledger.append(&entries[12..]).is_err());
    ledger.rebuild().unwrap();
    ledger.append(&entries[12..]).unwrap();
    let verified = verify(&Reader::open(&place.path).unwrap(), &[], |_, _| {}).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}

#[test]
fn a_rebuild_forgets_what_the_writer_had_at_hand() {
    let place = place();
    let entries = numbered(0, seven(), morning());
    write(&place.path, &entries[..8], 8);
    let raw = Connection::open(&place.path).unwrap();
    raw.execute_batch("UPDATE terms SET id = id + 100").unwrap();
    let mut ledger = Ledger::open(&place.path).unwrap();
    ledger.append(&entries[8..10]).unwrap();
    ledger.rebuild().unwrap();
    ledger.append(&entries[10..]).unwrap();
    let verified = verify(&Reader::open(&place.path).unwrap(), &[], |_, _| {}).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
}
