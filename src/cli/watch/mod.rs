//! `fociline watch`: a station as it works, seen from another process.
//!
//! Only the ledger is looked at: what is shown is on record, and the station does not know of it.

mod events;
mod standing;

use super::lines::Lines;
use super::screen::Screen;
use super::{Answer, Stop, block_on, json, plain, settings};
use crate::bench::entry::{Entry, Numbered, Seq, SoftwareState};
use crate::bench::envelope::Envelope;
use crate::ledger::{LedgerError, Reader, Stored, is_held};
use crate::parsers::reading::JobNumber;
use crate::station::board::{Board, LOOK_BACK};
use crate::station::settings::Settings;
use clap::builder::PossibleValuesParser;
use events::{Event, events};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use standing::{Ago, Stands};
use std::collections::{HashSet, VecDeque};
use std::io::ErrorKind;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::time::MissedTickBehavior;

/// How often the ledger is looked at.
const PERIOD: Duration = Duration::from_millis(200);
/// How many entries are looked through first for the last lines.
const FIRST_LOOK: u64 = 512;
/// How many lines are written at once while catching up.
const LINES_AT_ONCE: usize = 256;

#[derive(Debug, clap::Args)]
pub(super) struct WatchArgs {
    /// The settings of the station that is watched
    #[arg(long, value_name = "STATION.TOML")]
    station: PathBuf,
    /// How many lines of what was before are shown first
    #[arg(long, value_name = "N", default_value_t = 10, conflicts_with = "after")]
    last: usize,
    /// Show everything after this entry first
    #[arg(long, value_name = "ENTRY")]
    after: Option<u64>,
    /// Only what concerns this job
    #[arg(long)]
    job: Option<JobNumber>,
    /// Only entries of these kinds, also those that are not shown else
    #[arg(long, value_delimiter = ',', value_parser = PossibleValuesParser::new(Entry::KINDS))]
    kind: Vec<String>,
    /// Print each entry as a line of JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: WatchArgs) -> Answer {
    let settings = settings(&args.station)?;
    if !settings.ledger.exists() {
        return Err(Stop::Failed(format!(
            "{}: there is no ledger there yet: the station {} makes it when it first runs (fociline run --station {})",
            settings.ledger.display(),
            settings.name,
            args.station.display()
        )));
    }
    let record = Reader::open(&settings.ledger).map_err(Stop::failed)?;
    let watch = Watch::new(args, &settings, record);
    block_on(async {
        match watch.follow().await {
            Err(Ended::Failed(why)) => Err(Stop::Failed(why)),
            // Nobody reads any more: there is nobody to tell either.
            Ok(()) | Err(Ended::Unread) => Ok(true),
        }
    })
}

/// Why watching ends by itself.
enum Ended {
    Unread,
    Failed(String),
}

impl From<std::io::Error> for Ended {
    fn from(why: std::io::Error) -> Self {
        match why.kind() {
            ErrorKind::BrokenPipe => Ended::Unread,
            _ => Ended::Failed(format!("standard output cannot be written: {why}")),
        }
    }
}

impl From<LedgerError> for Ended {
    fn from(why: LedgerError) -> Self {
        Ended::Failed(why.to_string())
    }
}

struct Watch<'s> {
    args: WatchArgs,
    settings: &'s Settings,
    record: Rc<Reader>,
    timezone: TimeZone,
    board: Board,
    lines: Lines,
    screen: Screen,
    /// The last entry that was taken in.
    seen: Seq,
    last_time: Option<Timestamp>,
    software: Option<SoftwareState>,
    runs: bool,
    waiting: Vec<String>,
}

impl<'s> Watch<'s> {
    fn new(args: WatchArgs, settings: &'s Settings, record: Reader) -> Self {
        let timezone = TimeZone::system();
        Self {
            board: Board::new(settings, timezone.clone()),
            lines: Lines::new(settings, timezone.clone()),
            timezone,
            screen: Screen::new(),
            seen: Seq::default(),
            last_time: None,
            software: None,
            runs: false,
            waiting: Vec::new(),
            args,
            settings,
            record: Rc::new(record),
        }
    }

