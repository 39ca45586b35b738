//! fociline: from an instrument's bytes to a verdict that is on record.
//!
//! Read the modules in the order in which data passes through them:
//!
//! - [`parsers`]: bytes to frames to readings (a crate of its own, no I/O)
//! - [`optics`]: forms of one lens, power vectors, prism; pure
//! - [`order`]: what was asked of the lab, and its intake formats
//! - [`judge`]: rule sets as data, deviations, limits, verdicts; pure
//! - [`check`]: readings held against reference lenses and manual readings; pure
//! - [`evidence`]: what many readings say together: agreement, repeatability, drift; pure
//! - [`mod@bench`]: the core: `step(event, time) -> entries`; deterministic, no I/O, no clock
//! - [`ledger`]: SQLite: the entries, their hash chain, projections and views
//! - [`ticket`]: how one job came out, on paper: text and PDF
//! - [`report`]: what the record says as a whole, as HTML and CSV
//! - [`station`]: the shell: ports, scanners, intake folders, shutdown, settings
//! - [`bridge`]: feeds of committed entries to other programs, beside the station
//! - [`page`]: the web page and the HTTP API, beside the station
//! - [`cli`], the commands
#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub use fociline_parsers as parsers;

pub mod bench;
pub mod bridge;
pub mod check;
pub mod cli;
pub mod evidence;
pub mod judge;
pub mod ledger;
pub mod optics;
pub mod order;
pub mod page;
pub mod report;
pub mod station;
pub mod ticket;
