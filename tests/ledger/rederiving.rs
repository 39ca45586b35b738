//! Readings and verdicts follow from the raw bytes, the texts in force, the orders and the notes.

use super::{Place, place, sample::*};
use fociline::bench::entry::*;
use fociline::bench::event::Event;
use fociline::bench::{Bench, Setup};
use fociline::check::Limits;
use fociline::judge::RuleSet;
use fociline::ledger::{Ledger, Reader, Rederived, rederive};
use fociline::order::Order;
use fociline::parsers::frame::{Ended, Frame};
use fociline::parsers::reader::Reader as FrameReader;
use jiff::SignedDuration;
use std::collections::BTreeMap;

fn text_in_force(what: InForce, name: &str, text: &str) -> InForceEntry {
    InForceEntry { what, name: name.into(), hash: TextHash::of(text), text: text.into() }
}

/// What a bench records of two jobs, a frame that gives no reading, and corrections.
fn recorded() -> (Place, Vec<Numbered>) {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    let mut past = Reader::open(&place.path).unwrap();
    let layout = FrameReader::named("tagged").unwrap();
    let rules = RuleSet::built_in("ansi-z80.1-2015").unwrap();
    let texts = vec![
        text_in_force(InForce::Rules, rules.name(), rules.text()),
        text_in_force(InForce::Layout, layout.name(), &layout.text()),
    ];
    let setup = Setup {
        instruments: BTreeMap::from([("focimeter-1".to_owned(), layout)]),
        rules,
        limits: Limits::default(),
        hold: None,
        job_hold: SignedDuration::from_mins(10),
        software: "0.1.0".into(),
    };
    let mut bench = Bench::new(setup, Seq(0));
    let order = |number: &str| -> Order {
        serde_json::from_str(&format!(
            r#"{{"job":{number:?},"lens":"single-vision","mounted":true,
                "right":{{"sphere":-1.25,"cylinder":-0.50,"axis":90}},"left":{{"sphere":-2.00}}}}"#
        ))
        .unwrap()
    };
    let ordered = |number: &str| Event::Ordered {
        order: Box::new(order(number)),
        source: "tray.csv".into(),
        by: None,
        dropped: vec![],
    };
    let sent = |line: &str, ended| Event::Frame {
        instrument: "focimeter-1".into(),
        frame: Frame { bytes: line.as_bytes().to_vec(), ended },
    };
    let whole = |line: &str| sent(line, Ended::Complete);
    let noted = |about: u64, says, before: &str, after: &str| {
        let Entry::Note(note) = note(about, says, Some(before), Some(after), "B. Lund") else {
            unreachable!()
        };
        Event::Noted(note)
    };
    let mut entries = Vec::new();
    let mut step = |event: Event| {
        let new = bench.step(&event, seven(), &mut past).unwrap();
        ledger.append(&new).unwrap();
        entries.extend(new.clone());
        new
    };
    step(Event::Started { texts });
    step(ordered("4471"));
    step(ordered("4480"));
    step(whole("JOB=4471 EYE=R S=-1.75 C=+0.50 A=1\r\n"));
    let left = step(whole("JOB=4471 EYE=L S=-2.50\r\n"))[1].seq.0;
    step(whole("JOB=4471 EYE=L S=abc\r\n"));
    step(sent("JOB=4471 EYE=", Ended::Unfinished));
    step(noted(left, Says::Assign, "4471", "4480"));
    step(whole("JOB=4471 EYE=L S=-2.00\r\n"));
    step(noted(left, Says::Void, "4480", "4480"));
    (place, entries)
}

fn again(place: &Place, number: Option<&str>) -> Rederived {
    rederive(&Reader::open(&place.path).unwrap(), number.map(job).as_ref(), |_, _| {}).unwrap()
}

fn count(entries: &[Numbered], wanted: impl Fn(&Entry) -> bool) -> u64 {
    entries.iter().filter(|numbered| wanted(&numbered.entry)).count() as u64
}

#[test]
fn everything_is_derived_again_as_recorded() {
    let (place, entries) = recorded();
    let found = again(&place, None);
    assert_eq!(found.differences, []);
    assert_eq!(found.readings, 3);
    assert_eq!(found.rejects, 1);
    let verdicts = |number: &str| {
        count(&entries, |entry| matches!(entry, Entry::Verdict(verdict) if verdict.job == job(number)))
    };
    assert!(verdicts("4471") >= 4);
    assert_eq!(found.verdicts, verdicts("4471") + verdicts("4480"));
    let of_job = again(&place, Some("4480"));
    assert_eq!((of_job.readings, of_job.verdicts, of_job.differences.len()), (1, verdicts("4480"), 0));
}

/// A ledger that says what does not follow, with a chain that is in order.
fn with(change: impl Fn(&mut Entry) -> bool) -> (u64, Vec<(u64, String)>) {
    let (_, mut entries) = recorded();
    let at =
        entries.iter_mut().position(|numbered| change(&mut numbered.entry)).expect("something to change");
    let place = place();
    Ledger::open(&place.path).unwrap().append(&entries).unwrap();
    let differences = again(&place, None).differences;
    (entries[at].seq.0, differences.into_iter().map(|found| (found.seq.0, found.what)).collect())
}

#[test]
fn a_reading_that_its_frame_does_not_give_is_named() {
    let (seq, found) = with(|entry| match entry {
        Entry::Frame(frame) if frame.bytes.starts_with(b"JOB=4471 EYE=L S=-2.00") => {
            frame.bytes = b"JOB=4471 EYE=L S=-2.25\r\n".to_vec();
            true
        }
        _ => false,
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, seq + 1);
    assert!(found[0].1.contains("-2.25") && found[0].1.contains("-2.00"), "{}", found[0].1);
}

#[test]
fn a_verdict_that_does_not_follow_is_named() {
    use fociline::judge::verdict::{ItemOutcome, Outcome};
    let (seq, found) = with(|entry| match entry {
        Entry::Verdict(verdict) if verdict.outcome == Outcome::Fail => {
            verdict.outcome = Outcome::Pass;
            verdict.items.iter_mut().for_each(|item| item.outcome = ItemOutcome::Pass);
            true
        }
        _ => false,
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, seq);
    assert!(found[0].1.contains("fail"), "{}", found[0].1);
}

#[test]
fn what_is_missing_for_deriving_is_said() {
    let (_, found) = with(|entry| match entry {
        Entry::InForce(text) if text.what == InForce::Rules => {
            text.text.push_str("# loosened\n");
            true
        }
        _ => false,
    });
    assert!(found.len() >= 4 && found.iter().all(|(_, what)| what.contains("is not on record")), "{found:?}");
    let (_, found) = with(|entry| match entry {
        Entry::Frame(frame) if frame.reject.is_some() && frame.ended == Ended::Complete => {
            frame.bytes = b"JOB=4471 EYE=L S=-2.25\r\n".to_vec();
            true
        }
        _ => false,
    });
    assert!(found.len() == 1 && found[0].1.contains("gives a reading now"), "{found:?}");
}
