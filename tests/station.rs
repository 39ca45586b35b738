//! A whole station: the real binary on real pseudo-terminals, its ledger read with plain SQLite.

mod common;

use common::{Adapter, Station, fociline, ran, wait_for};
use rusqlite::Connection;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const ORDERS: &str = r#"
{"job":"4471","lens":"single-vision","mounted":true,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90},"left":{"sphere":-1.00}}
{"job":"4472","lens":"single-vision","mounted":false,"right":{"sphere":2.25,"cylinder":-1.75,"axis":178}}
"#;

fn settings(folder: &Path, more: &str) -> String {
    format!(
        "[station]\nname = \"bench-1\"\nledger = \"bench-1.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
         [orders]\nfolder = \"orders\"\n\
         [[instrument]]\nname = \"focimeter-1\"\nport = \"{0}/focimeter-1\"\nlayout = \"tagged\"\n\
         [[instrument]]\nname = \"focimeter-2\"\nport = \"{0}/focimeter-2\"\nlayout = \"tagged\"\n\
         [[scanner]]\nname = \"scanner-1\"\nport = \"{0}/scanner-1\"\n{more}",
        folder.display()
    )
}

struct Lab {
    folder: TempDir,
    one: Adapter,
    two: Adapter,
    scanner: Adapter,
}

impl Lab {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let adapter = |name: &str| Adapter::plugged(folder.path().join(name));
        std::fs::create_dir(folder.path().join("orders")).expect("a folder");
        std::fs::write(folder.path().join("orders/morning.jsonl"), ORDERS).expect("written");
        Self {
            one: adapter("focimeter-1"),
            two: adapter("focimeter-2"),
            scanner: adapter("scanner-1"),
            folder,
        }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn ledger(&self) -> PathBuf {
        self.path().join("bench-1.ledger")
    }

    /// A station with its ports open and its orders taken in.
    fn station(&self) -> Station {
        let mut station = Station::start(self.path(), &settings(self.path(), ""));
        let mut left =
            vec!["focimeter-1: port open", "focimeter-2: port open", "scanner-1: port open", "4472"];
        while !left.is_empty() {
            let line = station.line(&[]);
            left.retain(|words| !line.contains(words));
        }
        station
    }

    fn rows(&self, sql: &str) -> Vec<String> {
        let ledger = Connection::open(self.ledger()).expect("opens");
        let mut statement = ledger.prepare(sql).expect("sound SQL");
        let columns = statement.column_count();
        let rows = statement.query_map([], |row| {
            let values: Result<Vec<String>, _> = (0..columns)
                .map(|column| {
                    row.get_ref(column).map(|value| match value {
                        rusqlite::types::ValueRef::Null => String::new(),
                        rusqlite::types::ValueRef::Integer(number) => number.to_string(),
                        rusqlite::types::ValueRef::Real(number) => number.to_string(),
                        other => String::from_utf8_lossy(other.as_bytes().expect("text")).into_owned(),
                    })
                })
                .collect();
            Ok(values?.join("|"))
        });
        rows.expect("runs").collect::<Result<_, _>>().expect("reads")
    }

    fn ledger_agrees(&self) {
        let ledger = self.ledger();
        for command in ["verify", "rederive"] {
            let ran = ran(&["ledger", command, "--ledger", ledger.to_str().expect("text")]);
            assert_eq!(ran.status, 0, "{command}: {}{}", ran.out, ran.err);
        }
    }
}

#[test]
fn frames_from_two_ports_become_verdicts_on_record() {
    let lab = Lab::new();
    let mut station = lab.station();
    lab.scanner.send("4471\r");
    station.line(&["4471", "chosen", "scanner-1"]);
    lab.one.send("EYE=R S=-1.25 C=-0.50 A=92\r\n");
    station.line(&["4471", "INCOMPLETE", "left"]);
    lab.two.send("EYE=L S=-1.10 C=+0.00\r\n");
    station.line(&["4471", "PASS"]);
    lab.scanner.send("4472\r\n");
    station.line(&["4472", "chosen"]);
    lab.two.send("EYE=R S=+2.25 C=-1.75 A=2\r\n");
    station.line(&["4472", "FAIL", "right axis 2 for 178: off by 4 °, limit 2"]);
    assert!(station.stop().success(), "{}", station.log());

    // Limits: ANSI Z80.1-2015 as its public quick-reference guide gives them.
    assert_eq!(
        lab.rows(
            "SELECT eye, quantity, ordered, measured, deviation, outcome FROM verdict_items
             WHERE seq = (SELECT max(seq) FROM verdicts WHERE job = '4471') AND quantity IN ('sphere-meridian', 'axis')"
        ),
        [
            "right|sphere-meridian|-1.25|-1.25|0|pass",
            "right|axis|90|92|2|pass",
            "left|sphere-meridian|-1|-1.1|-0.1|pass"
        ]
    );
    assert_eq!(
        lab.rows("SELECT job, outcome FROM verdicts ORDER BY seq"),
        ["4471|incomplete", "4471|pass", "4472|fail"]
    );
    lab.ledger_agrees();
}

