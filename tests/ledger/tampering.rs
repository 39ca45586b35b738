//! A change that gets past the triggers is found and named.

use super::{Place, ledger_of, morning, place, sample::*};
use fociline::bench::entry::*;
use fociline::ledger::{Ledger, Problem, Reader, verify};
use jiff::SignedDuration;
use rusqlite::Connection;
use sha2::{Digest, Sha256};

fn findings(place: &Place, known: &[CheckpointEntry]) -> Vec<(Option<u64>, Problem)> {
    let verified = verify(&Reader::open(&place.path).unwrap(), known, |_, _| {}).unwrap();
    verified.findings.into_iter().map(|finding| (finding.seq.map(|seq| seq.0), finding.problem)).collect()
}

/// Runs `sql` with the triggers out of the way, and puts them back.
fn tamper(place: &Place, sql: &str) {
    let raw = Connection::open(&place.path).unwrap();
    let triggers: Vec<(String, String)> = raw
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert_eq!(triggers.len(), 3);
    for (name, _) in &triggers {
        raw.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    raw.execute_batch(sql).unwrap();
    for (_, sql) in &triggers {
        raw.execute_batch(sql).unwrap();
    }
}

#[test]
fn an_honest_ledger_is_sound() {
    let (place, _) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let mut last = (0, 0);
    let known = [reader.checkpoint().unwrap()];
    let verified = verify(&reader, &known, |done, of| last = (done, of)).unwrap();
    assert!(verified.is_sound(), "{:?}", verified.findings);
    assert_eq!((verified.entries, verified.head, verified.checkpoints), (17, reader.head().unwrap(), 1));
    assert_eq!(last, (34, 34));
}

/// The recipe in schema.sql, written down again from it.
#[test]
fn the_hashes_can_be_computed_by_the_documented_recipe() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    let mut rows =
        raw.prepare("SELECT seq, time, kind, payload, prev, hash FROM entries ORDER BY seq").unwrap();
    let mut rows = rows.query([]).unwrap();
    let mut before = vec![0u8; 32];
    let mut seen = 0;
    while let Some(row) = rows.next().unwrap() {
        let (seq, time, kind): (i64, String, String) =
            (row.get(0).unwrap(), row.get(1).unwrap(), row.get(2).unwrap());
        let (payload, prev, hash): (String, Vec<u8>, Vec<u8>) =
            (row.get(3).unwrap(), row.get(4).unwrap(), row.get(5).unwrap());
        assert_eq!(prev, before);
        let bytes = [&prev[..], format!("{seq}\n{time}\n{kind}\n{payload}").as_bytes()].concat();
        assert_eq!(Sha256::digest(&bytes).as_slice(), hash);
        before = hash;
        seen += 1;
    }
    assert_eq!(seen, 17);
}

#[test]
fn one_digit_changed_is_found() {
    let (place, _) = ledger_of(morning());
    tamper(&place, "UPDATE entries SET payload = replace(payload, '-1.25', '-1.26') WHERE seq = 7");
    assert_eq!(findings(&place, &[]), [(Some(7), Problem::Altered)]);
    let verified = verify(&Reader::open(&place.path).unwrap(), &[], |_, _| {}).unwrap();
    assert_eq!(
        verified.findings[0].to_string(),
        "entry 7: its hash does not fit its content: it was altered"
    );
}

#[test]
fn a_changed_time_kind_or_hash_is_found() {
    for (set, expected) in [
        ("time = '2026-03-02T07:00:07.000001Z'", vec![(Some(7), Problem::Altered)]),
        ("hash = randomblob(32)", vec![(Some(7), Problem::Altered), (Some(8), Problem::NotLinked)]),
        ("prev = randomblob(32)", vec![(Some(7), Problem::NotLinked), (Some(7), Problem::Altered)]),
    ] {
        let (place, _) = ledger_of(morning());
        tamper(&place, &format!("UPDATE entries SET {set} WHERE seq = 7"));
        assert_eq!(findings(&place, &[]), expected, "{set}");
    }
}

#[test]
fn an_entry_removed_from_the_middle_is_found() {
    let (place, _) = ledger_of(morning());
    tamper(&place, "DELETE FROM entries WHERE seq IN (3, 5, 6)");
    let found = findings(&place, &[]);
    assert_eq!(found[..2], [(Some(4), Problem::Missing(1)), (Some(7), Problem::Missing(2))]);
    // Numbers closed up over the gap do not help.
    tamper(&place, "UPDATE entries SET seq = 3 WHERE seq = 4");
    assert!(findings(&place, &[]).contains(&(Some(3), Problem::NotLinked)));
}

#[test]
fn an_end_cut_off_shows_by_a_checkpoint_kept_elsewhere() {
    let (place, entries) = ledger_of(morning());
    let known = [Reader::open(&place.path).unwrap().checkpoint().unwrap()];
    assert_eq!(findings(&place, &known), []);
    tamper(&place, "DELETE FROM entries WHERE seq = 17");
    Ledger::open(&place.path).unwrap().rebuild().unwrap();
    assert_eq!(findings(&place, &[]), [], "nothing in the file itself can show it");
    assert_eq!(findings(&place, &known), [(Some(17), Problem::Gone)]);
    // Another entry written in its place.
    let mut other = entries[16].clone();
    other.entry = Entry::Clock(ClockEntry { step_seconds: -9.5 });
    Ledger::open(&place.path).unwrap().append(&[other]).unwrap();
    assert!(matches!(findings(&place, &known)[..], [(Some(17), Problem::NotAsCheckpoint { .. })]));
}

