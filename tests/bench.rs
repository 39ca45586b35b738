//! The core: what is recorded of events, without ports, clock or disk.

use fociline::bench::entry::{Entry, JobFrom, NoteEntry, Numbered, Says, Seq, TextHash};
use fociline::bench::event::Event;
use fociline::bench::{Bench, Past, Setup};
use fociline::check::Limits;
use fociline::judge::RuleSet;
use fociline::judge::verdict::{Outcome, Quantity, Side, Verdict};
use fociline::parsers::frame::{Ended, Frame};
use fociline::parsers::reader::Reader;
use fociline::parsers::reading::{Eye, JobNumber};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::convert::Infallible;

/// A bench with all that it has recorded as its past.
struct Station {
    bench: Bench,
    record: Vec<Numbered>,
    now: Timestamp,
}

struct Record<'a>(&'a [Numbered]);

impl Past for Record<'_> {
    type Error = Infallible;
    fn history(&mut self, job: &JobNumber) -> Result<Vec<Numbered>, Infallible> {
        let concerns = |numbered: &&Numbered| match &numbered.entry {
            Entry::Reading(reading) => reading.job.as_ref() == Some(job),
            Entry::Order(order) => order.order.job == *job,
            Entry::Note(note) => note.job.as_ref() == Some(job) || note.job_before.as_ref() == Some(job),
            _ => false,
        };
        Ok(self.0.iter().filter(concerns).cloned().collect())
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
    fn was_in_force(&mut self, text: &TextHash) -> Result<bool, Infallible> {
        let is =
            |numbered: &Numbered| matches!(&numbered.entry, Entry::InForce(found) if found.hash == *text);
        Ok(self.0.iter().any(is))
    }
}

fn setup() -> Setup {
    let tagged = Reader::named("tagged").expect("built in");
    let terse = Reader::named("terse").expect("built in");
    Setup {
        instruments: BTreeMap::from([("one".to_owned(), tagged), ("bit-by-bit".to_owned(), terse)]),
        rules: RuleSet::built_in("ansi-z80.1-2015").expect("built in"),
        limits: Limits::default(),
        hold: None,
        job_hold: SignedDuration::from_mins(10),
        software: "test".to_owned(),
    }
}

impl Station {
    fn new() -> Self {
        let now = "2026-03-02T07:00:00Z".parse().expect("a time");
        Self { bench: Bench::new(setup(), Seq(0)), record: Vec::new(), now }
    }

    fn after(&mut self, minutes: i64) -> &mut Self {
        self.now += SignedDuration::from_mins(minutes);
        self
    }

    fn on(&mut self, event: Event) -> Vec<Entry> {
        let entries = match self.bench.step(&event, self.now, &mut Record(&self.record)) {
            Ok(entries) => entries,
            Err(never) => match never {},
        };
        self.record.extend(entries.iter().cloned());
        entries.into_iter().map(|numbered| numbered.entry).collect()
    }

    fn frame(&mut self, instrument: &str, bytes: &str) -> Vec<Entry> {
        let frame = Frame { bytes: bytes.as_bytes().to_vec(), ended: Ended::Complete };
        self.on(Event::Frame { instrument: instrument.to_owned(), frame })
    }

    fn measured(&mut self, bytes: &str) -> Option<Verdict> {
        verdict(self.frame("one", &format!("{bytes}\r\n")))
    }

    fn scan(&mut self, line: &str) -> Vec<Entry> {
        self.on(Event::Scanned { scanner: "scanner".to_owned(), line: line.as_bytes().to_vec() })
    }

    fn order(&mut self, json: &str) -> Vec<Entry> {
        let order = serde_json::from_str(json).expect("an order");
        self.on(Event::Ordered {
            order: Box::new(order),
            source: "test".to_owned(),
            by: None,
            dropped: Vec::new(),
        })
    }

    fn last(&self, kind: &str) -> Seq {
        self.record.iter().rev().find(|numbered| numbered.entry.kind() == kind).expect("one is there").seq
    }

    /// Says something of the last reading.
    fn note(&mut self, says: Says, job: &str, job_before: Option<&str>, eye: Option<Eye>) -> Vec<Entry> {
        self.on(Event::Noted(NoteEntry {
            about: self.last("reading"),
            says,
            reason: "test".to_owned(),
            by: "test".to_owned(),
            job: Some(job.parse().expect("a job number")),
            eye,
            job_before: job_before.map(|job| job.parse().expect("a job number")),
        }))
    }
}

fn verdict(entries: Vec<Entry>) -> Option<Verdict> {
    entries.into_iter().find_map(|entry| match entry {
        Entry::Verdict(verdict) => Some(*verdict),
        _ => None,
    })
}

const ORDER: &str = r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;