#[test]
fn every_byte_is_on_record_and_nonsense_is_a_rejected_frame() {
    let lab = Lab::new();
    let mut station = lab.station();
    let sent: Vec<u8> = (0..=255u8).chain(*b"EYE=R S=-1.2").chain((0..=255).rev()).collect();
    for piece in sent.chunks(7) {
        lab.one.send(piece);
    }
    lab.one.send("\r\nJOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\n");
    station.line(&["4472", "PASS"]);
    lab.one.send("EYE=R S=-1.2x C=-0.50\r\n");
    station.line(&["field sphere, byte 12"]);
    station.line(&["EYE=R S=-1.2x C=-0.50\u{b7}\u{b7}"]);
    station.line(&["::::^ ::!!!!X!!!!!!!!!!"]);
    lab.one.send("EYE=L S=");
    assert!(station.stop().success());
    let frames = lab.rows("SELECT bytes FROM frames WHERE instrument = 'focimeter-1' ORDER BY seq");
    let recorded: Vec<u8> = frames
        .iter()
        .flat_map(|frame| fociline::parsers::notation::from_text(frame).expect("the ledger's notation"))
        .collect();
    let mut all = sent;
    all.extend(b"\r\nJOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\nEYE=R S=-1.2x C=-0.50\r\nEYE=L S=");
    assert_eq!(recorded, all);
    let rejected = lab.rows("SELECT count(*) FROM frames WHERE reject IS NOT NULL");
    assert_ne!(rejected, ["0"]);
    lab.ledger_agrees();
}

#[test]
fn what_arrived_before_the_stop_is_on_record() {
    let lab = Lab::new();
    let mut station = lab.station();
    for n in 0..200 {
        lab.one.send(format!("JOB={n} EYE=R S=-1.25\r\n"));
    }
    assert!(station.stop().success());
    assert_eq!(lab.rows("SELECT count(*) FROM readings"), ["200"]);
    assert_eq!(
        lab.rows("SELECT kind FROM entries ORDER BY seq DESC LIMIT 1"),
        ["software"],
        "the stop is the last entry"
    );
}

#[test]
fn a_port_that_vanishes_is_said_and_comes_back() {
    let mut lab = Lab::new();
    let mut station = lab.station();
    lab.one.unplug();
    station.line(&["focimeter-1", "PORT LOST"]);
    lab.two.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\n");
    station.line(&["4472", "PASS"]);
    lab.one.plug();
    station.line(&["focimeter-1: port open"]);
    lab.one.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=170\r\n");
    station.line(&["4472", "FAIL"]);
    assert!(station.stop().success());
    lab.ledger_agrees();
}

#[test]
fn a_restart_goes_on_with_the_job_where_it_was() {
    let lab = Lab::new();
    let mut station = lab.station();
    lab.one.send("JOB=4471 EYE=R S=-1.25 C=-0.50 A=92\r\n");
    station.line(&["4471", "INCOMPLETE"]);
    // As by a power cut: nothing is told to the program.
    station.signal("KILL");
    station.ended();
    let mut station = lab.station_again();
    lab.one.send("JOB=4471 EYE=L S=-1.00 C=0.00\r\n");
    station.line(&["4471", "PASS"]);
    assert!(station.stop().success());
    lab.ledger_agrees();
}

impl Lab {
    fn station_again(&self) -> Station {
        let mut station = Station::start(self.path(), &settings(self.path(), ""));
        station.line(&["focimeter-1: port open"]);
        station
    }
}

#[test]
fn a_port_in_use_does_not_stop_the_others() {
    let lab = Lab::new();
    let mut first = lab.station();
    let folder = tempfile::tempdir().expect("a folder");
    let other = Adapter::plugged(folder.path().join("other"));
    let text = format!(
        "[station]\nname = \"b\"\nledger = \"b.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
         [[instrument]]\nname = \"taken\"\nport = \"{}/focimeter-1\"\nlayout = \"tagged\"\n\
         [[instrument]]\nname = \"free\"\nport = \"{}\"\nlayout = \"tagged\"\n",
        lab.path().display(),
        other.path.display()
    );
    let mut second = Station::start(folder.path(), &text);
    second.line(&["taken: no port: another program has this port open"]);
    other.send("EYE=R S=-1.25\r\n");
    second.line(&["belongs to no job"]);
    assert!(second.stop().success());
    assert!(first.stop().success());
}

#[test]
fn a_second_station_on_the_same_ledger_is_refused() {
    let lab = Lab::new();
    let _station = lab.station();
    let path = lab.path().join("station.toml");
    let second = ran(&["run", "--station", path.to_str().expect("text")]);
    assert_eq!(second.status, 3);
    assert!(second.err.contains("is being written by another fociline (process "), "{}", second.err);
}

