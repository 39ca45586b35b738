//! A station watched from another process: the real binary twice, the ledger between them.

mod common;

use common::{Adapter, Station, fociline, ran, wait_for};
use fociline::station::pty::Pty;
use rusqlite::Connection;
use rustix::termios::{Winsize, tcsetwinsize};
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use tempfile::TempDir;

const ORDERS: &str = r#"
{"job":"4471","lens":"single-vision","mounted":true,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90},"left":{"sphere":-1.00}}
{"job":"4472","lens":"single-vision","mounted":false,"right":{"sphere":2.25,"cylinder":-1.75,"axis":178}}
"#;

struct Lab {
    one: Adapter,
    two: Adapter,
    scanner: Adapter,
    folder: TempDir,
}

impl Lab {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let adapter = |name: &str| Adapter::plugged(folder.path().join(name));
        for inside in ["orders", "watcher"] {
            std::fs::create_dir(folder.path().join(inside)).expect("a folder");
        }
        std::fs::write(folder.path().join("orders/morning.jsonl"), ORDERS).expect("written");
        let lab = Self {
            one: adapter("focimeter-1"),
            two: adapter("focimeter-2"),
            scanner: adapter("scanner-1"),
            folder,
        };
        std::fs::write(lab.path().join("station.toml"), lab.settings()).expect("written");
        lab
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn settings(&self) -> String {
        format!(
            "[station]\nname = \"bench-1\"\nledger = \"bench-1.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
             [orders]\nfolder = \"orders\"\n\
             [[instrument]]\nname = \"focimeter-1\"\nport = \"{0}/focimeter-1\"\nlayout = \"tagged\"\n\
             [[instrument]]\nname = \"focimeter-2\"\nport = \"{0}/focimeter-2\"\nlayout = \"tagged\"\n\
             [[scanner]]\nname = \"scanner-1\"\nport = \"{0}/scanner-1\"\n",
            self.path().display()
        )
    }

    /// A station with its ports open.
    fn station(&self) -> Station {
        let mut station = Station::start(self.path(), &self.settings());
        let mut left = vec!["focimeter-1: port open", "focimeter-2: port open", "scanner-1: port open"];
        if self.path().join("orders/morning.jsonl").exists() {
            left.push("4472       order");
        }
        while !left.is_empty() {
            let line = station.line(&[]);
            left.retain(|words| !line.contains(words));
        }
        station
    }

    fn command(&self, more: &[&str]) -> Command {
        let settings = self.path().join("station.toml");
        let mut command = fociline(&["watch", "--station", settings.to_str().expect("text")]);
        command.args(more);
        command
    }

    /// A watcher whose output goes into a pipe.
    fn watch(&self, more: &[&str]) -> Station {
        Station::with(&self.path().join("watcher"), self.command(more))
    }
}

#[test]
fn a_watcher_says_what_the_station_says() {
    let lab = Lab::new();
    let mut station = lab.station();
    let mut watcher = lab.watch(&["--after", "0"]);
    let first = watcher.line(&["bench-1:", "entries in", "bench-1.ledger"]);
    assert_eq!(watcher.seen, [first]);
    watcher.line(&["runs since"]);
    watcher.line(&["no job is chosen"]);
    watcher.line(&["focimeter-1: open since"]);
    let begun = watcher.line(&["scanner-1: open since"]);
    lab.scanner.send("4471\r");
    station.line(&["4471", "chosen"]);
    lab.one.send("EYE=R S=-1.25 C=-0.50 A=92\r\n");
    station.line(&["4471", "INCOMPLETE"]);
    lab.two.send("EYE=L S=-1.10 C=+0.00\r\nS=-1.00\r\nEYE=L S=-1.1x\r\n");
    station.line(&["::::^"]);
    lab.scanner.send("4472\r");
    station.line(&["4472", "chosen"]);
    lab.two.send("EYE=R S=+2.25 C=-1.75 A=2\r\n");
    station.line(&["4472", "FAIL"]);
    watcher.line(&["4472", "FAIL"]);
    assert!(station.stop().success());
    watcher.line(&["THE STATION IS NOT RUNNING: it was stopped"]);
    watcher.signal("INT");
    assert!(watcher.ended().success(), "{}", watcher.log());

    let own = |line: &&String| line.contains("NOT RUNNING") || line.contains("the station runs");
    let lines: Vec<&String> = watcher.seen.iter().skip_while(|line| **line != begun).skip(1).collect();
    let lines: Vec<&String> = lines.into_iter().filter(|line| !own(line)).collect();
    assert_eq!(lines, station.seen.iter().collect::<Vec<_>>());
}

