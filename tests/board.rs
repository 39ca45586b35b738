//! The board as a fold over the core's entries, and following the ledger on a real recorder.

use fociline::bench::entry::{
    Entry, NoteEntry, Numbered, PersonDid, PersonEntry, PortEntry, PortState, Says, Seq, TextHash,
};
use fociline::bench::event::Event;
use fociline::bench::{Bench, Past};
use fociline::parsers::frame::{Ended, Frame};
use fociline::parsers::reading::{Eye, JobNumber};
use fociline::station::board::{Board, WaitsFor};
use fociline::station::follow::Follow;
use fociline::station::recorder::Recorder;
use fociline::station::run::setup;
use fociline::station::settings::Settings;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::convert::Infallible;
use std::path::Path;

const SETTINGS: &str = r#"
[station]
name = "bench-1"
ledger = "bench-1.ledger"
rules = "ansi-z80.1-2015"
[[instrument]]
name = "focimeter-1"
port = "/dev/none"
layout = "tagged"
"#;

fn settings(folder: &Path) -> Settings {
    std::fs::write(folder.join("station.toml"), SETTINGS).expect("written");
    Settings::load(&folder.join("station.toml")).expect("loads")
}

struct Record<'r>(&'r [Numbered]);

impl Past for Record<'_> {
    type Error = Infallible;
    fn history(&mut self, _: &JobNumber) -> Result<Vec<Numbered>, Infallible> {
        Ok(self.0.to_vec())
    }
    fn entry(&mut self, seq: Seq) -> Result<Option<Numbered>, Infallible> {
        Ok(self.0.iter().find(|numbered| numbered.seq == seq).cloned())
    }
    fn checks(&mut self) -> Result<Vec<Numbered>, Infallible> {
        let is = |numbered: &&Numbered| {
            matches!(numbered.entry, Entry::ReferenceLens(_) | Entry::InstrumentCheck(_))
        };
        Ok(self.0.iter().filter(is).cloned().collect())
    }
    fn was_in_force(&mut self, _: &TextHash) -> Result<bool, Infallible> {
        Ok(false)
    }
}

/// A core, and the board of what it makes.
struct Lab {
    core: Bench,
    board: Board,
    record: Vec<Numbered>,
    now: Timestamp,
}

impl Lab {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let settings = settings(folder.path());
        let board = Board::new(&settings, TimeZone::fixed(jiff::tz::offset(5)));
        let now = "2026-03-02T07:30:00Z".parse().expect("a time");
        Self { core: Bench::new(setup(&settings), Seq(0)), board, record: Vec::new(), now }
    }

    /// Takes an event in and gives the number of its first entry.
    fn on(&mut self, event: Event) -> Seq {
        let Ok(entries) = self.core.step(&event, self.now, &mut Record(&self.record));
        entries.iter().for_each(|numbered| self.board.take(numbered));
        self.record.extend(entries.iter().cloned());
        entries.first().map(|numbered| numbered.seq).expect("one at least")
    }

    fn frame(&mut self, text: &str) -> Seq {
        let frame = Frame { bytes: format!("{text}\r\n").into_bytes(), ended: Ended::Complete };
        self.on(Event::Frame { instrument: "focimeter-1".to_owned(), frame })
    }

    fn port(&mut self, state: PortState) {
        let (name, device) = ("focimeter-1".to_owned(), "/dev/none".to_owned());
        self.on(Event::Port(PortEntry { name, device, state, why: None }));
    }

    fn note(&mut self, about: Seq, says: Says, job: Option<&str>, eye: Option<Eye>) {
        let job = job.map(|job| job.parse().expect("a job"));
        let (reason, by) = ("why".to_owned(), "who".to_owned());
        self.on(Event::Noted(NoteEntry { about, says, reason, by, job, eye, job_before: None }));
    }

    fn current(&self) -> Option<&str> {
        self.board.current(self.now).map(|current| current.job.as_str())
    }

    fn waiting(&self) -> Vec<(u64, WaitsFor)> {
        self.board.waiting().map(|waiting| (waiting.seq.0, waiting.waits_for)).collect()
    }
}

#[test]
fn the_boards_current_job_is_the_cores() {
    let mut lab = Lab::new();
    lab.on(Event::Scanned { scanner: "scanner-1".to_owned(), line: b"4471".to_vec() });
    for (minutes, frame, current) in [
        (0, None, Some("4471")),
        (9, Some("EYE=R S=-1.25"), Some("4471")),
        (9, None, Some("4471")),
        (2, None, None),
    ] {
        lab.now += SignedDuration::from_mins(minutes);
        frame.map(|frame| lab.frame(frame));
        assert_eq!(lab.current(), current);
        assert_eq!(lab.current(), lab.core.current_job(lab.now).map(JobNumber::as_str));
    }
    lab.on(Event::Chosen { job: "4472".parse().expect("a job"), by: "somebody".to_owned() });
    assert_eq!(lab.current(), Some("4472"));
    lab.on(Event::Started { texts: Vec::new() });
    assert_eq!(lab.current(), None, "a core starts without a job");
}

