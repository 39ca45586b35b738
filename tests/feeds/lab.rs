//! A bench whose every frame gives a reading and a verdict, and what a receiver has to have got.

use crate::common::{Adapter, Station, fociline, wait_for};
use rusqlite::Connection;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const ORDER: &str = r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;

pub struct Lab {
    folder: TempDir,
    instrument: Adapter,
    feed: String,
    sent: usize,
    started: bool,
}

impl Lab {
    /// A station's folder, with the given `[[feed]]` tables.
    pub fn new(feed: impl FnOnce(&Path) -> String) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(folder.path().join("orders")).expect("a folder");
        std::fs::write(folder.path().join("orders/morning.jsonl"), ORDER).expect("written");
        let instrument = Adapter::plugged(folder.path().join("focimeter-1"));
        let feed = feed(folder.path());
        Self { folder, instrument, feed, sent: 0, started: false }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn ledger(&self) -> PathBuf {
        self.path().join("bench-1.ledger")
    }

    pub fn settings(&self) -> String {
        format!(
            "[station]\nname = \"bench-1\"\nledger = \"bench-1.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
             [orders]\nfolder = \"orders\"\n\
             [[instrument]]\nname = \"focimeter-1\"\nport = \"{}/focimeter-1\"\nlayout = \"tagged\"\n{}",
            self.path().display(),
            self.feed
        )
    }

    /// A station with its port open and its order taken in, that runs in its own folder.
    pub fn station(&mut self) -> Station {
        let file = self.path().join("station.toml");
        std::fs::write(&file, self.settings()).expect("written");
        let mut command = fociline(&["run", "--station", file.to_str().expect("text")]);
        // Programs in the lab's folder come first.
        let path = std::env::var("PATH").unwrap_or_default();
        command.current_dir(self.path()).env("PATH", format!("{}:{path}", self.path().display()));
        let mut station = Station::with(self.path(), command);
        station.line(&["focimeter-1: port open"]);
        if !std::mem::replace(&mut self.started, true) {
            station.line(&["4471", "order"]);
        }
        station
    }

    /// Sends what an instrument sends.
    pub fn send(&self, frame: &str) {
        self.instrument.send(frame);
    }

    /// Measures a lens so many times, and waits until each verdict is shown.
    pub fn measure(&mut self, station: &mut Station, times: usize) {
        for _ in 0..times {
            self.sent += 1;
            self.instrument.send(format!("JOB=4471 EYE=R S=-1.25 C=-0.50 A={}\r\n", 100 + self.sent % 60));
            station.line(&["4471", "FAIL", "axis"]);
        }
    }

    /// The entries of these kinds, in their order: number and payload.
    pub fn entries(&self, kinds: &str) -> Vec<(u64, Value)> {
        let ledger = Connection::open(self.ledger()).expect("opens");
        let sql = format!("SELECT seq, payload FROM entries WHERE kind IN ({kinds}) ORDER BY seq");
        let mut statement = ledger.prepare(&sql).expect("sound SQL");
        let rows = statement.query_map([], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)));
        rows.expect("runs")
            .map(|row| row.expect("reads"))
            .map(|(seq, payload)| (seq.unsigned_abs(), serde_json::from_str(&payload).expect("JSON")))
            .collect()
    }

    /// How far a feed has come, as the ledger has it.
    pub fn cursor(&self, feed: &str) -> Option<u64> {
        let ledger = Connection::open(self.ledger()).expect("opens");
        ledger
            .query_row("SELECT seq FROM feed_cursors WHERE feed = ?1", [feed], |row| row.get::<_, i64>(0))
            .ok()
            .map(i64::unsigned_abs)
    }

    /// Waits until a receiver has everything, and looks whether that is all, in order, with repeats
    /// told by their identity.
    pub fn complete(&self, received: impl FnMut() -> Vec<Value>) {
        self.complete_of("'reading', 'verdict'", received);
    }

    pub fn complete_of(&self, kinds: &str, mut received: impl FnMut() -> Vec<Value>) {
        let expected = self.entries(kinds);
        let last = expected.last().expect("something was measured").0;
        let got = wait_for("the last message", || {
            let got = received();
            got.iter().any(|message| message["seq"] == last).then_some(got)
        });
        let mut seen: BTreeMap<u64, Value> = BTreeMap::new();
        let mut highest = 0;
        for message in &got {
            let seq = message["seq"].as_u64().expect("a number");
            match seen.get(&seq) {
                Some(known) => assert_eq!(known, message, "a repeat is the same, id and all"),
                None => {
                    assert!(seq > highest, "entry {seq} came for the first time after {highest}");
                    highest = seq;
                    seen.insert(seq, message.clone());
                }
            }
        }
        let is: Vec<u64> = seen.keys().copied().collect();
        let should: Vec<u64> = expected.iter().map(|(seq, _)| *seq).collect();
        assert_eq!(is, should, "nothing is lost and nothing is made up");
        let mut ids: Vec<&str> = seen.values().map(|message| message["id"].as_str().expect("text")).collect();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), expected.len(), "each entry has an identity of its own");
        for (seq, payload) in &expected {
            let message = &seen[seq];
            assert_eq!(&message["payload"], payload);
            assert_eq!(message["station"], "bench-1");
        }
    }
}