#[test]
fn a_station_that_dies_and_comes_back_is_followed() {
    let lab = Lab::new();
    let mut station = lab.station();
    let mut watcher = lab.watch(&[]);
    watcher.line(&["scanner-1: open since"]);
    station.signal("KILL");
    station.ended();
    watcher.line(&["THE STATION IS NOT RUNNING", "a crash or a power cut"]);
    let mut late = lab.watch(&["--last", "2"]);
    late.line(&["THE STATION IS NOT RUNNING", "a crash or a power cut"]);
    let _station = lab.station();
    lab.one.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\n");
    for watcher in [&mut watcher, &mut late] {
        watcher.line(&["the station runs (fociline"]);
        watcher.line(&["4472", "PASS"]);
        watcher.signal("TERM");
        assert!(watcher.ended().success());
    }
    assert!(!late.seen.iter().any(|line| line.contains("open since")), "{:?}", late.seen);
}

/// A line of JSON with its time apart: one time can be written with more or fewer zeros.
fn without_time(line: &str) -> String {
    let (before, rest) = line.split_once(r#""time":""#).expect("a time");
    let (time, after) = rest.split_once('"').expect("its end");
    format!("{} {before}{after}", time.parse::<jiff::Timestamp>().expect("a time"))
}

#[test]
fn entries_as_json_are_those_on_record_and_filters_hold() {
    let lab = Lab::new();
    let mut station = lab.station();
    lab.one.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\nJOB=4471 EYE=R S=-1.25 C=-0.50 A=92\r\n");
    station.line(&["4471", "INCOMPLETE"]);
    let ledger = Connection::open(lab.path().join("bench-1.ledger")).expect("opens");
    let on_record = |condition: &str| -> Vec<String> {
        let sql = format!(
            "SELECT json_object('seq', seq, 'time', time, 'kind', kind), payload FROM entries WHERE {condition} ORDER BY seq"
        );
        let mut statement = ledger.prepare(&sql).expect("sound SQL");
        let line = |row: &rusqlite::Row| {
            let (head, payload): (String, String) = (row.get(0)?, row.get(1)?);
            Ok(without_time(&format!("{},\"payload\":{payload}}}", head.trim_end_matches('}'))))
        };
        statement.query_map([], line).expect("runs").collect::<Result<_, _>>().expect("reads")
    };
    for (filter, condition) in [
        (&["--after", "0"][..], "1"),
        (&["--after", "0", "--kind", "verdict,frame"], "kind IN ('verdict', 'frame')"),
        (
            &["--after", "3", "--job", "4472"],
            "seq > 3 AND payload LIKE '%\"job\":\"4472\"%' AND kind IN ('order', 'reading', 'verdict')",
        ),
        (
            &["--kind", "reading", "--last", "1"],
            "seq = (SELECT max(seq) FROM entries WHERE kind = 'reading')",
        ),
    ] {
        let expected = on_record(condition);
        let mut watcher = lab.watch(&[&["--json"][..], filter].concat());
        let lines: Vec<String> = expected.iter().map(|_| without_time(&watcher.line(&[]))).collect();
        assert!(lines == expected, "{filter:?}");
        watcher.signal("INT");
        assert!(watcher.ended().success());
        assert_eq!(watcher.seen.len(), expected.len(), "{filter:?}: more than expected");
    }
    let mut quiet = lab.watch(&["--kind", "in-force,checkpoint", "--last", "100"]);
    quiet.line(&["in-force", "settings", "bench-1"]);
}

#[test]
fn nothing_that_was_sent_reaches_the_terminal_raw() {
    let lab = Lab::new();
    let hostile = "orders/\u{1b}[2J\u{9b}31m\u{202e}evening.jsonl";
    std::fs::write(lab.path().join(hostile), ORDERS.replace("\"axis\":90", "\"axis\":91")).expect("written");
    let mut station = lab.station();
    let mut watcher = lab.watch(&["--after", "0"]);
    lab.one.send("EYE=R S=\u{1b}[2J\u{1b}]0;owned\u{7} C=-0.50\r\nEYE=\u{9b}2J\r\n");
    station.line(&["frame", "not read"]);
    lab.scanner.send("\u{1b}c\u{7f}\u{8}4471\r");
    station.line(&["is not a job number"]);
    for watched in [&mut station, &mut watcher] {
        while !watched.seen.iter().any(|line| line.contains("is not a job number")) {
            watched.line(&[]);
        }
        let said = watched.seen.join("\n");
        assert!(said.contains("<ESC>[2J<U+009B>31m<U+202E>evening.jsonl"), "{said:?}");
        let acts = |char: char| (char.is_control() && char != '\n') || char == '\u{202e}';
        assert!(!said.contains(acts), "{said:?}");
    }
}

#[test]
fn a_closed_pipe_ends_it_quietly_also_while_nothing_happens() {
    let lab = Lab::new();
    let _station = lab.station();
    let spawn =
        |mut command: Command| command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("starts");
    let mut watcher = spawn(lab.command(&[]));
    let mut first = String::new();
    let mut out = BufReader::new(watcher.stdout.take().expect("piped"));
    out.read_line(&mut first).expect("a line");
    assert!(first.starts_with("bench-1: "), "{first}");
    drop(out);
    let status = wait_for("the end of the watcher", || watcher.try_wait().expect("a child"));
    let mut said = String::new();
    watcher.stderr.take().expect("piped").read_to_string(&mut said).expect("text");
    assert!(status.success() && said.is_empty(), "{status} {said}");
}

#[test]
fn a_station_that_never_ran_is_named_with_what_to_do() {
    let lab = Lab::new();
    let settings = lab.path().join("station.toml");
    let ran = ran(&["watch", "--station", settings.to_str().expect("text")]);
    assert_eq!((ran.status, ran.out.as_str()), (3, ""));
    assert!(
        ran.err.contains("there is no ledger there yet") && ran.err.contains("fociline run"),
        "{}",
        ran.err
    );
    assert!(!lab.path().join("bench-1.ledger").exists());
}

/// A watcher on a terminal of its own, and what the terminal shows.
struct OnTerminal {
    child: Child,
    pty: Pty,
    /// What came, and the screen that it makes.
    shown: Arc<Mutex<(Vec<u8>, vt100::Parser)>>,
}

impl OnTerminal {
    fn start(mut command: Command, columns: u16) -> Self {
        let pty = Pty::open().expect("a pseudo-terminal");
        let size = |columns| Winsize { ws_row: 24, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
        tcsetwinsize(pty.end(), size(columns)).expect("sized");
        let tty = || OpenOptions::new().read(true).write(true).open(pty.path()).expect("opens");
        // As a terminal does with lines: Pty is made for instruments, which want every byte as it is.
        let tty_out: File = tty();
        let mut modes = rustix::termios::tcgetattr(&tty_out).expect("modes");
        modes.output_modes |= rustix::termios::OutputModes::OPOST | rustix::termios::OutputModes::ONLCR;
        rustix::termios::tcsetattr(&tty_out, rustix::termios::OptionalActions::Now, &modes).expect("set");
        command.env("TERM", "xterm-256color");
        let shown = Arc::new(Mutex::new((Vec::new(), vt100::Parser::new(24, columns, 200))));
        let (mut end, into) = (pty.end().try_clone().expect("a file"), Arc::clone(&shown));
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(length @ 1..) = end.read(&mut buffer) {
                let mut shown = into.lock().expect("sound");
                shown.0.extend(&buffer[..length]);
                shown.1.process(&buffer[..length]);
            }
        });
        let child = command.stdout(tty_out).stderr(Stdio::inherit()).spawn().expect("starts");
        Self { child, pty, shown }
    }

    fn rows(&self) -> Vec<String> {
        let shown = self.shown.lock().expect("sound");
        let screen = shown.1.screen();
        let rows: Vec<String> =
            screen.rows(0, screen.size().1).map(|row| row.trim_end().to_owned()).collect();
        let last = rows.iter().rposition(|row| !row.is_empty()).map_or(0, |last| last + 1);
        rows[..last].to_vec()
    }

    fn wait(&self, what: &str, fits: impl Fn(&[String]) -> bool) -> Vec<String> {
        let seen = std::cell::RefCell::default();
        let waited = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            wait_for(what, || {
                *seen.borrow_mut() = self.rows();
                fits(&seen.borrow()).then(|| seen.borrow().clone())
            })
        }));
        waited.unwrap_or_else(|_| panic!("waited in vain for {what}: {:#?}", seen.borrow()))
    }

    fn resize(&self, columns: u16) {
        let size = Winsize { ws_row: 24, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 };
        self.shown.lock().expect("sound").1.screen_mut().set_size(24, columns);
        tcsetwinsize(self.pty.end(), size).expect("sized");
    }

    fn came(&self) -> String {
        String::from_utf8_lossy(&self.shown.lock().expect("sound").0).into_owned()
    }

    fn interrupt(&mut self) {
        let status = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(status.expect("kill runs").success());
        let status = wait_for("the end of the watcher", || self.child.try_wait().expect("a child"));
        assert_eq!(status.code(), Some(0));
    }
}

