//! The kinds of entries in the ledger and their payloads.
//!
//! A payload is JSON text, hashed exactly as written. The forms here are a contract: a ledger
//! written today is read for years. Fields are only ever added, and only as optional ones.

pub use super::checks::{
    Against, ChartKind, CrossCheckEntry, DriftEntry, InstrumentCheckEntry, ManualEntry, Purpose,
    ReferenceLensEntry, SittingStart,
};
pub use super::person::{OverrideEntry, PersonDid, PersonEntry, Role};
use crate::judge::verdict::Verdict;
use crate::order::Order;
use crate::parsers::frame::Ended;
use crate::parsers::layout::Reject;
use crate::parsers::notation;
use crate::parsers::reading::{Eye, JobNumber, Reading};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::fmt;

/// The number of an entry: 1 is the first, and there are no gaps.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seq(pub u64);

impl Seq {
    /// The number after this one.
    pub fn next(self) -> Seq {
        Seq(self.0 + 1)
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

/// SHA-256 of a text, in lower-case hexadecimal: the name of a settings file, layout or rule set.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct TextHash(pub String);

impl TextHash {
    /// The hash of `text`.
    pub fn of(text: &str) -> Self {
        use sha2::Digest;
        let digest = sha2::Sha256::digest(text.as_bytes());
        Self(digest.iter().map(|byte| format!("{byte:02x}")).collect())
    }
}

impl fmt::Display for TextHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// An entry with its number and the time of the event that caused it.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbered {
    /// Its number.
    pub seq: Seq,
    /// The time of the event, UTC.
    pub time: Timestamp,
    /// What is recorded.
    pub entry: Entry,
}

macro_rules! entries {
    ($($(#[$doc:meta])* $variant:ident($payload:ty) = $kind:literal,)*) => {
        /// One thing to record.
        #[derive(Debug, Clone, PartialEq)]
        pub enum Entry {
            $($(#[$doc])* $variant($payload),)*
        }

        impl Entry {
            /// Every kind, as the ledger writes it.
            pub const KINDS: &'static [&'static str] = &[$($kind),*];

            /// The kind, as the ledger writes it.
            pub fn kind(&self) -> &'static str {
                match self {
                    $(Entry::$variant(_) => $kind,)*
                }
            }

            /// The payload as JSON text, exactly as it is hashed.
            pub fn payload(&self) -> String {
                match self {
                    $(Entry::$variant(payload) => serde_json::to_string(payload),)*
                }
                .expect("payloads hold only text keys and finite decimals")
            }

            /// The entry of this kind with this payload.
            ///
            /// # Errors
            /// When the kind is unknown or the payload is not of its form.
            pub fn from_payload(kind: &str, payload: &str) -> Result<Entry, NotAnEntry> {
                match kind {
                    $($kind => serde_json::from_str(payload).map(Entry::$variant),)*
                    _ => return Err(NotAnEntry::UnknownKind(kind.to_owned())),
                }
                .map_err(|why| NotAnEntry::Payload { kind: kind.to_owned(), why: why.to_string() })
            }
        }
    };
}

entries! {
    /// What came in on a port, as it came.
    Frame(FrameEntry) = "frame",
    /// What one frame says was measured.
    Reading(Box<ReadingEntry>) = "reading",
    /// One revision of an order.
    Order(Box<OrderEntry>) = "order",
    /// A job judged.
    Verdict(Box<Verdict>) = "verdict",
    /// A job chosen at the station.
    Job(JobEntry) = "job",
    /// Something said about an earlier entry.
    Note(NoteEntry) = "note",
    /// A port opened or lost.
    Port(PortEntry) = "port",
    /// The computer's clock jumped.
    Clock(ClockEntry) = "clock",
    /// A text in force from here on: settings, layout, rule set.
    InForce(InForceEntry) = "in-force",
    /// The program started or stopped.
    Software(SoftwareEntry) = "software",
    /// The head of the chain, written where it can be compared later.
    Checkpoint(CheckpointEntry) = "checkpoint",
    /// A person signed in or out, or an account changed.
    Person(PersonEntry) = "person",
    /// A failed verdict overridden by a person who answers for it.
    Override(OverrideEntry) = "override",
    /// A person's reading of a lens.
    Manual(Box<ManualEntry>) = "manual",
    /// A manual reading compared with the instrument's.
    CrossCheck(Box<CrossCheckEntry>) = "cross-check",
    /// One revision of a reference lens.
    ReferenceLens(Box<ReferenceLensEntry>) = "reference-lens",
    /// An instrument checked against a reference lens.
    InstrumentCheck(Box<InstrumentCheckEntry>) = "instrument-check",
    /// A rule of a chart of checks fired.
    Drift(Box<DriftEntry>) = "drift",
    /// What a host said to its instrument.
    Host(HostEntry) = "host",
    /// Bytes between an instrument and its host that did not get where they should.
    Gap(GapEntry) = "gap",
}

/// Why a row of the ledger is not an entry that this version knows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAnEntry {
    /// The kind is not known.
    #[error("entries of kind {0:?} are not known to this version")]
    UnknownKind(String),
    /// The payload does not have the form of its kind.
    #[error("the payload is not that of a {kind} entry: {why}")]
    Payload {
        /// The kind.
        kind: String,
        /// What is wrong with it.
        why: String,
    },
}

/// What came in on an instrument's port. The bytes of all frame entries of one instrument, in
/// order, are exactly what arrived.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameEntry {
    /// The instrument's name in the settings.
    pub instrument: String,
    /// The bytes, in [`notation`] text.
    #[serde(with = "as_notation")]
    pub bytes: Vec<u8>,
    /// How the frame ended.
    pub ended: Ended,
    /// The hash of the layout that read it, as in the `in-force` entry.
    pub layout: TextHash,
    /// Why it gave no reading.
    pub reject: Option<Reject>,
    /// When it came in, where it waited before it could be recorded.
    pub arrived: Option<Timestamp>,
}

/// What a host said to its instrument, through this station. The bytes of all these entries of one
/// instrument, in order, are exactly what came from its host, but for gaps.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HostEntry {
    /// The instrument's name in the settings.
    pub instrument: String,
    /// The bytes, in [`notation`] text.
    #[serde(with = "as_notation")]
    pub bytes: Vec<u8>,
    /// The instrument's port was not open: nobody heard it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub undelivered: bool,
    /// When it came in, where it waited before it could be recorded.
    pub arrived: Option<Timestamp>,
}

