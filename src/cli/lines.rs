//! Committed entries as lines for a person: the words of every command that shows a station live.

use super::account::{ROW, picture};
use super::{ledger, plain, show, words};
use crate::bench::entry::{Entry, JobFrom, Numbered, PortState};
use crate::parsers::frame::Ended;
use crate::parsers::reader::Reader;
use crate::station::settings::Settings;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

/// How many bytes of a frame that was not read are shown.
const PICTURED: usize = 210;
/// What stands under the time where an entry needs more than one line.
pub(super) const MARGIN: &str = "          ";

/// How entries of a station are put into words.
pub(super) struct Lines {
    timezone: TimeZone,
    readers: BTreeMap<String, Reader>,
    /// How wide a line may be, where that is known.
    width: Option<usize>,
}

impl Lines {
    pub(super) fn new(settings: &Settings, timezone: TimeZone) -> Self {
        let reader = |instrument: &crate::station::settings::Instrument| {
            (instrument.name.clone(), instrument.reader.clone())
        };
        Self { timezone, readers: settings.instruments.iter().map(reader).collect(), width: None }
    }

    /// Draws bytes no wider than this from here on.
    pub(super) fn set_width(&mut self, width: Option<usize>) {
        self.width = width;
    }

    pub(super) fn time(&self, time: jiff::Timestamp) -> String {
        time.to_zoned_datetime(self.timezone.clone()).strftime("%H:%M:%S").to_string()
    }

    /// An entry in a line or more, with styles, without the last line's end; nothing for what a
    /// person at the bench need not see. `beside` holds the entries that were committed with it.
    pub(super) fn of(&self, numbered: &Numbered, beside: &[Numbered]) -> Option<String> {
        let entry = plain::entry(&numbered.entry);
        let said = match entry.as_ref() {
            Entry::Verdict(verdict) => return Some(show::line(&self.time(numbered.time), verdict)),
            Entry::Reading(reading) => {
                if beside.iter().any(|other| other.time == numbered.time && explains(other, numbered)) {
                    return None;
                }
                match (&reading.job, reading.job_from) {
                    (Some(job), _) if reading.reading.unspecified.is_some() => {
                        format!("job {job:<10} reading {} does not say which eye it is for", numbered.seq)
                    }
                    (Some(job), _) => format!("job {job:<10} measured; not judged: no order for this job"),
                    (None, JobFrom::Nobody | JobFrom::Station | JobFrom::Frame) => {
                        format!("reading {} belongs to no job: scan a job before measuring", numbered.seq)
                    }
                }
            }
            Entry::Frame(frame) => {
                let reject = frame.reject.as_ref()?;
                let whole = frame.ended == Ended::Complete;
                let reader = self.readers.get(&frame.instrument).filter(|_| whole);
                let spans = reader.map(|reader| reader.account(&frame.bytes).spans).unwrap_or_default();
                // The ledger has the whole of what is too long for a screen.
                let shown = &frame.bytes[..frame.bytes.len().min(PICTURED)];
                // Rows of whole tens, as the ruler counts.
                let room = self.width.map_or(ROW, |width| width.saturating_sub(MARGIN.len()) / 10 * 10);
                let row = room.clamp(10, ROW);
                let wrong = whole.then_some(reject.offset);
                format!(
                    "{}: frame {} not read: {reject}\n{}",
                    frame.instrument,
                    numbered.seq,
                    picture(shown, &spans, wrong, MARGIN, row).trim_end_matches('\n')
                )
            }
            Entry::Port(port) => {
                let why = port.why.as_deref().unwrap_or_default();
                match port.state {
                    PortState::Opened => format!("{}: port open", port.name),
                    PortState::Closed => format!("{}: port closed", port.name),
                    PortState::Lost => format!("{}: PORT LOST: {why}", port.name),
                    PortState::Unavailable => format!("{}: no port: {why}", port.name),
                    PortState::Silent => format!("{}: NO ANSWER: {why}", port.name),
                    PortState::Answering => format!("{}: answers again", port.name),
                }
            }
            Entry::Job(job) => match (&job.job, &job.scanned) {
                (Some(number), _) => format!("job {number:<10} chosen ({})", job.by),
                (None, scanned) => format!(
                    "{}: {:?} is not a job number; the job chosen before still holds",
                    job.by,
                    scanned.as_deref().unwrap_or_default()
                ),
            },
            Entry::Order(order) => {
                format!("job {:<10} order, revision {} ({})", order.order.job, order.revision, order.source)
            }
            Entry::Manual(manual) => words::manual(manual),
            Entry::CrossCheck(check) => words::cross_check(check),
            Entry::InstrumentCheck(check) => format!("CHECK {}", words::instrument_check(check)),
            Entry::ReferenceLens(entry) => words::reference_lens(entry),
            Entry::Drift(drift) => format!("DRIFT {}", words::drift(drift)),
            Entry::Gap(gap) => format!("GAP {}", words::gap(gap)),
            said @ (Entry::Note(_) | Entry::Override(_) | Entry::Clock(_)) => ledger::summary(said),
            Entry::Host(_)
            | Entry::InForce(_)
            | Entry::Software(_)
            | Entry::Checkpoint(_)
            | Entry::Person(_) => return None,
        };
        Some(format!("{}  {said}", self.time(numbered.time)))
    }

    /// The same, also for what a person at the bench need not see: who asks for it is told.
    pub(super) fn always(&self, numbered: &Numbered, beside: &[Numbered]) -> String {
        self.of(numbered, beside).unwrap_or_else(|| {
            let said = ledger::summary(&plain::entry(&numbered.entry));
            format!("{}  {} {} {said}", self.time(numbered.time), numbered.entry.kind(), numbered.seq)
        })
    }
}

/// Whether what became of a reading is said by another entry.
fn explains(other: &Numbered, reading: &Numbered) -> bool {
    match &other.entry {
        Entry::Verdict(verdict) => {
            verdict.basis.as_ref().is_some_and(|basis| basis.readings.contains(&reading.seq.0))
        }
        Entry::InstrumentCheck(check) => check.reading == reading.seq,
        _ => false,
    }
}
