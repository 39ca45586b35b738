//! Instruments that send only when asked, and want each frame acknowledged.

mod common;

use common::{Adapter, Station, wait_for};
use rusqlite::Connection;
use std::io::Read;
use std::path::Path;

const LAYOUT: &str = r#"name = "polite"
title = "Asks to be asked"
[frame]
start = "<STX>"
end   = "<ETX>"
[talk]
on_open      = "HELLO<CR>"
ask          = "<ENQ>"
ask_every_ms = 200
ask_tries    = 3
acknowledge  = "<ACK>"
refuse       = "<NAK>"
retries      = 2
dtr          = true
[[line]]
form      = "delimited"
separator = ","
[[line.field]]
is = "job"
[[line.field]]
is  = "sphere"
eye = "right"
"#;

fn start(folder: &Path) -> (Station, Adapter) {
    std::fs::write(folder.join("polite.toml"), LAYOUT).expect("written");
    let adapter = Adapter::plugged(folder.join("focimeter-1"));
    let settings = format!(
        "[station]\nname = \"b\"\nledger = \"b.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
         [[instrument]]\nname = \"focimeter-1\"\nport = \"{}\"\nlayout = \"polite.toml\"\n",
        adapter.path.display()
    );
    let mut station = Station::start(folder, &settings);
    station.line(&["focimeter-1: port open"]);
    (station, adapter)
}

/// Reads what the station says until it ends with `words`; every byte is looked at.
fn hear(adapter: &Adapter, words: &[u8]) -> Vec<u8> {
    let mut end = adapter.pty.as_ref().expect("plugged in").end();
    let mut said = Vec::new();
    while !said.ends_with(words) {
        let mut byte = [0];
        end.read_exact(&mut byte).unwrap_or_else(|why| panic!("{why}; heard {said:?}, waited for {words:?}"));
        said.push(byte[0]);
    }
    said
}

fn readings(folder: &Path) -> i64 {
    let ledger = Connection::open(folder.join("b.ledger")).expect("opens");
    ledger.query_row("SELECT count(*) FROM readings", [], |row| row.get(0)).expect("counts")
}

#[test]
fn an_instrument_that_demands_a_handshake_gets_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut station, adapter) = start(folder.path());
    hear(&adapter, b"HELLO\r\x05");
    adapter.send(b"\x0271,-1.X5\x03");
    hear(&adapter, b"\x15");
    adapter.send(b"\x0271,-1.25\x03");
    hear(&adapter, b"\x06");
    assert_eq!(readings(folder.path()), 1, "it is on record before it is acknowledged");
    hear(&adapter, b"\x05");
    // Refused twice; then acknowledged, so that the instrument can go on.
    for answer in [b"\x15", b"\x15", b"\x06"] {
        adapter.send(b"\x02rubbish\x03");
        let said = hear(&adapter, answer);
        assert!(!said[..said.len() - 1].contains(&0x06), "{said:?}");
    }
    assert!(station.stop().success());
    assert_eq!(readings(folder.path()), 1);
}

#[test]
fn an_instrument_that_does_not_answer_is_said_once_and_so_is_its_return() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut station, adapter) = start(folder.path());
    station.line(&["focimeter-1: NO ANSWER"]);
    adapter.send(b"\x0271,-1.25\x03");
    station.line(&["focimeter-1: answers again"]);
    wait_for("the reading", || (readings(folder.path()) == 1).then_some(()));
    assert!(station.stop().success());
    assert_eq!(station.seen.iter().filter(|line| line.contains("NO ANSWER")).count(), 1);
}

#[test]
fn a_layout_that_talks_amiss_is_refused_with_its_line() {
    for (from, to, said) in [
        ("ask          = \"<ENQ>\"\n", "", "line 8: ask_every_ms without ask"),
        ("refuse       = \"<NAK>\"\n", "", "line 12: retries without refuse"),
        ("acknowledge ", "acknowlege ", "did you mean \"acknowledge\""),
        ("\"<ACK>\"", "\"<AKC>\"", "line 11: acknowledge has"),
    ] {
        let text = LAYOUT.replacen(from, to, 1);
        let refused =
            fociline::parsers::layout::Layout::from_toml(&text, "polite.toml").expect_err("refused");
        assert!(refused.to_string().contains(said), "{refused}");
    }
}
