//! Opening and appending.

use super::{ledger_of, morning, place, sample::*};
use fociline::bench::entry::{Says, Seq};
use fociline::ledger::{Ledger, LedgerError, Reader, is_held};
use rusqlite::Connection;
use std::process::Command;

#[test]
fn what_is_written_is_read_again() {
    let place = place();
    let entries = numbered(0, seven(), morning());
    let mut ledger = Ledger::open(&place.path).unwrap();
    assert_eq!(ledger.head().seq, Seq(0));
    ledger.append(&entries[..5]).unwrap();
    let head = ledger.append(&entries[5..]).unwrap();
    assert_eq!((head.seq, ledger.head()), (Seq(17), head));
    drop(ledger);
    let again = Ledger::open(&place.path).unwrap();
    assert_eq!(again.head(), head);
    // While the writer is open.
    let reader = Reader::open(&place.path).unwrap();
    assert_eq!(reader.head().unwrap(), head);
    let read: Vec<_> = reader.entries(Seq(0)..=Seq(u64::MAX)).map(Result::unwrap).collect();
    assert_eq!(read, entries);
    assert_eq!(reader.entry(Seq(8)).unwrap().as_ref(), Some(&entries[7]));
    assert_eq!(reader.entry(Seq(18)).unwrap(), None);
}

#[test]
fn ranges_longer_than_a_block_are_read_whole() {
    let (place, entries) = ledger_of((0..600).map(|n| note(n, Says::Remark, None, None, "B. Lund")));
    let reader = Reader::open(&place.path).unwrap();
    let read: Vec<_> = reader.entries(Seq(3)..=Seq(598)).map(Result::unwrap).collect();
    assert_eq!(read, entries[2..598]);
}

#[test]
fn times_are_kept_to_the_microsecond() {
    let place = place();
    let mut entries = numbered(0, seven(), [frame("focimeter-1", b"x")]);
    entries[0].time = "2026-03-02T07:00:00.123456789Z".parse().unwrap();
    Ledger::open(&place.path).unwrap().append(&entries).unwrap();
    let stored = Reader::open(&place.path).unwrap().stored_entry(Seq(1)).unwrap().unwrap();
    assert_eq!(stored.time, "2026-03-02T07:00:00.123456Z");
}

#[test]
fn wrong_numbers_are_refused_and_nothing_is_written() {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    let mut entries = numbered(0, seven(), morning());
    entries[3].seq = Seq(9);
    let refused = ledger.append(&entries).unwrap_err();
    assert!(matches!(refused, LedgerError::Numbering { head: Seq(3), found: Seq(9), .. }), "{refused}");
    assert!(ledger.append(&numbered(1, seven(), morning())).is_err());
    assert_eq!(ledger.head().seq, Seq(0));
    entries[3].seq = Seq(4);
    assert_eq!(ledger.append(&entries).unwrap().seq, Seq(17));
}

#[test]
fn triggers_refuse_what_is_not_an_addition_at_the_end() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    for sql in [
        "UPDATE entries SET payload = '{}' WHERE seq = 3",
        "DELETE FROM entries WHERE seq = 17",
        "DELETE FROM entries",
        "REPLACE INTO entries SELECT * FROM entries WHERE seq = 3",
        "INSERT OR REPLACE INTO entries SELECT * FROM entries WHERE seq = 17",
        "INSERT INTO entries SELECT 19, time, kind, payload, prev, hash FROM entries WHERE seq = 17",
        "UPDATE OR IGNORE entries SET seq = 99 WHERE seq = 17",
    ] {
        let refused = raw.execute(sql, []).unwrap_err().to_string();
        assert!(refused.contains("entries of the ledger are"), "{sql}: {refused}");
    }
    assert_eq!(raw.query_row("SELECT count(*) FROM entries", [], |row| row.get::<_, i64>(0)).unwrap(), 17);
}

#[test]
fn it_is_written_so_that_a_power_cut_does_no_harm() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    let mode: String = raw.pragma_query_value(None, "journal_mode", |row| row.get(0)).unwrap();
    assert_eq!(mode, "wal");
}