/// Bytes between an instrument and its host that did not get where they should.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GapEntry {
    /// The instrument's name in the settings.
    pub instrument: String,
    /// Who sent them.
    pub of: Sender,
    /// Where they are missing.
    pub gap: Gap,
    /// How many.
    pub bytes: u64,
    /// When the first of them came in.
    pub since: Timestamp,
    /// When the last of them did.
    pub until: Timestamp,
}

/// Who sent what passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sender {
    /// The instrument.
    Instrument,
    /// Its host.
    Host,
}

impl fmt::Display for Sender {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Sender::Instrument => "instrument",
            Sender::Host => "host",
        })
    }
}

/// Where bytes are missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gap {
    /// They passed on and are not in the ledger.
    NotCaptured,
    /// They are in the ledger and were not passed on: the other side did not take them.
    NotPassedOn,
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Gap::NotCaptured => "not recorded",
            Gap::NotPassedOn => "not passed on",
        })
    }
}

mod as_notation {
    use super::notation;
    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&notation::to_text(bytes))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<u8>, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        notation::from_text(&text).map_err(serde::de::Error::custom)
    }
}

/// Why a reading belongs to its job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum JobFrom {
    /// The frame named it.
    Frame,
    /// It was the job scanned or chosen at the station.
    Station,
    /// It belongs to no job yet.
    Nobody,
}