#[test]
fn orders_are_taken_in_once_and_bad_rows_are_said() {
    let lab = Lab::new();
    let mut station = lab.station();
    let orders = lab.path().join("orders");
    wait_for("the first file's place", || orders.join("done/morning.jsonl").exists().then_some(()));
    std::fs::write(
        orders.join("noon.csv"),
        "job,lens,mounted,right_sphere,right_cylinder,right_axis,patient_name\n\
         5001,single-vision,yes,-2.25 D,-0.75,180,Somebody\n\
         5002,single-vision,yes,-2.25,-0.75,,Somebody\n",
    )
    .expect("written");
    station.line(&["5001", "order, revision 1"]);
    let reason = orders.join("refused/noon.csv.reason.txt");
    let reason =
        wait_for("the reason", || std::fs::read_to_string(&reason).ok().filter(|text| !text.is_empty()));
    assert!(reason.contains("line 3") && reason.contains("right_axis"), "{reason}");
    assert!(reason.contains("1 orders of this file were taken in"), "{reason}");
    // The same order again is no revision; another is.
    let order = |axis: u32| {
        format!(
            r#"{{"job":"5001","lens":"single-vision","mounted":true,"right":{{"sphere":-2.25,"cylinder":-0.75,"axis":{axis}}}}}"#
        )
    };
    std::fs::write(orders.join("again.json"), order(180)).expect("written");
    wait_for("the same order", || orders.join("done/again.json").exists().then_some(()));
    let file = lab.path().join("changed.json");
    std::fs::write(&file, order(175)).expect("written");
    let station_toml = lab.path().join("station.toml");
    let added = ran(&[
        "order",
        "add",
        "--station",
        station_toml.to_str().expect("text"),
        file.to_str().expect("text"),
    ]);
    assert_eq!((added.status, added.err.as_str()), (0, ""), "handed to the running station");
    station.line(&["5001", "order, revision 2"]);
    assert!(station.stop().success());
    assert!(!lab.rows("SELECT group_concat(payload) FROM entries")[0].contains("Somebody"));
    assert_eq!(
        lab.rows("SELECT dropped FROM orders WHERE job = '5001' AND revision = 1"),
        [r#"["patient_name"]"#]
    );
}

#[test]
fn a_ledger_that_cannot_be_written_shows_no_verdict() {
    let lab = Lab::new();
    std::fs::write(lab.path().join("station.toml"), settings(lab.path(), "")).expect("written");
    // No file of the program may grow beyond 256 blocks of 1024 bytes: to SQLite, a full disk.
    let mut command = std::process::Command::new("bash");
    command.args(["-c", "trap '' XFSZ; ulimit -f 256; exec \"$0\" run --station \"$1\""]);
    command.arg(env!("CARGO_BIN_EXE_fociline")).arg(lab.path().join("station.toml"));
    let mut station = Station::with(lab.path(), command);
    station.line(&["scanner-1: port open"]);
    // The station reads no more once nothing can be recorded, so this sending never ends.
    let instrument = lab.one.pty.as_ref().expect("plugged in").end().try_clone().expect("a second handle");
    std::thread::spawn(move || {
        let mut instrument = instrument;
        for n in 0..100_000 {
            let line = format!("JOB=4472 EYE=R S=+2.25 C=-1.75 A={} LOT={n:040}\r\n", n % 180);
            if std::io::Write::write_all(&mut instrument, line.as_bytes()).is_err() {
                return;
            }
        }
    });
    wait_for("the alarm", || station.log().contains("NOT RECORDING").then_some(()));
    let status = station.stop();
    assert_eq!(status.code(), Some(3), "{}", station.log());
    let shown =
        station.seen.iter().filter(|line| line.contains("job 4472") && !line.contains("order")).count();
    let recorded: usize = lab.rows("SELECT count(*) FROM verdicts")[0].parse().expect("a number");
    assert_eq!(shown, recorded, "every verdict shown is on record, and none else");
}

#[test]
fn a_second_signal_ends_at_once() {
    let lab = Lab::new();
    let mut station = lab.station();
    station.signal("STOP");
    station.signal("INT");
    station.signal("TERM");
    station.signal("CONT");
    let status = station.ended();
    assert!(status.code() == Some(0) || status.code() == Some(143) || status.code() == Some(130), "{status}");
}

#[test]
fn a_ledger_of_a_newer_version_is_refused_and_untouched() {
    let lab = Lab::new();
    let mut station = lab.station();
    assert!(station.stop().success());
    let ledger = Connection::open(lab.ledger()).expect("opens");
    ledger.pragma_update(None, "user_version", 99).expect("updates");
    ledger.close().expect("closes");
    let before = std::fs::read(lab.ledger()).expect("reads");
    let path = lab.path().join("station.toml");
    let again = fociline(&["run", "--station", path.to_str().expect("text")]).output().expect("runs");
    assert_eq!(again.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&again.stderr).contains("format 99"));
    assert_eq!(std::fs::read(lab.ledger()).expect("reads"), before);
}
