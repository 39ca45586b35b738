//! Several layouts on one port, and what past frames would say by another layout.

use super::{Place, place, sample::*};
use fociline::bench::entry::*;
use fociline::bench::event::Event;
use fociline::bench::{Bench, Setup};
use fociline::judge::RuleSet;
use fociline::ledger::{Change, Ledger, Reader, compare, rederive};
use fociline::parsers::frame::{Ended, Frame};
use fociline::parsers::layout::Layout;
use fociline::parsers::reader::Reader as FrameReader;
use jiff::SignedDuration;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A layout of one line: eye, sphere, and a second number.
fn layout(name: &str, second: &str, keys: &str) -> FrameReader {
    let text = format!(
        "name = {name:?}\ntitle = \"x\"\n[frame]\nend = \"<CR>\"\n[[line]]\nform = \"delimited\"\nseparator = \",\"\n\
         [[line.field]]\nis = \"eye\"\nvalues = {{ R = \"right\", L = \"left\" }}\n[[line.field]]\nis = \"sphere\"\n\
         [[line.field]]\nis = {second:?}\n{keys}\n"
    );
    FrameReader::Layout(Arc::new(Layout::from_toml(&text, name).unwrap()))
}

/// A ledger in which `reader` was given each of `lines`, and the frames in it.
fn recorded(reader: &FrameReader, lines: &[&str]) -> (Place, Vec<FrameEntry>) {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    let mut past = Reader::open(&place.path).unwrap();
    let in_force = |part: &&FrameReader| InForceEntry {
        what: InForce::Layout,
        name: part.name().into(),
        hash: TextHash::of(&part.text()),
        text: part.text().into_owned(),
    };
    let texts = reader.parts().iter().map(in_force).collect();
    let setup = Setup {
        instruments: BTreeMap::from([("focimeter-1".to_owned(), reader.clone())]),
        rules: RuleSet::built_in("ansi-z80.1-2015").unwrap(),
        limits: fociline::check::Limits::default(),
        hold: None,
        job_hold: SignedDuration::from_mins(10),
        software: "0.1.0".into(),
    };
    let mut bench = Bench::new(setup, Seq(0));
    let frame = |line: &&str| Event::Frame {
        instrument: "focimeter-1".into(),
        frame: Frame { bytes: line.as_bytes().to_vec(), ended: Ended::Complete },
    };
    let mut frames = Vec::new();
    for event in [Event::Started { texts }].into_iter().chain(lines.iter().map(frame)) {
        let entries = bench.step(&event, seven(), &mut past).unwrap();
        ledger.append(&entries).unwrap();
        frames.extend(entries.into_iter().filter_map(|numbered| match numbered.entry {
            Entry::Frame(frame) => Some(frame),
            _ => None,
        }));
    }
    (place, frames)
}

#[test]
fn each_frame_names_the_layout_that_read_it_and_is_derived_again_by_it() {
    let (power, heights) = (layout("power", "cylinder", ""), layout("heights", "pd", ""));
    let both = FrameReader::any_of(vec![power.clone(), heights.clone()]).unwrap();
    let lines = ["R,-1.25,-0.50\r", "R,-1.25,31.5\r", "L,-1.25,15.5\r", "L,-1.25,x\r"];
    let (place, frames) = recorded(&both, &lines);
    let by: Vec<&TextHash> = frames.iter().map(|frame| &frame.layout).collect();
    let hash = |reader: &FrameReader| TextHash::of(&reader.text());
    assert_eq!(by, [&hash(&power), &hash(&heights), &hash(&both), &hash(&power)]);
    let said = frames[2].reject.as_ref().unwrap().to_string();
    assert!(said.contains("ambiguous: layouts power and heights both read it, differently"), "{said}");

    let again = rederive(&Reader::open(&place.path).unwrap(), None, |_, _| {}).unwrap();
    assert_eq!(again.differences, []);
    assert_eq!((again.readings, again.rejects), (2, 2));
}

#[test]
fn past_frames_that_another_layout_reads_otherwise_are_found() {
    let old = layout("ours", "cylinder", "");
    let lines = ["R,-1.25,0.50\r", "L,+2.00,0.00\r", "R,-1.25,-0.75\r", "R,-1.25,+0.75\r", "x\r"];
    let (place, _) = recorded(&old, &lines);
    let before = std::fs::read(&place.path).unwrap();
    let record = Reader::open(&place.path).unwrap();
    assert_eq!(record.layouts().unwrap()[0].name, "ours");

    let new = layout("ours", "cylinder", "convention = \"minus\"");
    let found = compare(&record, &old, &new, |_, _| {}).unwrap();
    assert_eq!((found.alike, found.unread, found.otherwise.len()), (1, 1, 3));
    let change =
        |what: &str, old: &str, new: &str| Change { what: what.into(), old: old.into(), new: new.into() };
    let first = &found.otherwise[0];
    assert_eq!(
        (first.instrument.as_str(), first.bytes.as_slice()),
        ("focimeter-1", b"R,-1.25,0.50\r".as_slice())
    );
    assert_eq!(first.changes, [change("right.cylinder", "0.50", "-0.50")]);
    assert!(found.otherwise[1].changes[0].new.contains("not read: layout ours, field cylinder, byte 8"));
    assert_eq!(found.otherwise[2].changes[0].what, "the whole frame");

    let same = compare(&record, &old, &layout("other", "cylinder", ""), |_, _| {}).unwrap();
    assert_eq!((same.alike, same.unread, same.otherwise.len()), (4, 1, 0));
    let never = compare(&record, &new, &old, |_, _| {}).unwrap();
    assert_eq!(never.alike + never.unread, 0, "the new layout has read none of these frames");
    drop(record);
    assert_eq!(std::fs::read(&place.path).unwrap(), before, "comparing changes nothing");
}