impl Drop for OnTerminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn bottom_has(words: &'static str) -> impl Fn(&[String]) -> bool {
    move |rows| rows.last().is_some_and(|row| row.contains(words))
}

#[test]
fn a_terminal_has_a_bottom_line_at_any_width() {
    let mut lab = Lab::new();
    let mut station = lab.station();
    let mut command = lab.command(&[]);
    command.env_remove("NO_COLOR").env_remove("CLICOLOR");
    let mut watcher = OnTerminal::start(command, 40);
    watcher.wait("the bottom line", bottom_has("no job | last entry"));
    lab.scanner.send("4472\r");
    watcher.wait("the job", bottom_has("job 4472 | last entry"));
    lab.one.send("EYE=R S=+2.25 C=-1.75 A=2\r\n");
    let rows = watcher.wait("the verdict", |rows| rows.iter().any(|row| row.contains("FAIL")));
    // Wrapped under its own begin, never cut: nothing stands beyond the fortieth column.
    let at = rows.iter().position(|row| row.contains("FAIL")).expect("there");
    let verdict = format!("{} {} {}", rows[at], rows[at + 1].trim_start(), rows[at + 2].trim_start());
    assert!(verdict.contains("right axis 2 for 178: off by 4 \u{b0}, limit 2"), "{verdict:?}\n{rows:#?}");
    assert!(rows[at + 1].starts_with("          "), "{rows:#?}");
    lab.two.unplug();
    station.line(&["focimeter-2: PORT LOST"]);
    let rows =
        watcher.wait("the port in the bottom line", bottom_has("focimeter-2 NOT AVAILABLE | job 4472"));
    assert_eq!(rows.iter().filter(|row| row.contains("last entry") || row.contains("| job 4472")).count(), 1);

    watcher.resize(100);
    let rows = watcher
        .wait("the whole bottom line", bottom_has("focimeter-2 NOT AVAILABLE | job 4472 | last entry"));
    assert_eq!(rows.iter().filter(|row| row.contains("| job 4472")).count(), 1, "{rows:#?}");
    watcher.resize(24);
    lab.one.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=178\r\n");
    let rows =
        watcher.wait("a verdict on a narrow screen", |rows| rows.iter().any(|row| row.contains("PASS")));
    assert!(rows.last().expect("a line").starts_with("focimeter-2 NOT AVAILAB"), "{rows:#?}");

    station.signal("KILL");
    station.ended();
    watcher.resize(80);
    watcher.wait("the end of the station", bottom_has("STATION NOT RUNNING | last entry"));
    watcher.interrupt();
    let rows = watcher.wait("the bottom line to go", |rows| !bottom_has("last entry")(rows));
    assert!(rows[rows.len() - 2].contains("it ended without a word"), "{rows:#?}");
    assert!(watcher.came().contains("\u{1b}[31m"), "no colour came");
}

#[test]
fn without_colour_the_words_are_the_same() {
    let lab = Lab::new();
    let _station = lab.station();
    lab.one.send("JOB=4472 EYE=R S=+2.25 C=-1.75 A=2\r\n");
    let mut command = lab.command(&[]);
    command.env("NO_COLOR", "1");
    let mut watcher = OnTerminal::start(command, 80);
    watcher.wait("the verdict", |rows| rows.iter().any(|row| row.contains("job 4472       FAIL")));
    watcher.wait("the bottom line", bottom_has("last entry"));
    watcher.interrupt();
    let came = watcher.came();
    let styles = came.split("\u{1b}[").skip(1).filter(|rest| {
        rest.trim_start_matches(|char: char| char.is_ascii_digit() || char == ';').starts_with('m')
    });
    assert_eq!(styles.count(), 0, "{came:?}");
}