#[test]
fn readings_wait_until_a_person_has_said_enough() {
    let mut lab = Lab::new();
    let reading = lab.frame("S=-1.25").next();
    let other = lab.frame("EYE=R S=-1.25").next();
    lab.frame("JOB=9 EYE=R S=-1.25");
    lab.frame("nonsense");
    assert_eq!(lab.waiting(), [(reading.0, WaitsFor::Job), (other.0, WaitsFor::Job)]);
    lab.note(other, Says::Remark, None, None);
    lab.note(reading, Says::Assign, Some("4471"), None);
    assert_eq!(lab.waiting(), [(reading.0, WaitsFor::Eye), (other.0, WaitsFor::Job)]);
    lab.note(reading, Says::Assign, Some("4471"), Some(Eye::Left));
    lab.note(other, Says::Void, None, None);
    assert_eq!(lab.waiting(), []);
}

#[test]
fn a_port_is_as_it_was_last_said_and_counted_by_the_stations_hours() {
    let mut lab = Lab::new();
    lab.port(PortState::Opened);
    lab.frame("EYE=R S=-1.25");
    lab.frame("nonsense");
    lab.now += SignedDuration::from_mins(45);
    lab.frame("EYE=R S=-1.25");
    lab.port(PortState::Lost);
    let port = &lab.board.ports()[0];
    assert_eq!((port.state, port.since), (Some(PortState::Lost), Some(lab.now)));
    let hours: Vec<_> =
        port.hours.iter().map(|hour| (hour.begins.to_string(), hour.frames, hour.rejects)).collect();
    assert_eq!(hours, [("2026-03-02T12:00:00".to_owned(), 2, 1), ("2026-03-02T13:00:00".to_owned(), 1, 0)]);
    lab.on(Event::Started { texts: Vec::new() });
    assert_eq!(lab.board.ports()[0].state, None, "a crash said nothing");
    for _ in 0..100 {
        lab.now += SignedDuration::from_hours(1);
        lab.frame("nonsense");
    }
    assert_eq!(lab.board.ports()[0].hours.len(), 48);
}

fn person() -> Event {
    let (did, by) = (PersonDid::SignedOut, "somebody".to_owned());
    Event::Person(PersonEntry { did, name: None, role: None, by, from: None, why: None })
}

async fn numbers(follow: &mut Follow, last: u64) -> Vec<u64> {
    let mut numbers = Vec::new();
    while numbers.last() != Some(&last) {
        let entries = follow.next().await.expect("reads").expect("recording goes on");
        numbers.extend(entries.iter().map(|numbered| numbered.seq.0));
    }
    numbers
}

#[tokio::test]
async fn every_entry_comes_once_and_in_order_however_late_one_begins_or_slow_one_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let settings = settings(folder.path());
    let (recorder, threads, _) = Recorder::start(&settings.ledger, setup(&settings)).expect("starts");
    let record = async || recorder.record(person(), Timestamp::UNIX_EPOCH).await.expect("recorded");
    let mut slow = Follow::after(Seq(0), &recorder, settings.ledger.clone());
    record().await;
    assert_eq!(numbers(&mut slow, 1).await, [1]);
    // It has caught up, and waits for what is handed round.
    let nothing = tokio::time::timeout(std::time::Duration::from_millis(300), slow.next()).await;
    assert!(nothing.is_err());
    // More transactions than are kept for those that listen.
    for _ in 0..1500 {
        record().await;
    }
    let mut late = Follow::after(Seq(1400), &recorder, settings.ledger.clone());
    record().await;
    assert_eq!(numbers(&mut slow, 1502).await, (2..=1502).collect::<Vec<_>>());
    assert_eq!(numbers(&mut late, 1502).await, (1401..=1502).collect::<Vec<_>>());
    drop(recorder);
    tokio::task::spawn_blocking(|| threads.join()).await.expect("ends").expect("in order");
    assert!(slow.next().await.expect("reads").is_none(), "it ends with the recorder");
}

#[test]
fn a_reading_of_a_reference_lens_waits_for_nobody() {
    let mut lab = Lab::new();
    let lens = r#"{"name":"REF-1","serial":"1","sphere":-5.0,"due":"2027-01-01"}"#;
    let lens = serde_json::from_str(lens).expect("a lens");
    lab.on(Event::ReferenceLens { lens: Box::new(lens), by: "who".to_owned() });
    lab.frame("JOB=4471 S=-5.00");
    assert_eq!(lab.waiting().len(), 1, "of a job, the eye is asked for");
    lab.frame("JOB=REF-1 S=-5.00");
    assert!(lab.record.iter().any(|numbered| matches!(numbered.entry, Entry::InstrumentCheck(_))));
    assert_eq!(lab.waiting().len(), 1, "of a reference lens, it is not");
}
