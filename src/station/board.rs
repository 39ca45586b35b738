//! The board: the live picture of a station, drawn from committed entries only.
//!
//! A fold over entries, nothing else: no clock, no ledger. So what it shows is on record, and it
//! is the same whether it was drawn as things happened or again after a restart. It keeps what a
//! screen at the bench needs and no more; the ledger has the rest.

use super::passing::host_name;
use super::settings::{Instrument, PortSettings, Settings};
use crate::bench::entry::*;
use crate::judge::verdict::Verdict;
use crate::parsers::reading::{Eye, JobNumber, Reading};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use serde_with::skip_serializing_none;
use std::collections::VecDeque;

/// How many entries before the last a board is drawn from at a start. Readings that wait for a
/// job since before then are found in the ledger.
pub const LOOK_BACK: u64 = 100_000;
/// How many judged jobs are kept.
const JOBS: usize = 24;
/// How many readings that wait for a person are kept.
const WAITING: usize = 200;
/// How many hours of counts are kept.
const HOURS: usize = 48;

/// The live picture of a station.
#[derive(Debug, Clone)]
pub struct Board {
    timezone: TimeZone,
    job_hold: SignedDuration,
    seq: Seq,
    current: Option<Current>,
    jobs: VecDeque<Judged>,
    ports: Vec<PortOnBoard>,
    waiting: VecDeque<Waiting>,
    latest: Option<Latest>,
}

/// What came last from an instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Latest {
    /// The entry: a reading, or a frame that could not be read.
    pub seq: Seq,
    /// When it came in.
    pub time: Timestamp,
    /// The instrument that sent it.
    pub instrument: String,
    /// The job that it belongs to, if any.
    pub job: Option<JobNumber>,
    /// Why it could not be read, where that is so.
    pub reject: Option<String>,
}

/// The job at the station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Current {
    /// Its number.
    pub job: JobNumber,
    /// Who chose it: a scanner or a person.
    pub by: String,
    /// When it was chosen, or last measured.
    pub last_used: Timestamp,
}

/// A job and the verdict on it as it stands.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The verdict's entry.
    pub seq: Seq,
    /// When it was judged.
    pub time: Timestamp,
    /// The verdict.
    pub verdict: Verdict,
    /// Who overrode it, and why.
    pub overridden: Option<OverrideEntry>,
}

/// What hangs on a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Device {
    /// A focimeter.
    Instrument,
    /// A barcode reader.
    Scanner,
}

/// A port and what came in on it.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PortOnBoard {
    /// The instrument's or scanner's name.
    pub name: String,
    /// Which of the two it is.
    pub device: Device,
    /// Where it is: a tty, or an address on the network.
    pub path: String,
    /// What happened to it last; nothing before the station has tried it.
    #[serialize_always]
    pub state: Option<PortState>,
    /// Why, where it is not open.
    pub why: Option<String>,
    /// Since when.
    pub since: Option<Timestamp>,
    /// When bytes last came in.
    pub last_heard: Option<Timestamp>,
    /// What came in, hour by hour in the station's time, the earliest first.
    pub hours: VecDeque<Hour>,
    /// The host that an instrument goes on talking to.
    pub host: Option<HostOnBoard>,
}

/// The host of an instrument.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HostOnBoard {
    /// Where it is reached.
    pub path: String,
    /// What happened to it last; nothing before it was there.
    #[serialize_always]
    pub state: Option<PortState>,
    /// Why, where it is not there.
    pub why: Option<String>,
    /// Since when.
    pub since: Option<Timestamp>,
}

/// What came in within one hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Hour {
    /// The hour's begin in the station's time.
    pub begins: DateTime,
    /// How many frames, or scans, came in.
    pub frames: u32,
    /// How many of them could not be read.
    pub rejects: u32,
}

/// What a reading waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WaitsFor {
    /// It belongs to no job.
    Job,
    /// It does not say for which eye its lens is.
    Eye,
}

/// A reading that does not count until a person says more.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waiting {
    /// The reading's entry.
    pub seq: Seq,
    /// When it came in.
    pub time: Timestamp,
    /// What it waits for.
    pub waits_for: WaitsFor,
    /// The instrument that sent it.
    pub instrument: String,
    /// The job that it belongs to, if any.
    pub job: Option<JobNumber>,
    /// What was measured.
    pub reading: Reading,
}

