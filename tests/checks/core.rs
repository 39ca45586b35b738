//! What the core makes of checks and manual readings, proved again from the record.

use fociline::bench::entry::*;
use fociline::bench::event::Event;
use fociline::bench::{Bench, Setup};
use fociline::check::Limits;
use fociline::judge::RuleSet;
use fociline::judge::verdict::{Hold, Outcome, Verdict};
use fociline::ledger::{Ledger, Reader, Rederived, rederive};
use fociline::parsers::frame::{Ended, Frame};
use fociline::parsers::reader::Reader as FrameReader;
use fociline::parsers::reading::Eye;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;

struct Station {
    _folder: tempfile::TempDir,
    path: std::path::PathBuf,
    ledger: Ledger,
    past: Reader,
    bench: Bench,
    now: Timestamp,
}

fn setup(hold: Option<Hold>) -> Setup {
    let tagged = || FrameReader::named("tagged").expect("built in");
    Setup {
        instruments: BTreeMap::from([("one".to_owned(), tagged()), ("two".to_owned(), tagged())]),
        rules: RuleSet::built_in("ansi-z80.1-2015").expect("built in"),
        limits: Limits::default(),
        hold,
        job_hold: SignedDuration::from_mins(10),
        software: "test".to_owned(),
    }
}

fn hold(lenses: &[&str]) -> Option<Hold> {
    let lenses = lenses.iter().map(|lens| lens.parse().expect("a name")).collect();
    Some(Hold { every_hours: 24, lenses })
}

const ORDER: &str = r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;

impl Station {
    fn new(hold: Option<Hold>) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("bench.ledger");
        let ledger = Ledger::open(&path).expect("a new ledger");
        let past = Reader::open(&path).expect("just made");
        let now = "2026-03-02T07:00:00Z".parse().expect("a time");
        let mut station =
            Self { _folder: folder, path, ledger, past, bench: Bench::new(setup(hold), Seq(0)), now };
        let text = |what, name: &str, text: &str| InForceEntry {
            what,
            name: name.to_owned(),
            hash: TextHash::of(text),
            text: text.to_owned(),
        };
        let (layout, rules) = (FrameReader::named("tagged").expect("built in"), setup(None).rules);
        let texts = vec![
            text(InForce::Rules, rules.name(), rules.text()),
            text(InForce::Layout, layout.name(), &layout.text()),
        ];
        station.on(Event::Started { texts });
        station.lens("REF+5", "5.00");
        station.lens("REF-10", "-10.00");
        let order = Box::new(serde_json::from_str(ORDER).expect("an order"));
        station.on(Event::Ordered { order, source: "test".to_owned(), by: None, dropped: Vec::new() });
        station
    }

    fn on(&mut self, event: Event) -> Vec<Numbered> {
        let entries = self.bench.step(&event, self.now, &mut self.past).expect("the record is read");
        self.ledger.append(&entries).expect("written");
        self.bench.committed(self.ledger.head().seq);
        entries
    }

    fn restarted(mut self, hold: Option<Hold>) -> Self {
        self.bench = Bench::new(setup(hold), self.ledger.head().seq);
        self
    }

    fn lens(&mut self, name: &str, sphere: &str) {
        let lens = format!(r#"{{"name":"{name}","serial":"T-1","sphere":{sphere},"due":"2026-12-31"}}"#);
        let lens = Box::new(serde_json::from_str(&lens).expect("a lens"));
        self.on(Event::ReferenceLens { lens, by: "B. Lund".to_owned() });
    }

    fn frame(&mut self, instrument: &str, line: &str) -> Vec<Numbered> {
        let frame = Frame { bytes: format!("{line}\r\n").into_bytes(), ended: Ended::Complete };
        self.on(Event::Frame { instrument: instrument.to_owned(), frame })
    }

    fn check(&mut self, instrument: &str, lens: &str, sphere: &str) -> Vec<Numbered> {
        self.frame(instrument, &format!("JOB={lens} EYE=R S={sphere}"))
    }

    fn verdict(&mut self, instrument: &str) -> Verdict {
        let entries = self.frame(instrument, "JOB=4471 EYE=R S=-1.25 C=-0.50 A=91");
        entries
            .into_iter()
            .find_map(|n| if let Entry::Verdict(v) = n.entry { Some(*v) } else { None })
            .expect("judged")
    }

    fn manual(&mut self, purpose: Purpose, read: &str) -> Vec<Numbered> {
        let read: fociline::check::AsRead = serde_json::from_str(read).expect("a reading");
        self.on(Event::Manual(Box::new(ManualEntry {
            by: "A. Thorne".to_owned(),
            focimeter: "manual".to_owned(),
            sitting: "morning".to_owned(),
            start: None,
            purpose,
            job: "4471".parse().expect("a job"),
            eye: Some(Eye::Right),
            blind: true,
            lens: read.lens().expect("a lens"),
            read,
        })))
    }

    fn again(&self) -> Rederived {
        let found = rederive(&self.past, None, |_, _| {}).expect("the record is read");
        assert_eq!(found.differences, []);
        found
    }
}

