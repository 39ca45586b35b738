//! The ledger as a file: what is written can be found, and a change shows.

mod auditing;
mod history;
mod layouts;
mod rebuilding;
mod rederiving;
mod sample;
mod searching;
mod tampering;
mod writing;

use fociline::bench::entry::{Entry, Numbered};
use fociline::ledger::Ledger;
use std::path::PathBuf;
use tempfile::TempDir;

/// A ledger's place in a folder of its own.
struct Place {
    _folder: TempDir,
    path: PathBuf,
}

fn place() -> Place {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench-1.ledger");
    Place { _folder: folder, path }
}

/// A ledger that holds `entries`, closed.
fn ledger_of(entries: impl IntoIterator<Item = Entry>) -> (Place, Vec<Numbered>) {
    let place = place();
    let entries = sample::numbered(0, sample::seven(), entries);
    Ledger::open(&place.path).unwrap().append(&entries).unwrap();
    (place, entries)
}

/// A morning: an order, two frames with readings, verdicts, an unassigned reading and its
/// assignment, a voided one, and the events around them.
fn morning() -> Vec<Entry> {
    use fociline::bench::entry::*;
    use fociline::judge::verdict::Quantity;
    use sample::*;
    vec![
        /* 1 */
        Entry::Software(SoftwareEntry { version: "0.1.0".into(), state: SoftwareState::Started }),
        /* 2 */
        Entry::InForce(InForceEntry {
            what: InForce::Layout,
            name: "tagged".into(),
            hash: TextHash::of("layout"),
            text: "layout".into(),
        }),
        /* 3 */
        Entry::Port(PortEntry {
            name: "focimeter-1".into(),
            device: "/dev/ttyUSB0".into(),
            state: PortState::Lost,
            why: Some("unplugged".into()),
        }),
        /* 4 */ order("4471", 1),
        /* 5 */
        Entry::Job(JobEntry {
            job: Some(job("4471")),
            by: "scanner-1".into(),
            by_hand: false,
            scanned: None,
        }),
        /* 6 */ frame("focimeter-1", b"R 1\r\n"),
        /* 7 */ reading(6, "focimeter-1", Some("4471"), Some("A. Thorne")),
        /* 8 */ verdict("4471", 4, &[7], &[Quantity::Axis]),
        /* 9 */ frame("focimeter-2", b"\x02R 2\r\n"),
        /* 10 */ reading(9, "focimeter-2", None, None),
        /* 11 */ order("4480", 1),
        /* 12 */ note(10, Says::Assign, None, Some("4480"), "B. Lund"),
        /* 13 */ verdict("4480", 11, &[10], &[]),
        /* 14 */ note(7, Says::Assign, Some("4471"), Some("4480"), "B. Lund"),
        /* 15 */ verdict("4480", 11, &[7, 10], &[]),
        /* 16 */ order("4471", 2),
        /* 17 */ Entry::Clock(ClockEntry { step_seconds: -2.5 }),
    ]
}
