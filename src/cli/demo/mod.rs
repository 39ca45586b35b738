//! `fociline demo`: the whole job on real pseudo-terminals, in an invented lab.

use super::run::{Output, logs, station, stop_signal};
use super::{Answer, Stop, block_on, settings, show};
use crate::bench::entry::{Entry, Numbered, PortState, Seq};
use crate::judge::verdict::{Outcome, Verdict};
use crate::ledger::{LedgerError, Reader};
use crate::parsers::notation;
use crate::parsers::reading::JobNumber;
use crate::station::pty::Pty;
use jiff::tz::TimeZone;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::io::{BufRead, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

const SCENARIO: &str = include_str!("scenario.toml");
const ORDERS: &str = include_str!("orders.jsonl");
const DEVICES: [&str; 3] = ["focimeter-1", "focimeter-2", "scanner-1"];
const SETTINGS: &str = r#"# The station of the demo, in an invented lab: Tarnvale Lens Works.
[station]
name   = "tarnvale-bench-1"
ledger = "demo.ledger"
rules  = "ansi-z80.1-2015"

[orders]
folder = "orders"

[[instrument]]
name   = "focimeter-1"
port   = "FOLDER/focimeter-1"
layout = "tagged"

[[instrument]]
name   = "focimeter-2"
port   = "FOLDER/focimeter-2"
layout = "delimited"

[[scanner]]
name   = "scanner-1"
port   = "FOLDER/scanner-1"
"#;

/// How long a step may take to show on record.
const PATIENCE: Duration = Duration::from_secs(20);

#[derive(Debug, clap::Args)]
pub(super) struct DemoArgs {
    /// End when the scenario has run; otherwise lines can be typed for the instruments after it
    #[arg(long)]
    once: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Scenario {
    step: Vec<Step>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    say: Option<String>,
    scan: Option<String>,
    send: Option<Send>,
    unplug: Option<String>,
    plug: Option<String>,
    table: Option<JobNumber>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Send {
    from: String,
    bytes: String,
}

pub(super) fn run(args: DemoArgs) -> Answer {
    if std::env::var_os("FOCILINE_LOG").is_some() {
        logs();
    }
    let folder = tempfile::Builder::new().prefix("fociline-demo-").tempdir().map_err(Stop::failed)?.keep();
    let mut bench =
        Simulated::set_up(&folder).map_err(|why| Stop::Failed(format!("{}: {why}", folder.display())))?;
    let settings = settings(&folder.join("station.toml"))?;
    println!("Tarnvale Lens Works, bench 1: an invented lab with two simulated focimeters and a");
    println!("scanner, on real pseudo-terminals. What follows is what `fociline run` prints.");
    println!();
    let ledger = settings.ledger.clone();
    let answer = block_on(async {
        let (done, scenario_done) = oneshot::channel();
        let signal = stop_signal().map_err(Stop::failed)?;
        let stop = async {
            tokio::select! {
                () = signal => {}
                _ = scenario_done => {}
            }
        };
        let playing = std::thread::spawn(move || {
            let played = bench.play(args.once);
            // The station may have been told to stop by a signal before.
            let _ = done.send(());
            // The lines stay plugged in until the station has ended.
            (bench, played)
        });
        let output = Output { json: false, timezone: TimeZone::system() };
        station(&settings, stop, output).await?;
        if args.once {
            let (_bench, played) = playing.join().map_err(|_| Stop::failed("the scenario broke off"))?;
            played?;
        }
        Ok(true)
    });
    summary(&ledger)?;
    answer
}

/// The instruments' ends of the lines.
struct Simulated {
    folder: PathBuf,
    ledger: PathBuf,
    lines: BTreeMap<String, Pty>,
}

impl Simulated {
    fn set_up(folder: &Path) -> std::io::Result<Self> {
        let mut bench =
            Self { folder: folder.to_owned(), ledger: folder.join("demo.ledger"), lines: BTreeMap::new() };
        for device in DEVICES {
            bench.plug(device)?;
        }
        std::fs::write(folder.join("station.toml"), SETTINGS.replace("FOLDER", &folder.to_string_lossy()))?;
        std::fs::create_dir_all(folder.join("orders"))?;
        std::fs::write(folder.join("orders/morning.jsonl"), ORDERS)?;
        Ok(bench)
    }

    fn plug(&mut self, device: &str) -> std::io::Result<()> {
        let pty = Pty::open()?;
        symlink(pty.path(), self.folder.join(device))?;
        self.lines.insert(device.to_owned(), pty);
        Ok(())
    }

    fn unplug(&mut self, device: &str) -> std::io::Result<()> {
        std::fs::remove_file(self.folder.join(device))?;
        self.lines.remove(device);
        Ok(())
    }

    fn send(&self, device: &str, bytes: &[u8]) -> std::io::Result<()> {
        match self.lines.get(device) {
            Some(line) => line.end().write_all(bytes),
            None => Err(std::io::Error::other(format!("{device} is not plugged in"))),
        }
    }

    fn play(&mut self, once: bool) -> Result<(), Stop> {
        let scenario: Scenario = toml::from_str(SCENARIO).map_err(Stop::failed)?;
        self.until("the ports and orders", |record| {
            let found = |kind| record.of_kind(kind, Seq(0)..=Seq(u64::MAX), usize::MAX);
            let open = found("port")?.iter().filter(|entry| is_opened(entry)).count();
            Ok(open >= DEVICES.len() && found("order")?.len() >= ORDERS.lines().count())
        })?;
        for step in &scenario.step {
            if let Some(say) = &step.say {
                println!("\n# {say}");
            }
            self.act(step)?;
            if let Some(job) = &step.table {
                self.table(job)?;
            }
        }
        if !once {
            println!("\n# The station goes on. Type a line for focimeter-1, such as");
            println!("#     EYE=R S=-1.25 C=-0.50 A=91");
            println!("# or `scan 4471`. Ctrl-C ends.");
            self.type_lines()?;
        }
        Ok(())
    }

    /// Does what a step says, and waits until it shows on record.
    fn act(&mut self, step: &Step) -> Result<(), Stop> {
        let before = self.head()?;
        let acted = if let Some(job) = &step.scan {
            self.send("scanner-1", format!("{job}\r").as_bytes())
        } else if let Some(send) = &step.send {
            let bytes = notation::from_text(&send.bytes).map_err(Stop::failed)?;
            self.send(&send.from, &bytes)
        } else if let Some(device) = &step.unplug {
            self.unplug(device)
        } else if let Some(device) = &step.plug {
            self.plug(device)
        } else {
            return Ok(());
        };
        acted.map_err(Stop::failed)?;
        let until = step.plug.as_ref().map_or("what was sent", |_| "the port");
        self.until(until, |record| Ok(record.head()?.seq > before))?;
        // What is on record is printed by another thread: let it, before the next step is told.
        std::thread::sleep(Duration::from_millis(150));
        Ok(())
    }

    fn record(&self) -> Result<Reader, Stop> {
        Reader::open(&self.ledger).map_err(Stop::failed)
    }

    fn head(&self) -> Result<Seq, Stop> {
        Ok(self.record()?.head().map_err(Stop::failed)?.seq)
    }

    fn until(
        &self,
        what: &str,
        mut is_so: impl FnMut(&Reader) -> Result<bool, LedgerError>,
    ) -> Result<(), Stop> {
        let since = Instant::now();
        while since.elapsed() < PATIENCE {
            // The station makes the ledger; until then there is none to look at.
            if let Ok(record) = Reader::open(&self.ledger)
                && is_so(&record).map_err(Stop::failed)?
            {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(30));
        }
        Err(Stop::Failed(format!("{what} did not come to be on record within {} s", PATIENCE.as_secs())))
    }

    fn table(&self, job: &JobNumber) -> Result<(), Stop> {
        if let Some(verdict) = latest_verdict(&self.record()?, job)? {
            println!();
            anstream::print!("{}", show::table(&verdict));
        }
        Ok(())
    }

    fn type_lines(&self) -> Result<(), Stop> {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            let line = line.trim();
            let sent = match line.strip_prefix("scan ") {
                _ if line.is_empty() => continue,
                Some(job) => self.send("scanner-1", format!("{job}\r").as_bytes()),
                None => self.send("focimeter-1", format!("{line}\r\n").as_bytes()),
            };
            sent.map_err(Stop::failed)?;
        }
        // Without a keyboard the station simply goes on until it is told to stop.
        loop {
            std::thread::park();
        }
    }
}

fn is_opened(numbered: &Numbered) -> bool {
    matches!(&numbered.entry, Entry::Port(port) if port.state == PortState::Opened)
}

fn latest_verdict(record: &Reader, job: &JobNumber) -> Result<Option<Box<Verdict>>, Stop> {
    let history = record.job_history(job).map_err(Stop::failed)?;
    Ok(history.into_iter().rev().find_map(|numbered| match numbered.entry {
        Entry::Verdict(verdict) => Some(verdict),
        _ => None,
    }))
}

fn summary(ledger: &Path) -> Result<(), Stop> {
    let record = Reader::open(ledger).map_err(Stop::failed)?;
    let mut outcomes: BTreeMap<Outcome, Vec<String>> = BTreeMap::new();
    for job in record.jobs("", usize::MAX).map_err(Stop::failed)? {
        if let Some(verdict) = latest_verdict(&record, &job)? {
            outcomes.entry(verdict.outcome).or_default().push(job.to_string());
        }
    }
    println!("\nHow the jobs stand:");
    for (outcome, jobs) in &outcomes {
        anstream::println!("  {} {}", show::outcome(*outcome), jobs.join(", "));
    }
    let head = record.head().map_err(Stop::failed)?;
    let path = ledger.display();
    println!("\nEverything is on record, {} entries in {path}", head.seq);
    println!("Look at it:");
    println!("  fociline ledger search --ledger {path} --outcome fail");
    println!("  fociline ledger verify --ledger {path}");
    println!("  sqlite3 -box {path} 'select job, eye, quantity, outcome from verdict_items'");
    println!("\nThe lab, its jobs and its lenses are invented. Measurements support inspection and do not");
    println!("replace it; the responsible licensed person decides.");
    Ok(())
}