fn held(verdict: &Verdict) -> &str {
    verdict.held.as_deref().unwrap_or("")
}

fn kinds(entries: &[Numbered]) -> Vec<&'static str> {
    entries.iter().map(|numbered| numbered.entry.kind()).collect()
}

#[test]
fn a_scanned_reference_lens_makes_its_reading_a_check_and_never_a_job() {
    let mut station = Station::new(None);
    station.on(Event::Scanned { scanner: "scanner".to_owned(), line: b"REF+5".to_vec() });
    let entries = station.frame("one", "OP=Thorne S=5.04");
    assert_eq!(kinds(&entries), ["in-force", "frame", "reading", "instrument-check"]);
    let Entry::InstrumentCheck(check) = &entries[3].entry else { panic!("{entries:?}") };
    assert_eq!((check.outcome.to_string().as_str(), check.reading), ("good", entries[2].seq));
    // The limits are put on record once.
    assert_eq!(kinds(&station.frame("one", "S=5.10")), ["frame", "reading", "instrument-check"]);
    assert_eq!(station.again().checks, 2);
}

#[test]
fn verdicts_are_held_until_every_instrument_is_checked_and_in_date() {
    let mut station = Station::new(hold(&[]));
    let first = station.verdict("one");
    assert_eq!(held(&first), "one: it was never checked with a reference lens");
    assert_eq!(first.outcome, Outcome::Pass, "what the numbers say is kept beside");
    let good = station.check("one", "REF+5", "5.06").last().expect("a check").seq;
    let verdict = station.verdict("one");
    assert_eq!(held(&verdict), "");
    assert_eq!(verdict.basis.expect("its basis").checks, [good.0]);
    // Another instrument is not in order for that.
    assert!(held(&station.verdict("two")).starts_with("two: it was never checked"));
    // A bad check holds at once; a good one of another lens does not make it good again.
    station.check("one", "REF-10", "-10.12");
    station.check("one", "REF+5", "5.00");
    assert!(held(&station.verdict("one")).contains("with REF-10 is bad"));
    station.check("one", "REF-10", "-10.09");
    assert_eq!(held(&station.verdict("one")), "");
    // In date to the hour, and not a second longer.
    station.now += SignedDuration::from_hours(24);
    assert_eq!(held(&station.verdict("one")), "");
    station.now += SignedDuration::from_secs(1);
    assert!(
        held(&station.verdict("one")).contains("older than 24 hours"),
        "{}",
        held(&station.verdict("one"))
    );
    // The state outlives a restart, and every verdict is proved again with the checks of its time.
    let mut station = station.restarted(hold(&[]));
    assert!(held(&station.verdict("one")).contains("older than 24 hours"));
    assert_eq!(station.again().verdicts, 8);
}

#[test]
fn named_lenses_are_all_needed() {
    let mut station = Station::new(hold(&["REF+5", "REF-10"]));
    station.check("one", "REF+5", "5.00");
    assert!(held(&station.verdict("one")).contains("never checked with REF-10"));
    station.check("one", "REF-10", "-10.00");
    assert_eq!(held(&station.verdict("one")), "");
    station.now = "2027-01-01T07:00:00Z".parse().expect("a time");
    station.check("one", "REF+5", "5.00");
    assert!(held(&station.verdict("one")).contains("with REF+5 is lens overdue"));
}