#[test]
fn a_later_version_is_refused_and_left_as_it_is() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    raw.pragma_update(None, "user_version", 2).unwrap();
    raw.close().unwrap();
    std::fs::remove_file(place.path.with_extension("ledger.lock")).unwrap();
    is_refused_and_untouched(&place, |why| matches!(why, LedgerError::Newer { found: 2, known: 1, .. }));
}

#[test]
fn what_is_not_a_ledger_is_refused_and_left_as_it_is() {
    let not_a_ledger = |why: &LedgerError| matches!(why, LedgerError::NotALedger { .. });
    let text = place();
    std::fs::write(&text.path, "job;sphere\n".repeat(50)).unwrap();
    is_refused_and_untouched(&text, not_a_ledger);
    let short = place();
    std::fs::write(&short.path, "SQLite format 3\0").unwrap();
    is_refused_and_untouched(&short, not_a_ledger);
    let other = place();
    Connection::open(&other.path).unwrap().execute_batch("CREATE TABLE entries (seq)").unwrap();
    is_refused_and_untouched(&other, not_a_ledger);
}

fn is_refused_and_untouched(place: &super::Place, as_expected: impl Fn(&LedgerError) -> bool) {
    let before = std::fs::read(&place.path).unwrap();
    for refused in [Ledger::open(&place.path).err(), Reader::open(&place.path).err()] {
        let refused = refused.unwrap();
        assert!(as_expected(&refused), "{refused}");
        assert!(refused.to_string().contains("bench-1.ledger"));
    }
    assert_eq!(std::fs::read(&place.path).unwrap(), before);
    for suffix in ["-wal", "-shm", "-journal", ".lock"] {
        assert!(!place.path.with_extension(format!("ledger{suffix}")).exists(), "{suffix} appeared");
    }
}

#[test]
fn nothing_is_made_by_reading() {
    let place = place();
    assert!(matches!(Reader::open(&place.path), Err(LedgerError::Open { .. })));
    assert!(!place.path.exists());
}

/// Runs itself again as the second process.
#[test]
fn a_second_process_may_read_and_not_write() {
    const PLACE: &str = "FOCILINE_TEST_LEDGER";
    if let Ok(path) = std::env::var(PLACE) {
        assert_eq!(Reader::open(&path).unwrap().head().unwrap().seq, Seq(17));
        println!("refused: {}", Ledger::open(&path).unwrap_err());
        return;
    }
    let (place, _) = ledger_of(morning());
    let writer = Ledger::open(&place.path).unwrap();
    let second = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "writing::a_second_process_may_read_and_not_write", "--nocapture"])
        .env(PLACE, &place.path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&second.stdout);
    assert!(second.status.success(), "{said}");
    let expected = format!("is being written by another fociline (process {})", std::process::id());
    assert!(said.contains(&expected), "{said}");
    assert!(is_held(&place.path).unwrap());
    drop(writer);
    assert!(!is_held(&place.path).unwrap());
    Ledger::open(&place.path).expect("the lock is let go");
}

#[test]
fn who_looks_at_the_lock_does_not_keep_a_writer_out() {
    let (place, _) = ledger_of(morning());
    let looked_at = std::fs::File::open(fociline::ledger::beside(&place.path, ".lock")).unwrap();
    looked_at.try_lock_shared().unwrap();
    let looks = std::thread::spawn(move || {
        std::thread::sleep(std::time::Duration::from_millis(5));
        drop(looked_at);
    });
    Ledger::open(&place.path).expect("it is tried again");
    looks.join().unwrap();
}

#[test]
fn a_read_only_copy_can_be_read() {
    let (place, entries) = ledger_of(morning());
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("copy #1 of 50%?.ledger");
    std::fs::copy(&place.path, &copy).unwrap();
    let set_read_only = |path: &std::path::Path, read_only| {
        let mut permissions = std::fs::metadata(path).unwrap().permissions();
        permissions.set_readonly(read_only);
        std::fs::set_permissions(path, permissions).unwrap();
    };
    set_read_only(&copy, true);
    set_read_only(folder.path(), true);
    let reader = Reader::open(&copy);
    let read: Vec<_> = reader.as_ref().unwrap().entries(Seq(1)..=Seq(17)).map(Result::unwrap).collect();
    set_read_only(folder.path(), false);
    assert_eq!(read, entries);
}
