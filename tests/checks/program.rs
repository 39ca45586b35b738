//! The real binary: checks and manual readings by command and at a running station.

use super::common::{Adapter, Station, ran, wait_for};
use std::path::{Path, PathBuf};

struct Lab {
    folder: tempfile::TempDir,
}

impl Lab {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(folder.path().join("orders")).expect("a folder");
        let lab = Self { folder };
        lab.write(
            "ref.json",
            r#"{"name":"REF+5","serial":"T-105","sphere":5.00,"uncertainty":0.01,"due":"2099-12-31"}"#,
        );
        lab.write(
            "orders.json",
            r#"[{"job":"4471","lens":"multifocal","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00}}]"#,
        );
        lab
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("written");
    }

    fn settings(&self) -> String {
        format!(
            "[station]\nname = \"bench-1\"\nledger = \"bench-1.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
             [orders]\nfolder = \"orders\"\n[checks]\nhold = true\n\
             [[instrument]]\nname = \"focimeter-1\"\nport = \"{0}/focimeter-1\"\nlayout = \"tagged\"\n",
            self.folder.path().display()
        )
    }

    fn run(&self, words: &str) -> super::common::Ran {
        let station = self.path("station.toml");
        let station = station.to_str().expect("text").to_owned();
        let words: Vec<String> = words
            .split(' ')
            .map(|word| match word {
                "STATION" => station.clone(),
                word if word.ends_with(".json") => self.path(word).to_str().expect("text").to_owned(),
                word => word.replace('_', " "),
            })
            .collect();
        ran(&words.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn ok(&self, words: &str) -> String {
        let ran = self.run(words);
        assert_eq!(ran.status, 0, "{words}\n{}{}", ran.out, ran.err);
        ran.out
    }

    fn refused(&self, words: &str, why: &str) {
        let ran = self.run(words);
        assert_eq!(ran.status, 2, "{words}\n{}{}", ran.out, ran.err);
        assert!(ran.err.contains(why), "{words}\n{}", ran.err);
    }
}

fn start(lab: &Lab) -> (Station, Adapter) {
    let adapter = Adapter::plugged(lab.path("focimeter-1"));
    let mut station = Station::start(Path::new(lab.folder.path()), &lab.settings());
    station.line(&["focimeter-1: port open"]);
    (station, adapter)
}

#[test]
fn a_morning_with_checks_and_a_second_opinion() {
    let lab = Lab::new();
    let (mut station, focimeter) = start(&lab);
    // Everything goes through the running station.
    lab.ok("order add --station STATION orders.json");
    let added = lab.ok("reference add --station STATION --by B._Lund ref.json");
    assert!(
        added.contains("reference lens REF+5 (serial T-105): +5.00, due 2099-12-31, revision 1"),
        "{added}"
    );
    lab.refused("reference add --station STATION --by B._Lund ref.json", "in the register already");

    focimeter.send("JOB=4471 EYE=R S=-1.25 C=-0.50 A=90 N=2.00\r\n");
    let line = station.line(&["4471", "INSTRUMENT NOT IN ORDER"]);
    assert!(line.contains("never checked with a reference lens") && !line.contains("PASS"), "{line}");
    focimeter.send("JOB=REF+5 S=5.08\r\n");
    station.line(&["CHECK focimeter-1 with REF+5: bad", "off by 0.08 D, limit 0.06"]);
    focimeter.send("JOB=4471 EYE=R S=-1.25 C=-0.50 A=90 N=2.00\r\n");
    station.line(&["4471", "INSTRUMENT NOT IN ORDER", "is bad"]);
    focimeter.send("JOB=REF+5 S=5.02\r\n");
    station.line(&["CHECK focimeter-1 with REF+5: good"]);
    focimeter.send("JOB=4471 EYE=R S=-1.25 C=-0.50 A=90 N=2.00\r\n");
    assert!(!station.line(&["job 4471"]).contains("NOT IN ORDER"));
    let standing = lab.ok("reference list --station STATION");
    assert!(standing.contains("focimeter-1: in order"), "{standing}");

    // By hand, through the station too: the instrument's value comes after the reading.
    // So do notes on readings.
    let found = lab.ok("ledger search --station STATION --job REF+5 --json");
    let mut bad = found.lines().filter(|line| line.contains("5.08") && line.contains(r#""kind":"reading""#));
    let bad: serde_json::Value = serde_json::from_str(bad.next_back().expect("on record")).expect("JSON");
    let bad = &bad["seq"];
    let note = lab.ok(&format!("ledger void --station STATION {bad} --reason fingerprint --by B._Lund"));
    assert!(note.contains(&format!("void: entry {bad}, job REF+5: fingerprint (B. Lund)")), "{note}");
    lab.refused(&format!("ledger void --station STATION {bad} --reason again"), "is void since entry");
    let to = format!("ledger assign --station STATION {bad} --job 4471 --reason again");
    lab.refused(&to, "is void since entry");

    lab.refused(
        "manual add --station STATION 4471 --eye right --by A._Thorne --sphere -1.25",
        "first reading of the sitting",
    );
    let read = lab.ok(
        "manual add --station STATION 4471 --eye right --by A._Thorne --eyepiece-focused --zero 0.00 --drum -1.25 -1.75 \
         --wheel 91 --near-drum 0.75 --prism none",
    );
    let (reading, check) = (read.find("read by A. Thorne"), read.find("A. Thorne and focimeter-1: agree"));
    assert!(reading.is_some() && reading < check, "{read}");
    assert!(read.contains("-1.25 -0.50 x 91 add +2.00 no prism"), "{read}");
    assert!(read.contains("prism not compared: the instrument sent none"), "{read}");

    assert!(station.stop().success(), "{}", station.log());
    // The station is down: the same commands write the ledger themselves.
    let slip = lab.ok("manual add --station STATION 4471 --eye right --by A._Thorne --sphere 0.75 --cylinder -0.50 --axis 90 --sighted");
    assert!(
        slip.contains("addition forgotten") && slip.contains("the instrument's value was known"),
        "{slip}"
    );
    let checks = lab.run("crosscheck --station STATION 4471");
    assert_eq!(checks.status, 1, "the worst is beyond tolerance: {}", checks.out);
    assert_eq!(checks.out.matches("entry ").count(), 2, "{}", checks.out);
    let practice = lab.ok("practice add --station STATION REF+5 --by A._Thorne --drum 4.87");
    assert!(
        practice.contains("practice, blind") && practice.contains("certified: +5.00\n  0.13 D apart"),
        "{practice}"
    );

    lab.ok("ledger verify --station STATION");
    let again = lab.ok("ledger rederive --station STATION");
    assert!(again.contains("2 cross-checks, 2 instrument checks"), "{again}");
    let views = rusqlite::Connection::open(lab.path("bench-1.ledger")).expect("opens");
    let rows: Vec<String> = views
        .prepare("SELECT person || '|' || instrument || '|' || outcome || '|' || agrees || '|' || distance FROM crosschecks")
        .and_then(|mut rows| rows.query_map([], |row| row.get(0))?.collect())
        .expect("reads");
    assert_eq!(rows, ["A. Thorne|focimeter-1|agree|1|0.0087", "A. Thorne|focimeter-1|different-lens|0|2"]);
    let rows: Vec<String> = views
        .prepare("SELECT lens || '|' || quantity || '|' || deviation || '|' || outcome || '|' || check_outcome FROM instrument_checks")
        .and_then(|mut rows| rows.query_map([], |row| row.get(0))?.collect())
        .expect("reads");
    assert_eq!(
        rows,
        [
            "REF+5|sphere-meridian|0.08|fail|bad",
            "REF+5|second-meridian|0.08|fail|bad",
            "REF+5|sphere-meridian|0.02|pass|good",
            "REF+5|second-meridian|0.02|pass|good"
        ]
    );
}

#[test]
fn an_instrument_that_was_never_checked_is_listed_as_such() {
    let lab = Lab::new();
    lab.write("station.toml", &lab.settings().replace("hold = true", "hold = true\nlenses = [\"REF+5\"]"));
    lab.ok("reference add --station STATION --by B._Lund ref.json");
    for json in ["", " --json"] {
        let listed = lab.run(&format!("reference list --station STATION{json}"));
        assert_eq!(listed.status, 1, "{}{}", listed.out, listed.err);
        let said = "NOT IN ORDER: focimeter-1: it was never checked with REF+5";
        assert_eq!(listed.out.contains(said), json.is_empty(), "{}", listed.out);
    }
}

#[test]
fn a_manual_reading_with_a_typo_is_voided() {
    let lab = Lab::new();
    lab.write("station.toml", &lab.settings());
    let (mut station, focimeter) = start(&lab);
    focimeter.send("JOB=4471 EYE=R S=-1.25 C=-0.50 A=90\r\n");
    station.line(&["4471", "measured"]);
    assert!(station.stop().success(), "{}", station.log());
    let begin = "manual add --station STATION 4471 --eye right --by A._Thorne --eyepiece-focused --zero 0.00";
    let typo = lab.ok(&format!("{begin} --sphere 1.25 --cylinder -0.50 --axis 90"));
    assert!(typo.contains("plus and minus mixed up"), "{typo}");
    let seq = |out: &str| out.split(' ').nth(1).expect("entry N").to_owned();
    let manual = seq(&typo);
    assert_eq!(lab.run("crosscheck --station STATION 4471").status, 1);
    lab.refused(
        &format!("ledger assign --station STATION {manual} --job 4472 --reason typo"),
        "read by hand: void it",
    );
    let void = format!("ledger void --station STATION {manual} --reason sign_forgotten --by A._Thorne");
    let note = seq(&lab.ok(&void));
    lab.refused(&void, &format!("reading {manual} is void since entry {note}"));
    let shown = lab.ok(&format!("ledger show --station STATION {manual}"));
    assert!(
        shown.contains(&format!("void: entry {manual}, job 4471: sign forgotten (A. Thorne)")),
        "{shown}"
    );
    // It is not compared any more, and what it was compared with does not count.
    let none = lab.run("crosscheck --station STATION 4471");
    assert_eq!((none.status, none.out.as_str()), (1, ""), "{}", none.err);
    assert!(
        none.err.contains(&format!("its manual reading {manual} is void since entry {note}")),
        "{}",
        none.err
    );
    lab.refused(
        "manual add --station STATION 4471 --eye right --by A._Thorne --sphere 1",
        "first reading of the sitting",
    );
    let right = lab.ok(&format!("{begin} --drum -1,25 \u{2212}1,75 --wheel 90 --prism 0,25@in"));
    assert!(right.contains("-1.25 -0.50 x 90"), "{right}");
    assert_eq!(lab.run("crosscheck --station STATION 4471").status, 0);
    lab.ok("ledger verify --station STATION");
    lab.ok("ledger rederive --station STATION");
    let views = rusqlite::Connection::open(lab.path("bench-1.ledger")).expect("opens");
    let counting = "SELECT count(*) FROM crosschecks WHERE manual_entry NOT IN \
                    (SELECT subject FROM events WHERE kind = 'note' AND what = 'void')";
    assert_eq!(views.query_row(counting, [], |row| row.get::<_, i64>(0)), Ok(1));
}

#[test]
fn what_does_not_fit_is_refused_with_what_to_do() {
    let lab = Lab::new();
    lab.write("station.toml", &lab.settings());
    lab.ok("order add --station STATION orders.json");
    lab.write("job.json", r#"{"name":"4471","serial":"T-105","sphere":5.00,"due":"2099-12-31"}"#);
    lab.refused("reference add --station STATION --by B._Lund job.json", "is the number of a job");
    lab.write("typo.json", r#"{"name":"REF","serial":"T-105","spere":5.00,"due":"2099-12-31"}"#);
    lab.refused("reference add --station STATION --by B._Lund typo.json", "unknown field `spere`");
    for (file, due, sphere, why) in [
        (
            "day.json",
            "25.11.2026",
            "5.00",
            "line 1, column 64: due: \"25.11.2026\": a date such as 2026-11-25 is expected",
        ),
        ("word.json", "2099-12-31", "\"five\"", ": sphere: a decimal number such as -1.25 is expected"),
        ("far.json", "2099-12-31", "1e400", ": sphere: a decimal number such as -1.25 is expected"),
    ] {
        lab.write(file, &format!(r#"{{"name":"REF","serial":"T-105","sphere":{sphere},"due":"{due}"}}"#));
        lab.refused(&format!("reference add --station STATION --by B._Lund {file}"), why);
    }
    // What is typed as a number reaches the parser for numbers, whatever it begins with.
    let read = "manual add --station STATION 4471 --eye right --by A._Thorne";
    for (typed, why) in [
        ("--sphere -1.2.5", "'\u{2212}1.2.5' for '--sphere <D>': expected dioptres, such as -1.25"),
        ("--sphere 1 --axis -x", "unexpected argument"),
        ("--sphere 1 --cylinder -1 --axis -9o", "expected degrees, from 0 to 180"),
        ("--eyepiece-focused --zero 0 --sphere 1 --prism -2@in", "a prism below 0"),
        ("--drum 1.5 -.5", "a cylinder without an axis"),
        ("--sphere -1,25 --cylinder \u{2212}0,50", "a cylinder without an axis"),
    ] {
        lab.refused(&format!("{read} {typed}"), why);
    }
    let report = "report gauge --station STATION --tolerance -0.25";
    lab.refused(report, "expected the upper limit less the lower one");
    lab.refused("manual add --station STATION 4471 --by A._Thorne --sphere 1", "for which eye");
    lab.refused(
        "manual add --station STATION 4471 --eye right --by A._Thorne --drum 1.00 0.50",
        "without an axis",
    );
    lab.refused("manual add --station STATION 4471 --eye right --by A._Thorne --prism 2@sideways", "2.5@up");
    lab.refused("reference check --station STATION 1 --lens REF --by B._Lund", "not a reading");
    // What nobody reads, and names that nobody has.
    let read = "manual add --station STATION 4471 --eye right --eyepiece-focused";
    lab.refused(&format!("{read} --by A._Thorne --zero 0 --sphere 999"), "999 is out of range; -40 to 40 D");
    let zero = "zero: 3.00 is out of range; -1 to 1 D is expected";
    lab.refused(&format!("{read} --by A._Thorne --zero 3.00 --sphere 1"), zero);
    let long = "n".repeat(10_000);
    for (by, sitting, focimeter) in [(&*long, "s", "f"), ("A", &*long, "f"), ("A", "s", &*long)] {
        let named = format!("--by {by} --sitting {sitting} --focimeter {focimeter}");
        lab.refused(&format!("{read} --zero 0 --sphere 1 {named}"), "10000 characters; at most 64");
    }
    lab.refused(&format!("ledger void --station STATION 1 --reason {long}"), "at most 500");
    lab.write(
        "strong.json",
        r#"{"name":"REF","serial":"T-105","sphere":500,"uncertainty":3,"due":"2099-12-31"}"#,
    );
    lab.refused(
        "reference add --station STATION --by B._Lund strong.json",
        "500 is out of range; -40 to 40 D",
    );
    let none = lab.run("crosscheck --station STATION 4471");
    assert_eq!(none.status, 1, "{}", none.err);
    let lines = wait_for("the ledger", || {
        let file = rusqlite::Connection::open(lab.path("bench-1.ledger")).ok()?;
        file.query_row("SELECT count(*) FROM entries", [], |row| row.get::<_, i64>(0)).ok()
    });
    assert_eq!(lines, 1, "nothing but the order was recorded");
}
