//! Readings held against something known: reference lenses and other people's eyes. Pure.
//!
//! - [`limits`]: what a check allows, as data
//! - [`reference`](mod@reference): reference lenses, and an instrument checked against one
//! - [`manual`]: what a person reads off a focimeter, and the lens it means
//! - [`difference`]: how far two readings of one lens lie apart
//! - [`crosscheck`]: whether they agree, and if not, what most likely happened

pub mod crosscheck;
pub mod difference;
pub mod limits;
pub mod manual;
pub mod reference;

pub use crosscheck::{Comparison, compare};
pub use limits::Limits;
pub use manual::AsRead;
pub use reference::ReferenceLens;

/// Numbers as their digits, where they need not be there.
mod digits {
    pub use rust_decimal::serde::arbitrary_precision_option as optional;
}
