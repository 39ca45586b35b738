//! Tickets: how a job came out, on paper that goes with it. Plain text and PDF, for any printer.
//!
//! - [`content`]: what stands on a ticket
//! - [`text`]: as plain text
//! - [`layout`], [`page`], [`font`], [`barcode`], [`pdf`]: as PDF
//! - [`queue`]: handing a file to a CUPS queue
//!
//! Everything but [`of`], [`of_job`] and [`queue`] is a function of what it is given.

pub mod barcode;
pub mod content;
pub mod font;
pub mod layout;
pub mod page;
pub mod pdf;
pub mod queue;
pub mod text;

pub use content::Ticket;

use crate::bench::entry::{Entry, Seq};
use crate::bench::view::JobView;
use crate::ledger::{LedgerError, Reader};
use crate::parsers::reading::JobNumber;
use jiff::tz::TimeZone;
use std::fmt;
use std::str::FromStr;

/// Why there is no ticket.
#[derive(Debug, thiserror::Error)]
pub enum TicketError {
    /// There is nothing of that job.
    #[error("there is no job {0} in the ledger")]
    NoJob(JobNumber),
    /// The job has no verdict, or none that counts any more.
    #[error("job {0} has no verdict that counts: it has to be measured, and needs an order")]
    NotJudged(JobNumber),
    /// The entry is something else.
    #[error("entry {0} is not a verdict")]
    NotAVerdict(Seq),
    /// The ledger cannot be read.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// It does not fit.
    #[error(
        "job {job} does not fit on {size} mm: it needs a height of {needs} mm at this width. Use a larger label, or a \
         width alone, such as 80, for as much paper as it needs"
    )]
    TooSmall {
        /// The job.
        job: JobNumber,
        /// The paper.
        size: Size,
        /// The height that would do, in millimetres.
        needs: u32,
    },
}

/// The size of the paper, in whole millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// 40 to 210.
    pub width_mm: u32,
    /// 15 to 500; nothing where the paper is cut where the ticket ends.
    pub height_mm: Option<u32>,
}

impl Default for Size {
    fn default() -> Self {
        Self { width_mm: 80, height_mm: None }
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.height_mm {
            Some(height) => write!(f, "{}x{height}", self.width_mm),
            None => write!(f, "{}", self.width_mm),
        }
    }
}

impl FromStr for Size {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let within =
            |text: &str, least, most| text.trim().parse().ok().filter(|mm: &u32| (least..=most).contains(mm));
        let (width, height) = match text.split_once(['x', 'X', '\u{d7}']) {
            Some((width, height)) => (width, Some(within(height, 15, 500))),
            None => (text, None),
        };
        match (within(width, 40, 210), height) {
            (Some(width_mm), None) => Ok(Self { width_mm, height_mm: None }),
            (Some(width_mm), Some(Some(height))) => Ok(Self { width_mm, height_mm: Some(height) }),
            _ => Err("expected a width from 40 to 210 mm, such as 80, or with a height from 15 to 500 mm, such as 62x29"
                .to_owned()),
        }
    }
}

/// The ticket of one verdict, as it stands now: a later override is on it.
///
/// # Errors
/// When there is no such verdict, or the ledger cannot be read.
pub fn of(record: &Reader, verdict: Seq, station: &str, timezone: &TimeZone) -> Result<Ticket, TicketError> {
    let numbered = record.entry(verdict)?.ok_or(TicketError::NotAVerdict(verdict))?;
    let Entry::Verdict(given) = &numbered.entry else { return Err(TicketError::NotAVerdict(verdict)) };
    let history = record.job_history(&given.job)?;
    Ok(Ticket::new(station, timezone, &numbered, given, &history))
}

/// The ticket of a job, by its verdict as it stands.
///
/// # Errors
/// When there is no such job, it has no verdict that counts, or the ledger cannot be read.
pub fn of_job(
    record: &Reader,
    job: &JobNumber,
    station: &str,
    timezone: &TimeZone,
) -> Result<Ticket, TicketError> {
    let view = JobView::of(record, job)?.ok_or_else(|| TicketError::NoJob(job.clone()))?;
    let verdict = view.verdict.ok_or_else(|| TicketError::NotJudged(job.clone()))?;
    of(record, verdict.seq, station, timezone)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_and_written() {
        for (text, size) in [("80", (80, None)), ("62x29", (62, Some(29))), ("100 X 150", (100, Some(150)))] {
            let (width_mm, height_mm) = size;
            assert_eq!(text.parse::<Size>(), Ok(Size { width_mm, height_mm }), "{text}");
        }
        for text in ["", "39", "62x", "x29", "62x29x3", "80mm", "62x14", "211", "-80", "62.5x29"] {
            assert!(text.parse::<Size>().is_err(), "{text}");
        }
        assert_eq!("62x29".parse::<Size>().unwrap().to_string(), "62x29");
    }
}
