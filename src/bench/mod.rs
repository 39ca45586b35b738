//! The core: what a station knows, and what it makes of each event.
//!
//! Deterministic: no I/O, no clock, no randomness. The time comes in with the event, and what
//! comes out are [`entry::Entry`]s for the ledger.

pub mod entry;