impl Board {
    /// An empty board of a station. Hours are those of `timezone`.
    pub fn new(settings: &Settings, timezone: TimeZone) -> Self {
        let port = |name: &str, device, port: &PortSettings| PortOnBoard {
            name: name.to_owned(),
            device,
            path: port.device.to_string(),
            state: None,
            why: None,
            since: None,
            last_heard: None,
            hours: VecDeque::new(),
            host: None,
        };
        let instrument = |of: &Instrument| PortOnBoard {
            host: of.host.as_ref().map(|host| HostOnBoard {
                path: host.to_string(),
                state: None,
                why: None,
                since: None,
            }),
            ..port(&of.name, Device::Instrument, &of.port)
        };
        let instruments = settings.instruments.iter();
        let scanners = settings.scanners.iter();
        Self {
            timezone,
            job_hold: settings.job_hold,
            seq: Seq::default(),
            current: None,
            jobs: VecDeque::new(),
            ports: instruments
                .map(instrument)
                .chain(scanners.map(|scanner| port(&scanner.name, Device::Scanner, &scanner.port)))
                .collect(),
            waiting: VecDeque::new(),
            latest: None,
        }
    }

    /// The last entry that was taken in.
    pub fn seq(&self) -> Seq {
        self.seq
    }

    /// The job at the station at `now`: what a frame without a job number belongs to.
    pub fn current(&self, now: Timestamp) -> Option<&Current> {
        self.current.as_ref().filter(|current| now.duration_since(current.last_used) <= self.job_hold)
    }

    /// The jobs judged last, the latest first, each with its verdict as it stands.
    pub fn jobs(&self) -> impl Iterator<Item = &Judged> {
        self.jobs.iter()
    }

    /// The verdict on a job, where it is among those judged last.
    pub fn judged(&self, job: &JobNumber) -> Option<&Judged> {
        self.jobs.iter().find(|judged| judged.verdict.job == *job)
    }

    /// What came last from an instrument.
    pub fn latest(&self) -> Option<&Latest> {
        self.latest.as_ref()
    }

    /// The station's ports, in the order of its settings.
    pub fn ports(&self) -> &[PortOnBoard] {
        &self.ports
    }

    /// Readings that wait for a person, the earliest first.
    pub fn waiting(&self) -> impl Iterator<Item = &Waiting> {
        self.waiting.iter()
    }

    /// Takes in the next committed entry.
    pub fn take(&mut self, numbered: &Numbered) {
        let Numbered { seq, time, entry } = numbered;
        self.seq = *seq;
        match entry {
            Entry::Software(_) => {
                // A crash leaves no word of ports closed, and the core starts without a job.
                self.current = None;
                for port in &mut self.ports {
                    (port.state, port.why, port.since) = (None, None, None);
                    if let Some(host) = &mut port.host {
                        (host.state, host.why, host.since) = (None, None, None);
                    }
                }
            }
            Entry::Port(entry) => {
                let now = (Some(entry.state), entry.why.clone(), Some(*time));
                if let Some(port) = self.port(&entry.name) {
                    (port.state, port.why, port.since) = now;
                } else if let Some(host) = self.host(&entry.name) {
                    (host.state, host.why, host.since) = now;
                }
            }
            Entry::Frame(frame) => {
                self.heard(&frame.instrument, *time, frame.reject.is_some());
                if let Some(reject) = &frame.reject {
                    let (instrument, reject) = (frame.instrument.clone(), Some(reject.to_string()));
                    self.latest = Some(Latest { seq: *seq, time: *time, instrument, job: None, reject });
                }
            }
            Entry::Reading(reading) => {
                let (instrument, job) = (reading.instrument.clone(), reading.job.clone());
                self.latest = Some(Latest { seq: *seq, time: *time, instrument, job, reject: None });
                self.take_reading(*seq, *time, reading);
            }
            Entry::Job(choice) => {
                if !choice.by_hand {
                    self.heard(&choice.by, *time, choice.job.is_none());
                }
                if let Some(job) = &choice.job {
                    self.current =
                        Some(Current { job: job.clone(), by: choice.by.clone(), last_used: *time });
                }
            }
            Entry::Verdict(verdict) => {
                self.jobs.retain(|judged| judged.verdict.job != verdict.job);
                let verdict = Verdict::clone(verdict);
                self.jobs.push_front(Judged { seq: *seq, time: *time, verdict, overridden: None });
                self.jobs.truncate(JOBS);
            }
            Entry::Override(signed) => {
                if let Some(judged) = self.jobs.iter_mut().find(|judged| judged.seq == signed.about) {
                    judged.overridden = Some(signed.clone());
                }
            }
            Entry::Note(note) => self.take_note(note),
            // A check says what its reading was taken of: nobody need say more.
            Entry::InstrumentCheck(check) => self.waiting.retain(|waiting| waiting.seq != check.reading),
            Entry::Order(_)
            | Entry::Clock(_)
            | Entry::InForce(_)
            | Entry::Checkpoint(_)
            | Entry::Person(_)
            | Entry::Manual(_)
            | Entry::CrossCheck(_)
            | Entry::ReferenceLens(_)
            | Entry::Drift(_)
            | Entry::Host(_)
            | Entry::Gap(_) => {}
        }
    }