    async fn follow(mut self) -> Result<(), Ended> {
        let signals = || Ok((signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?));
        let (mut interrupt, mut terminate) =
            signals().map_err(|why: std::io::Error| Ended::Failed(why.to_string()))?;
        self.begin()?;
        let mut ticks = tokio::time::interval(PERIOD);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                _ = interrupt.recv() => break,
                _ = terminate.recv() => break,
                _ = ticks.tick() => {
                    if self.screen.is_gone() {
                        return Err(Ended::Unread);
                    }
                    self.look()?;
                }
            }
        }
        self.screen.end()?;
        Ok(())
    }

    /// Shows where things stand, and what was before.
    fn begin(&mut self) -> Result<(), Ended> {
        self.lines.set_width(self.screen.width());
        let held = is_held(&self.settings.ledger)?;
        let head = self.record.head()?.seq;
        let first = Seq(head.0.saturating_sub(LOOK_BACK) + 1);
        for stored in self.record.stored(first..=head) {
            // What this version cannot read is named where it is shown.
            if let Ok(numbered) = stored?.numbered() {
                self.last_time = Some(numbered.time);
                self.board.take(&numbered);
            }
        }
        let software = self.record.latest_of_kind("software", 1)?.pop();
        self.software = software.as_ref().and_then(state);
        self.runs = held && self.software == Some(SoftwareState::Started);
        self.seen = head;
        if !self.args.json {
            let stands = Stands {
                settings: self.settings,
                board: &self.board,
                timezone: self.timezone.clone(),
                now: Timestamp::now(),
                runs: software.filter(|_| self.runs).map(|numbered| numbered.time),
            };
            self.waiting = stands.lines(&self.record)?;
        }
        if !self.runs {
            self.say_not_running();
        }
        match self.args.after {
            Some(after) => self.print(Seq(after), head)?,
            None => {
                let lines = self.last_lines(head)?;
                self.waiting.extend(lines);
            }
        }
        self.flush()
    }

    /// Looks for what was committed since.
    fn look(&mut self) -> Result<(), Ended> {
        self.lines.set_width(self.screen.width());
        // In this order: when the lock is free, all that its holder wrote can be read.
        let held = is_held(&self.settings.ledger)?;
        let head = self.record.head()?.seq;
        if head > self.seen {
            let after = self.seen;
            self.print(after, head)?;
            self.seen = head;
        }
        let runs = held && self.software == Some(SoftwareState::Started);
        if self.runs && !runs {
            self.say_not_running();
        }
        self.runs = runs;
        self.flush()
    }

    fn say_not_running(&mut self) {
        let why = match self.software {
            Some(SoftwareState::Started) => "it ended without a word, by a crash or a power cut",
            Some(SoftwareState::Stopped) => "it was stopped",
            None => "it never ran",
        };
        let time = self.lines.time(Timestamp::now());
        self.say(format!("{time}  THE STATION IS NOT RUNNING: {why}. What it records later is shown"));
    }

    /// Says something that is not an entry.
    fn say(&mut self, line: String) {
        if self.args.json {
            // Standard output holds entries only.
            eprintln!("{line}");
        } else {
            self.waiting.push(line);
        }
    }

    fn flush(&mut self) -> Result<(), Ended> {
        let lines = std::mem::take(&mut self.waiting);
        let bottom = match self.args.json {
            true => String::new(),
            false => self.bottom(),
        };
        Ok(self.screen.show(&lines, &bottom)?)
    }

    fn bottom(&self) -> String {
        let now = Timestamp::now();
        let mut parts = Vec::new();
        if self.runs {
            parts.extend(standing::not_open(&self.board));
            parts.push(match self.board.current(now) {
                Some(current) => format!("job {}", plain::text(current.job.as_str())),
                None => "no job".to_owned(),
            });
        } else {
            parts.push("STATION NOT RUNNING".to_owned());
        }
        parts.push(match self.last_time {
            Some(time) => format!("last entry {}", Ago(now.duration_since(time))),
            None => "no entry yet".to_owned(),
        });
        parts.join(" | ")
    }

    /// Takes in and shows the entries after one, up to another.
    fn print(&mut self, after: Seq, to: Seq) -> Result<(), Ended> {
        let of_job = self.of_job(after)?;
        let record = Rc::clone(&self.record);
        for event in events(&record, after, to) {
            let event = event?;
            let seen = self.seen;
            for numbered in event.entries.iter().filter(|numbered| numbered.seq > seen) {
                self.board.take(numbered);
                self.last_time = Some(numbered.time);
                self.take_software(numbered);
            }
            let lines = self.lines_of(&event, of_job.as_ref());
            self.waiting.extend(lines);
            if self.waiting.len() >= LINES_AT_ONCE {
                self.flush()?;
            }
        }
        Ok(())
    }

    fn take_software(&mut self, numbered: &Numbered) {
        let Entry::Software(software) = &numbered.entry else { return };
        self.software = Some(software.state);
        if software.state == SoftwareState::Started {
            self.runs = true;
            let time = self.lines.time(numbered.time);
            self.say(format!("{time}  the station runs (fociline {})", plain::text(&software.version)));
        }
    }

    /// An event as it is shown, if it is.
    fn lines_of(&self, event: &Event, of_job: Option<&HashSet<Seq>>) -> Vec<String> {
        let shown = event.entries.iter().filter_map(|numbered| self.line(numbered, &event.entries, of_job));
        let unreadable = event.unreadable.iter().filter(|_| self.args.kind.is_empty() && of_job.is_none());
        let unreadable = unreadable.map(|(stored, why)| match self.args.json {
            true => self.json(unread(stored)),
            false => format!("entry {} cannot be shown: {}", stored.seq, plain::text(why)),
        });
        shown.chain(unreadable).collect()
    }

    /// The entries after one that concern the job that is asked for.
    fn of_job(&self, after: Seq) -> Result<Option<HashSet<Seq>>, LedgerError> {
        let Some(job) = &self.args.job else { return Ok(None) };
        let history = self.record.job_history(job)?;
        Ok(Some(history.into_iter().map(|numbered| numbered.seq).filter(|seq| *seq > after).collect()))
    }

    /// An entry as it is shown, if it is.
    fn line(&self, numbered: &Numbered, event: &[Numbered], of_job: Option<&HashSet<Seq>>) -> Option<String> {
        let kind = numbered.entry.kind();
        let asked_for = self.args.kind.iter().any(|asked| asked == kind);
        if of_job.is_some_and(|of_job| !of_job.contains(&numbered.seq))
            || !(asked_for || self.args.kind.is_empty())
        {
            return None;
        }
        match (self.args.json, asked_for) {
            (true, _) => Some(self.json(json(&Envelope::from(numbered)))),
            (false, true) => Some(self.lines.always(numbered, event)),
            (false, false) => self.lines.of(numbered, event),
        }
    }

    fn json(&self, line: String) -> String {
        // For programs every byte stays as it was hashed.
        if self.screen.is_terminal() { plain::json(&line).into_owned() } else { line }
    }

    /// The last lines before now.
    fn last_lines(&self, head: Seq) -> Result<Vec<String>, Ended> {
        let of_job = self.of_job(Seq::default())?;
        let mut look = FIRST_LOOK;
        // The further back, the longer it takes: no further than a board looks.
        loop {
            let after = Seq(head.0.saturating_sub(look));
            let mut lines = VecDeque::new();
            for event in events(&self.record, after, head) {
                lines.extend(self.lines_of(&event?, of_job.as_ref()));
                let surplus = lines.len().saturating_sub(self.args.last);
                lines.drain(..surplus);
            }
            if lines.len() >= self.args.last || after == Seq::default() || look >= LOOK_BACK {
                return Ok(lines.into());
            }
            look *= 4;
        }
    }
}

fn state(numbered: &Numbered) -> Option<SoftwareState> {
    match &numbered.entry {
        Entry::Software(software) => Some(software.state),
        _ => None,
    }
}

/// The same form as an [`Envelope`], for an entry that this version cannot read.
fn unread(stored: &Stored) -> String {
    let (kind, time) = (json(&stored.kind), json(&stored.time));
    format!(r#"{{"seq":{},"time":{time},"kind":{kind},"payload":{}}}"#, stored.seq, stored.payload)
}