fn item(verdict: &Verdict, quantity: Quantity) -> String {
    let item = verdict.items.iter().find(|item| item.eye == Side::Right && item.quantity == quantity);
    item.and_then(|item| item.measured).map(|value| value.to_string()).unwrap_or_default()
}

#[test]
fn a_frame_belongs_to_the_job_in_it_else_to_the_job_scanned_else_to_nobody() {
    let mut station = Station::new();
    let job_of = |entries: Vec<Entry>| {
        entries.into_iter().find_map(|entry| match entry {
            Entry::Reading(reading) => Some((reading.job.map(String::from), reading.job_from)),
            _ => None,
        })
    };
    assert_eq!(job_of(station.frame("one", "EYE=R S=1.00\r\n")), Some((None, JobFrom::Nobody)));
    station.scan("4471");
    assert_eq!(
        job_of(station.frame("one", "EYE=R S=1.00\r\n")),
        Some((Some("4471".to_owned()), JobFrom::Station))
    );
    assert_eq!(
        job_of(station.frame("one", "JOB=9 EYE=R S=1.00\r\n")),
        Some((Some("9".to_owned()), JobFrom::Frame))
    );
    // A measurement keeps the scanned job; ten minutes without one let it go.
    assert_eq!(
        job_of(station.after(9).frame("one", "EYE=R S=1.00\r\n")),
        Some((Some("4471".to_owned()), JobFrom::Station))
    );
    assert_eq!(
        job_of(station.after(10).frame("one", "EYE=R S=1.00\r\n")),
        Some((Some("4471".to_owned()), JobFrom::Station))
    );
    assert_eq!(job_of(station.after(11).frame("one", "EYE=R S=1.00\r\n")), Some((None, JobFrom::Nobody)));
}

#[test]
fn what_is_not_a_job_number_leaves_the_job_chosen() {
    let mut station = Station::new();
    station.scan("4471");
    let entries = station.on(Event::Scanned { scanner: "scanner".to_owned(), line: vec![0xff, b'7'] });
    assert!(
        matches!(&entries[..], [Entry::Job(job)] if job.job.is_none() && job.scanned.as_deref() == Some("<FF>7"))
    );
    assert_eq!(station.bench.current_job(station.now).map(JobNumber::as_str), Some("4471"));
}

#[test]
fn the_latest_value_of_each_quantity_holds() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    let first = station.measured("EYE=R S=-1.25 C=-0.50 A=99").expect("judged");
    assert_eq!(first.outcome, Outcome::Fail);
    let again = station.measured("EYE=R S=-1.25 C=-0.50 A=91").expect("judged");
    assert_eq!(again.outcome, Outcome::Pass);
    // A cylinder without an axis takes no axis from an earlier one.
    let without = station.measured("EYE=R S=-1.25 C=-0.50").expect("judged");
    assert_eq!((without.outcome, item(&without, Quantity::Axis)), (Outcome::Incomplete, String::new()));
}

#[test]
fn values_that_come_one_at_a_time_are_put_together_as_sent() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    // In plus form: -1.75 +0.50 x 180 is -1.25 -0.50 x 90.
    station.frame("bit-by-bit", "SR01.75-");
    station.frame("bit-by-bit", "CR00.50+");
    let verdict = verdict(station.frame("bit-by-bit", "AR180")).expect("judged");
    assert_eq!(verdict.outcome, Outcome::Pass, "{verdict:?}");
    assert_eq!(item(&verdict, Quantity::SphereMeridian), "-1.25");
}

#[test]
fn an_addition_is_the_difference_of_near_and_distance_power() {
    let mut station = Station::new();
    station.order(
        r#"{"job":"4471","lens":"multifocal","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00}}"#,
    );
    station.scan("4471");
    station.measured("EYE=R S=-1.25 C=-0.50 A=90 MODE=D");
    let verdict = station.measured("EYE=R S=+0.81 C=-0.50 A=90 MODE=N").expect("judged");
    assert_eq!(item(&verdict, Quantity::Addition), "2.06");
    assert_eq!(item(&verdict, Quantity::SphereMeridian), "-1.25", "the near power is not the distance power");
    assert_eq!(verdict.basis.expect("on record").readings.len(), 2);
}

#[test]
fn an_order_after_the_measurement_and_each_revision_judge_again() {
    let mut station = Station::new();
    station.scan("4471");
    assert_eq!(station.measured("EYE=R S=-1.25 C=-0.50 A=90"), None);
    let first = verdict(station.order(ORDER)).expect("judged");
    assert_eq!(first.outcome, Outcome::Pass);
    assert!(station.order(ORDER).is_empty(), "the same order again is no revision");
    let revised = verdict(station.order(&ORDER.replace("90", "80"))).expect("judged");
    assert_eq!(revised.outcome, Outcome::Fail);
}

