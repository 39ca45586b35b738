//! What the record says as a whole: one function for each report, from records and filters to
//! numbers, text and plots, for paper, page and spreadsheet.
//!
//! - [`records`]: what a report rests on, gathered from the ledger
//! - [`document`]: sections, figures and entries; as HTML and as CSV
//! - [`agreement`](mod@agreement): two instruments or persons on the same lenses
//! - [`gauge`](mod@gauge): repeatability and reproducibility
//! - [`drift`](mod@drift): charts of checks with reference lenses
//! - [`capability`](mod@capability): how the process lies in its tolerances
//! - [`practice`](mod@practice): a person's hands, sitting by sitting
//! - [`pareto`](mod@pareto): what fails, and where decisions are close
//! - `values`: numbers of one reading that are compared

pub mod agreement;
pub mod capability;
pub mod document;
pub mod drift;
pub mod gauge;
mod html;
pub mod pareto;
pub mod practice;
pub mod records;
mod values;

pub use document::{Figure, Report, Section};
pub use html::LOOK;
pub use records::{Filters, Records, gather};

use crate::ledger::{LedgerError, Reader};

/// Confidence of every interval in a report.
pub const CONFIDENCE: f64 = 0.95;

/// Which report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Agreement of two instruments or persons.
    Agreement,
    /// Repeatability and reproducibility.
    Gauge,
    /// Drift of instruments.
    Drift,
    /// Capability of the process.
    Capability,
    /// A person's practice.
    Practice,
    /// What fails.
    Pareto,
}

impl Kind {
    /// Every report.
    pub const ALL: [Kind; 6] =
        [Kind::Agreement, Kind::Gauge, Kind::Drift, Kind::Capability, Kind::Practice, Kind::Pareto];

    /// Its name in commands and addresses.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Agreement => "agreement",
            Kind::Gauge => "gauge",
            Kind::Drift => "drift",
            Kind::Capability => "capability",
            Kind::Practice => "practice",
            Kind::Pareto => "pareto",
        }
    }
}

/// Gathers what a report needs from a ledger, and makes it. [`Filters::check`] comes first.
///
/// # Errors
/// When the ledger cannot be read. Too little data is no error: the report says so.
pub fn report(ledger: &Reader, kind: Kind, filters: &Filters) -> Result<Report, LedgerError> {
    let records = gather(ledger, kind, filters)?;
    let mut report = match kind {
        Kind::Agreement => agreement::agreement(&records, filters),
        Kind::Gauge => gauge::gauge(&records, filters),
        Kind::Drift => drift::drift(&records, filters),
        Kind::Capability => capability::capability(&records, filters),
        Kind::Practice => practice::practice(&records, filters),
        Kind::Pareto => pareto::pareto(&records, filters),
    };
    report.warnings.splice(0..0, records.unknown(kind, filters));
    Ok(report)
}