#[test]
fn a_manual_reading_is_compared_at_once_or_when_the_instrument_has_measured() {
    let mut station = Station::new(None);
    let alone = station
        .manual(Purpose::Production, r#"{"drums":{"sphere_lines":-1.25,"cylinder_lines":-1.75,"wheel":88}}"#);
    assert_eq!(kinds(&alone), ["in-force", "manual"]);
    station.verdict("one");
    let late = station.on(Event::CrossCheck { manual: alone[1].seq });
    let Entry::CrossCheck(check) = &late[0].entry else { panic!("{late:?}") };
    assert_eq!((check.instrument.as_str(), check.manual), ("one", alone[1].seq));
    // By hand: a cylinder of 0.50 turned by 3 degrees leaves 0.50 sin 3 = 0.0262 D.
    let apart = check.difference;
    assert_eq!(
        (apart.axis.map(|a| a.to_string()), apart.distance.map(|d| d.to_string())),
        (Some("-3".into()), Some("0.0262".into()))
    );
    let now = station.manual(Purpose::Production, r#"{"sphere":1.25,"cylinder":-0.50,"axis":90}"#);
    assert_eq!(kinds(&now), ["manual", "cross-check"]);
    assert_eq!(kinds(&station.manual(Purpose::Practice, r#"{"sphere":1.25}"#)), ["manual"]);
    assert_eq!(station.again().cross_checks, 2);
}

#[test]
fn a_reading_already_on_record_can_be_said_to_be_a_check() {
    let mut station = Station::new(None);
    let reading = station.frame("one", "EYE=R S=5.07")[1].seq;
    let lens = "REF+5".parse().expect("a name");
    let said = station.on(Event::Checked { reading, lens, by: "B. Lund".to_owned() });
    let Entry::InstrumentCheck(check) = &said[1].entry else { panic!("{said:?}") };
    assert_eq!((check.outcome.to_string().as_str(), check.by.as_str()), ("bad", "B. Lund"));
    assert_eq!(station.again().checks, 1);
}

impl Station {
    fn noted(
        &mut self,
        about: Seq,
        says: Says,
        job: Option<&str>,
        job_before: Option<&str>,
    ) -> Vec<Numbered> {
        let name = |job: Option<&str>| job.map(|job| job.parse().expect("a name"));
        self.on(Event::Noted(NoteEntry {
            about,
            says,
            reason: "slipped".to_owned(),
            by: "B. Lund".to_owned(),
            job: name(job),
            eye: None,
            job_before: name(job_before),
        }))
    }

    fn drifts(&self) -> Vec<String> {
        let report = fociline::report::report(&self.past, fociline::report::Kind::Drift, &Default::default());
        let sections = report.expect("the record is read").sections;
        sections.into_iter().flat_map(|section| section.figures).map(|figure| figure.name).collect()
    }
}

#[test]
fn a_check_whose_reading_does_not_count_is_taken_back() {
    let mut station = Station::new(hold(&[]));
    let reading =
        |entries: &[Numbered]| entries.iter().find(|n| n.entry.kind() == "reading").expect("read").seq;
    let good = reading(&station.check("one", "REF+5", "5.00"));
    assert_eq!(held(&station.verdict("one")), "");
    // A good check that is void holds back what it let through.
    station.noted(good, Says::Void, Some("REF+5"), None);
    assert!(held(&station.verdict("one")).contains("never checked"));
    // A bad one that is void does not bring the one before it back: only a new one does.
    station.check("one", "REF+5", "5.01");
    let bad = reading(&station.check("one", "REF+5", "5.50"));
    assert!(held(&station.verdict("one")).contains("is bad"));
    station.noted(bad, Says::Remark, Some("REF+5"), None);
    assert!(held(&station.verdict("one")).contains("is bad"), "a remark changes nothing");
    station.noted(bad, Says::Void, Some("REF+5"), None);
    let verdict = station.verdict("one");
    assert!(held(&verdict).contains("is void: it has to be made again"), "{}", held(&verdict));
    assert_eq!(verdict.basis.expect("its basis").checks, [0; 0], "what is void is no check in force");
    let mut station = station.restarted(hold(&[]));
    assert!(held(&station.verdict("one")).contains("made again"));
    let kept = station.check("one", "REF+5", "5.01").last().expect("a check").seq;
    let verdict = station.verdict("one");
    assert_eq!(held(&verdict), "");
    assert_eq!(verdict.basis.expect("its basis").checks, [kept.0]);
    // Assigned to a job: the lens was not the reference after all.
    let other = reading(&station.check("one", "REF-10", "-1.25"));
    assert!(held(&station.verdict("one")).contains("with REF-10 is bad"));
    station.noted(other, Says::Assign, Some("4471"), Some("REF-10"));
    assert_eq!(held(&station.verdict("one")), "");
    // The same after a restart, and each verdict is proved with what counted at its time.
    let mut station = station.restarted(hold(&[]));
    assert_eq!(held(&station.verdict("one")), "");
    assert!(station.again().verdicts > 6);
}

#[test]
fn a_manual_reading_that_is_void_leaves_the_verdict_alone() {
    let mut station = Station::new(None);
    station.verdict("one");
    let typo = station.manual(Purpose::Production, r#"{"sphere":11.25,"cylinder":-0.50,"axis":90}"#);
    let manual = typo.iter().find(|n| n.entry.kind() == "manual").expect("recorded").seq;
    assert!(kinds(&typo).contains(&"cross-check"));
    assert!(!station.past.is_first_of_sitting("A. Thorne", "morning").expect("read"));
    // No verdict rests on it, so none is given anew: an override of the last one would not stand then.
    assert_eq!(kinds(&station.noted(manual, Says::Void, Some("4471"), None)), ["note"]);
    let note = station.ledger.head().seq;
    assert_eq!(station.past.voided_by(manual).expect("read"), Some(note));
    assert!(
        station.past.is_first_of_sitting("A. Thorne", "morning").expect("read"),
        "what is void begins no sitting"
    );
    let check = typo.last().expect("a check").seq;
    let later = station.past.what_refers_to(check).expect("read");
    assert_eq!(later.iter().map(|n| n.seq).collect::<Vec<_>>(), [note], "its cross-check says so");
    assert_eq!(station.again().cross_checks, 1);
}

#[test]
fn charts_do_not_count_a_check_that_was_taken_back() {
    let mut station = Station::new(None);
    for day in 0..20 {
        station.check("one", "REF+5", ["5.00", "5.01", "5.00", "4.99"][day % 4]);
    }
    let far = station.check("one", "REF+5", "5.04");
    assert!(kinds(&far).contains(&"drift"), "{far:?}");
    assert!(station.drifts().iter().any(|name| name.contains("individuals:")));
    station.noted(far[1].seq, Says::Void, Some("REF+5"), None);
    assert!(!station.drifts().iter().any(|name| name.contains("individuals:")), "{:?}", station.drifts());
    // What comes next is charted as if it had never been; so it is when the record is read again.
    assert!(!kinds(&station.check("one", "REF+5", "5.00")).contains(&"drift"));
    let mut station = station.restarted(None);
    assert!(kinds(&station.check("one", "REF+5", "5.04")).contains(&"drift"), "it begins again");
    station.again();
}

#[test]
fn drift_is_told_once_when_it_begins() {
    let mut station = Station::new(None);
    let daily = ["5.00", "5.01", "5.00", "4.99"];
    for day in 0..20 {
        let entries = station.check("one", "REF+5", daily[day % 4]);
        assert!(!kinds(&entries).contains(&"drift"), "the first twenty make the baseline");
    }
    let mut told = Vec::new();
    for _ in 0..12 {
        told.push(station.check("one", "REF+5", "5.03").iter().filter(|n| n.entry.kind() == "drift").count());
    }
    assert!(told[0] > 0, "one point beyond 3 sigma: {told:?}");
    assert!(told[10..].iter().all(|count| *count == 0), "what goes on is not told again: {told:?}");
    let found = station.again();
    assert_eq!(found.drifts, told.iter().sum::<usize>() as u64);
    // Checks of another lens, or in turn with it, are charts of their own.
    assert!(!kinds(&station.check("one", "REF-10", "-10.05")).contains(&"drift"));
}

/// Centre and sigma are fractions that no short decimal is equal to.
#[test]
fn figures_of_a_chart_come_back_from_the_record_to_the_last_bit() {
    let mut station = Station::new(None);
    let hundredths = [2, 0, 0, 1, 2, -1, 1, 2, 2, 0, 3, 5, 2, 1, 4, 5, 5, 5, 6, 5, 6, 6, 6, 6];
    let told = hundredths.map(|off| {
        let read = format!("{}.{:02}", (500 + off) / 100, (500 + off) % 100);
        station.check("one", "REF+5", &read).iter().filter(|n| n.entry.kind() == "drift").count()
    });
    let found = station.again();
    assert!(found.drifts > 0, "{told:?}");
    assert_eq!(found.drifts, told.iter().sum::<usize>() as u64);
}

#[test]
fn a_check_that_was_altered_is_found() {
    let mut station = Station::new(hold(&[]));
    station.check("one", "REF+5", "5.20");
    station.verdict("one");
    station.manual(Purpose::Production, r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90}"#);
    station.again();
    let forge = |from: &str, to: &str| {
        let forged = station.path.with_extension("forged");
        std::fs::remove_file(&forged).ok();
        station.past.backup(&forged, |_, _| {}).expect("copied");
        let file = rusqlite::Connection::open(&forged).expect("opens");
        file.execute_batch("DROP TRIGGER entries_are_not_changed").expect("dropped");
        let changed = file
            .execute(
                "UPDATE entries SET payload = replace(payload, ?1, ?2) WHERE instr(payload, ?1)",
                [from, to],
            )
            .expect("forged");
        assert_eq!(changed, 1, "{from}");
        drop(file);
        let found = rederive(&Reader::open(&forged).expect("opens"), None, |_, _| {}).expect("read");
        found.differences.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
    };
    assert!(forge(r#""outcome":"bad""#, r#""outcome":"good""#).contains("it comes out otherwise now"));
    assert!(
        forge(r#""outcome":"agree""#, r#""outcome":"beyond-tolerance""#)
            .contains("it comes out otherwise now")
    );
    assert!(
        forge(r#""held":"one: the check"#, r#""held":"two: the check"#)
            .contains("the verdict is another one now")
    );
    assert!(
        forge(r#""lens":{"sphere":-1.25"#, r#""lens":{"sphere":-1.50"#)
            .contains("what was read means another lens")
    );
}