#[test]
fn a_void_brings_the_value_before_it_back() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    station.measured("EYE=R S=-1.25 C=-0.50 A=90");
    station.measured("EYE=R S=-1.25 C=-0.50 A=99");
    let after = verdict(station.note(Says::Void, "4471", None, None)).expect("judged");
    assert_eq!((after.outcome, item(&after, Quantity::Axis).as_str()), (Outcome::Pass, "90"));
}

#[test]
fn an_assigned_reading_counts_for_its_new_job_and_no_more_for_the_old() {
    let mut station = Station::new();
    station.order(ORDER);
    station.order(&ORDER.replace("4471", "4472"));
    station.scan("4472");
    station.measured("EYE=R S=-1.25 C=-0.50 A=99");
    station.measured("EYE=R S=-1.25 C=-0.50 A=90");
    let entries = station.note(Says::Assign, "4471", Some("4472"), None);
    let outcomes: Vec<(String, Outcome)> = entries
        .into_iter()
        .filter_map(|entry| match entry {
            Entry::Verdict(verdict) => Some((verdict.job.to_string(), verdict.outcome)),
            _ => None,
        })
        .collect();
    assert_eq!(outcomes, [("4472".to_owned(), Outcome::Fail), ("4471".to_owned(), Outcome::Pass)]);
}

#[test]
fn a_reading_of_nobody_counts_once_it_is_assigned() {
    let mut station = Station::new();
    station.order(ORDER);
    station.measured("EYE=R S=-1.25 C=-0.50 A=90");
    let verdict = verdict(station.note(Says::Assign, "4471", None, None)).expect("judged");
    assert_eq!(verdict.outcome, Outcome::Pass);
}

#[test]
fn an_eye_is_asked_for_and_never_guessed() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    assert_eq!(station.measured("EYE=? S=-1.25 C=-0.50 A=90"), None);
    let verdict = verdict(station.note(Says::Assign, "4471", None, Some(Eye::Right))).expect("judged");
    assert_eq!(verdict.outcome, Outcome::Pass);
}

#[test]
fn a_command_that_is_scanned_speaks_of_the_last_reading_and_is_no_job() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    assert_eq!(station.measured("S=-1.25 C=-0.50 A=90"), None);
    assert_eq!(verdict(station.scan("..RIGHT")).expect("judged").outcome, Outcome::Pass);
    let scanned = |entries: Vec<Entry>| match entries.as_slice() {
        [Entry::Job(choice)] => (choice.job.clone(), choice.scanned.clone()),
        other => panic!("{other:?}"),
    };
    assert_eq!(
        scanned(station.scan("..left")),
        (None, Some("..left".to_owned())),
        "it waits for no eye any more"
    );
    assert_eq!(verdict(station.scan("..VOID")), None, "nothing is left to judge");
    match &station.record[station.record.len() - 1].entry {
        Entry::Note(note) => assert_eq!((note.says, note.by.as_str()), (Says::Void, "scanner")),
        other => panic!("{other:?}"),
    }
    assert_eq!(scanned(station.scan("..VOID")), (None, Some("..VOID".to_owned())), "it is void already");
    let verdict = station.measured("EYE=R S=-1.25 C=-0.50 A=95").expect("the job is chosen still");
    assert_eq!((verdict.job.as_str(), item(&verdict, Quantity::Axis).as_str()), ("4471", "95"));
    station.note(Says::Void, "4471", None, None);
    assert_eq!(scanned(station.scan("..VOID")).0, None, "somebody else voided it");
}

#[test]
fn a_frame_that_is_not_whole_is_recorded_and_not_read() {
    let mut station = Station::new();
    for ended in [Ended::Oversize, Ended::Unfinished, Ended::Stray] {
        let frame = Frame { bytes: b"EYE=R S=1.00\r\n".to_vec(), ended };
        let entries = station.on(Event::Frame { instrument: "one".to_owned(), frame });
        let [Entry::Frame(frame)] = &entries[..] else { panic!("{entries:?}") };
        assert!(frame.reject.is_some());
    }
}

#[test]
fn the_record_folds_to_what_the_bench_knows() {
    let mut station = Station::new();
    station.order(ORDER);
    station.scan("4471");
    station.measured("EYE=R S=-1.25 C=-0.50 A=99");
    station.measured("EYE=R S=-1.25 C=-0.50 A=91");
    let next = station.measured("EYE=R S=-1.20").expect("judged");
    // Another bench that starts from the record alone says the same.
    let mut restarted =
        Station { bench: Bench::new(setup(), station.last("reading").next()), ..Station::new() };
    restarted.record = station.record.clone();
    restarted.record.truncate(restarted.record.len() - 3);
    restarted.scan("4471");
    let again = restarted.measured("EYE=R S=-1.20").expect("judged");
    assert_eq!(again.items, next.items);
}