/// What one frame says was measured, in normal form.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingEntry {
    /// The frame it was read from.
    pub frame: Seq,
    /// The instrument that sent it.
    pub instrument: String,
    /// The job it belongs to, if any.
    pub job: Option<JobNumber>,
    /// How that was known.
    pub job_from: JobFrom,
    /// What was measured.
    pub reading: Reading,
}

/// One revision of an order.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderEntry {
    /// 1 for the first order of a job, then counting up.
    pub revision: u32,
    /// Where it came from, for people: a file name and line, or `by hand`.
    pub source: String,
    /// Who entered it, where a person did.
    pub by: Option<String>,
    /// What the order file carried beyond the order and was left out: names of fields, no values.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub dropped: Vec<String>,
    /// The order as it stands from here on.
    pub order: Order,
}

/// A job chosen at the station.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobEntry {
    /// The job; absent when what was scanned is not a job number.
    pub job: Option<JobNumber>,
    /// The scanner's name, or the person's.
    pub by: String,
    /// Whether a person chose it, not a scanner.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_hand: bool,
    /// What was scanned, in [`notation`] text, where it is not the job number itself.
    pub scanned: Option<String>,
}

/// Who says so: entries without sign-in say `not signed in`.
pub const NOT_SIGNED_IN: &str = "not signed in";

/// Something said about an earlier entry. Nothing is edited: this is how things are corrected.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteEntry {
    /// The entry it is about.
    pub about: Seq,
    /// What is said.
    pub says: Says,
    /// Why.
    pub reason: String,
    /// Who.
    pub by: String,
    /// The job concerned, after this note.
    pub job: Option<JobNumber>,
    /// For which eye an unspecified lens is, where an assignment says so.
    pub eye: Option<Eye>,
    /// The job that the reading belonged to before.
    pub job_before: Option<JobNumber>,
}

/// What a note says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Says {
    /// The reading does not count.
    Void,
    /// The reading belongs to this job, and to this eye where it is named.
    Assign,
    /// Only a remark.
    Remark,
}

/// A port opened or lost.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PortEntry {
    /// The instrument's or scanner's name in the settings.
    pub name: String,
    /// Where it is: a device path, an address on the network, a link.
    pub device: String,
    /// What happened.
    pub state: PortState,
    /// Why, in words, when it was lost or could not be opened.
    pub why: Option<String>,
}

/// What happened to a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PortState {
    /// It is open and read.
    Opened,
    /// It was open and is not any more.
    Lost,
    /// It could not be opened.
    Unavailable,
    /// It was closed at shutdown.
    Closed,
    /// It is open, but the instrument does not answer when it is asked.
    Silent,
    /// The instrument answers again.
    Answering,
}

impl fmt::Display for PortState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            PortState::Opened => "open",
            PortState::Lost => "lost",
            PortState::Unavailable => "not available",
            PortState::Closed => "closed",
            PortState::Silent => "open, no answer",
            PortState::Answering => "open",
        })
    }
}

/// The computer's clock jumped against its steady one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockEntry {
    /// By how many seconds; positive is forward.
    pub step_seconds: f64,
}

/// A text in force from here on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InForceEntry {
    /// What it is.
    pub what: InForce,
    /// Its name: a layout's or rule set's name, or the settings file's.
    pub name: String,
    /// SHA-256 of `text`.
    pub hash: TextHash,
    /// The whole text.
    pub text: String,
}

/// What a text in force is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum InForce {
    /// The station's settings.
    Settings,
    /// A layout, or a native parser's name and version.
    Layout,
    /// A rule set.
    Rules,
    /// Limits for checks and cross-checks.
    Limits,
}

/// The program started or stopped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SoftwareEntry {
    /// The program's version.
    pub version: String,
    /// What it did.
    pub state: SoftwareState,
}

/// What the program did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SoftwareState {
    /// It started.
    Started,
    /// It stopped in order. A start without a stop before it followed a crash or a power cut.
    Stopped,
}

/// The head of the chain just before this entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckpointEntry {
    /// How many entries stood before this one.
    pub entries: u64,
    /// The hash of the last of them, in hexadecimal.
    pub head: String,
}