/// All hashes computed anew after a change: the checkpoint on record gives it away.
#[test]
fn a_chain_written_anew_disagrees_with_the_checkpoints_in_it() {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    ledger.append(&numbered(0, seven(), morning())).unwrap();
    let checkpoint = ledger.head().checkpoint();
    let later = seven() + SignedDuration::from_mins(1);
    ledger
        .append(&numbered(17, later, [Entry::Checkpoint(checkpoint), frame("focimeter-1", b"R 3\r\n")]))
        .unwrap();
    drop(ledger);
    assert_eq!(findings(&place, &[]), []);
    tamper(&place, "UPDATE entries SET payload = replace(payload, '-1.25', '-1.26') WHERE seq = 7");
    let raw = Connection::open(&place.path).unwrap();
    raw.execute_batch("DROP TRIGGER entries_are_not_changed").unwrap();
    for seq in 7..=19 {
        let (prev, text): (Vec<u8>, String) = raw
            .query_row(
                "SELECT before.hash, concat_ws(char(10), this.seq, this.time, this.kind, this.payload)
                 FROM entries this JOIN entries before ON before.seq = this.seq - 1 WHERE this.seq = ?1",
                [seq],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .unwrap();
        let hash = Sha256::digest([&prev[..], text.as_bytes()].concat());
        raw.execute("UPDATE entries SET prev = ?2, hash = ?3 WHERE seq = ?1", (seq, prev, hash.as_slice()))
            .unwrap();
    }
    raw.close().unwrap();
    let found = findings(&place, &[]);
    assert!(
        matches!(&found[0].1, Problem::Schema { name, wrong: "is missing", .. } if name == "entries_are_not_changed")
    );
    assert!(matches!(found[1..], [(Some(17), Problem::NotAsCheckpoint { .. })]), "{found:?}");
}

#[test]
fn triggers_and_views_that_were_changed_are_found() {
    for (sql, name, wrong) in [
        ("DROP TRIGGER entries_are_not_deleted", "entries_are_not_deleted", "is missing"),
        (
            "DROP VIEW verdicts; CREATE VIEW verdicts AS SELECT seq, time, 'pass' AS outcome FROM entries",
            "verdicts",
            "was changed",
        ),
        (
            "CREATE TRIGGER helper AFTER INSERT ON terms BEGIN DELETE FROM postings WHERE term = NEW.id; END",
            "helper",
            "was added",
        ),
    ] {
        let (place, _) = ledger_of(morning());
        Connection::open(&place.path).unwrap().execute_batch(sql).unwrap();
        let found = findings(&place, &[]);
        let as_expected = |problem: &Problem| matches!(problem, Problem::Schema { name: n, wrong: w, .. } if n == name && *w == wrong);
        assert!(found.len() == 1 && as_expected(&found[0].1), "{found:?}");
    }
}

#[test]
fn projections_that_were_changed_are_found() {
    for (sql, table) in [
        ("DELETE FROM postings WHERE seq = 8", "postings"),
        ("INSERT INTO postings VALUES (1, 99)", "postings"),
        ("UPDATE terms SET value = '4472' WHERE value = '4471'", "terms"),
        ("DELETE FROM days", "days"),
    ] {
        let (place, _) = ledger_of(morning());
        Connection::open(&place.path).unwrap().execute_batch(sql).unwrap();
        let found = findings(&place, &[]);
        assert!(
            matches!(found[..], [(None, Problem::Projection { table: t, .. })] if t == table),
            "{sql}: {found:?}"
        );
        Ledger::open(&place.path).unwrap().rebuild().unwrap();
        assert_eq!(findings(&place, &[]), []);
    }
}

#[test]
fn a_payload_that_cannot_be_read_is_found() {
    let (place, _) = ledger_of(morning());
    tamper(
        &place,
        "UPDATE entries SET payload = '{' WHERE seq = 16; UPDATE entries SET time = 'noon' WHERE seq = 1",
    );
    let found = findings(&place, &[]);
    for seq in [1, 16] {
        assert!(found.contains(&(Some(seq), Problem::Altered)));
        assert!(
            found.iter().any(|(s, problem)| *s == Some(seq) && matches!(problem, Problem::Unreadable(_)))
        );
    }
}

#[test]
fn time_goes_back_only_where_the_record_says_why() {
    let back = |cause: Option<Entry>| {
        let place = place();
        let mut ledger = Ledger::open(&place.path).unwrap();
        ledger.append(&numbered(0, seven(), morning().into_iter().take(8))).unwrap();
        let after = [cause.clone(), Some(frame("focimeter-1", b"R 3\r\n"))].into_iter().flatten();
        ledger.append(&numbered(8, seven() - SignedDuration::from_mins(10), after)).unwrap();
        findings(&place, &[])
    };
    assert!(matches!(back(None)[..], [(Some(9), Problem::EarlierThanBefore(_))]));
    assert_eq!(back(Some(Entry::Clock(ClockEntry { step_seconds: -607.0 }))), []);
    let started = SoftwareEntry { version: "0.1.0".into(), state: SoftwareState::Started };
    assert_eq!(back(Some(Entry::Software(started))), []);
}
