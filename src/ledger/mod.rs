//! The record: an SQLite file of entries that are only ever added, chained by their hashes.
//!
//! - [`store`]: the one writer
//! - [`chain`]: the hashes; how an auditor computes them again
//! - [`project`]: the terms by which entries are found, written with them
//! - [`read`], [`search`], [`scan`]: reading, while others write
//! - `cursors`: how far feeds have come
//! - [`verify`](mod@verify): whether it is what was written
//! - [`rederive`](mod@rederive): whether the raw bytes still give the same readings and verdicts
//! - [`compare`](mod@compare): what past frames would say by another layout
//! - [`export`], [`backup`]: getting it out
//! - `schema.sql`, `projections.sql`, `cursors.sql`: the tables, and the views for auditors
//! - [`file`](mod@file), [`error`]: the file, its lock, and what can go wrong
//!
//! Nothing outside this module knows of SQL, and the core does not know of this module.

pub mod backup;
pub mod chain;
pub mod compare;
mod cursors;
pub mod error;
pub mod export;
pub mod file;
mod job;
mod past;
pub mod project;
pub mod read;
pub mod rederive;
pub mod scan;
pub mod search;
pub mod store;
pub mod verify;

pub use chain::{Hash, Head};
pub use compare::{Change, Compared, Otherwise, compare};
pub use error::LedgerError;
pub use export::{Format, Table};
pub use file::{beside, is_held};
pub use project::Field;
pub use read::{Reader, Stored};
pub use rederive::{Difference, Rederived, rederive};
pub use scan::Passing;
pub use search::{Hit, Query};
pub use store::Ledger;
pub use verify::{Finding, Problem, Verification, verify};