    fn port(&mut self, name: &str) -> Option<&mut PortOnBoard> {
        self.ports.iter_mut().find(|port| port.name == name)
    }

    fn host(&mut self, name: &str) -> Option<&mut HostOnBoard> {
        self.ports.iter_mut().find(|port| host_name(&port.name) == name)?.host.as_mut()
    }

    fn heard(&mut self, name: &str, time: Timestamp, rejected: bool) {
        let local = self.timezone.to_datetime(time);
        let begins = local.date().at(local.hour(), 0, 0, 0);
        let Some(port) = self.port(name) else { return };
        port.last_heard = Some(time);
        if port.hours.back().is_none_or(|hour| hour.begins != begins) {
            port.hours.push_back(Hour { begins, frames: 0, rejects: 0 });
            if port.hours.len() > HOURS {
                port.hours.pop_front();
            }
        }
        if let Some(hour) = port.hours.back_mut() {
            hour.frames += 1;
            hour.rejects += u32::from(rejected);
        }
    }

    fn take_reading(&mut self, seq: Seq, time: Timestamp, entry: &ReadingEntry) {
        if let Some(current) =
            self.current.as_mut().filter(|current| entry.job.as_ref() == Some(&current.job))
        {
            current.last_used = time;
        }
        let Some(waits_for) = waits_for(entry.job.as_ref(), None, &entry.reading) else { return };
        self.waiting.push_back(Waiting {
            seq,
            time,
            waits_for,
            instrument: entry.instrument.clone(),
            job: entry.job.clone(),
            reading: entry.reading.clone(),
        });
        if self.waiting.len() > WAITING {
            self.waiting.pop_front();
        }
    }

    fn take_note(&mut self, note: &NoteEntry) {
        if note.says != Says::Remark {
            // Where something is left to judge the next verdict follows at once.
            let derived = |judged: &Judged| {
                judged.verdict.basis.as_ref().is_some_and(|basis| basis.readings.contains(&note.about.0))
            };
            self.jobs.retain(|judged| !derived(judged));
        }
        let Some(at) = self.waiting.iter().position(|waiting| waiting.seq == note.about) else { return };
        match note.says {
            Says::Remark => {}
            Says::Void => {
                self.waiting.remove(at);
            }
            Says::Assign => {
                let waiting = &mut self.waiting[at];
                waiting.job = note.job.clone().or(waiting.job.take());
                match waits_for(waiting.job.as_ref(), note.eye, &waiting.reading) {
                    Some(next) => waiting.waits_for = next,
                    None => {
                        self.waiting.remove(at);
                    }
                }
            }
        }
    }
}

fn waits_for(job: Option<&JobNumber>, eye: Option<Eye>, reading: &Reading) -> Option<WaitsFor> {
    let no_lens = reading.right.is_none() && reading.left.is_none() && reading.unspecified.is_none();
    match job {
        // A fault code alone is no measurement.
        _ if no_lens => None,
        None => Some(WaitsFor::Job),
        Some(_) if reading.unspecified.is_some() && eye.is_none() => Some(WaitsFor::Eye),
        Some(_) => None,
    }
}
