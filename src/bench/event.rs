//! What can happen at a station.

use super::entry::{
    CheckpointEntry, GapEntry, HostEntry, InForceEntry, ManualEntry, NoteEntry, OverrideEntry, PersonEntry,
    PortEntry, Seq,
};
use crate::check::ReferenceLens;
use crate::order::Order;
use crate::parsers::frame::Frame;
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;

/// Something happened at the station.
#[derive(Debug, Clone)]
pub enum Event {
    /// The program started, with these texts in force.
    Started {
        /// Settings, layouts and rule set.
        texts: Vec<InForceEntry>,
    },
    /// The head of the chain is to be written down.
    Checkpoint(CheckpointEntry),
    /// The program stops in order.
    Stopped,
    /// A port was opened or lost.
    Port(PortEntry),
    /// The computer's clock jumped.
    ClockStepped {
        /// By how many seconds; positive is forward.
        seconds: f64,
    },
    /// A frame came in.
    Frame {
        /// From which instrument.
        instrument: String,
        /// The frame.
        frame: Frame,
    },
    /// A frame came in, and passed on to a host.
    Passed {
        /// From which instrument.
        instrument: String,
        /// The frame.
        frame: Frame,
        /// When, where it waited before it could be recorded.
        arrived: Option<Timestamp>,
    },
    /// A host said something to its instrument.
    Host(HostEntry),
    /// Bytes between an instrument and its host did not get where they should.
    Gap(GapEntry),
    /// A line came in from a barcode reader.
    Scanned {
        /// From which scanner.
        scanner: String,
        /// The line, without its terminator.
        line: Vec<u8>,
    },
    /// A job was chosen by hand.
    Chosen {
        /// The job.
        job: JobNumber,
        /// Who.
        by: String,
    },
    /// An order, or a revision of one, was taken in.
    Ordered {
        /// The order.
        order: Box<Order>,
        /// Where it came from, for people.
        source: String,
        /// Who entered it, where a person did.
        by: Option<String>,
        /// Names of fields that were left out.
        dropped: Vec<String>,
    },
    /// Something was said about an earlier entry, which the record must hold already.
    Noted(NoteEntry),
    /// A person signed in or out, or an account changed.
    Person(PersonEntry),
    /// A failed verdict was overridden, which the record must hold already.
    Overridden(OverrideEntry),
    /// A person read a lens by hand.
    Manual(Box<ManualEntry>),
    /// A manual reading is to be compared with what the instrument has measured meanwhile. The record
    /// must hold it already.
    CrossCheck {
        /// The manual reading.
        manual: Seq,
    },
    /// A reference lens, or a revision of one, was entered in the register.
    ReferenceLens {
        /// The lens.
        lens: Box<ReferenceLens>,
        /// Who.
        by: String,
    },
    /// A reading, which the record must hold already, was taken of a reference lens.
    Checked {
        /// The reading.
        reading: Seq,
        /// The reference lens.
        lens: JobNumber,
        /// Who says so.
        by: String,
    },
}
