//! From bytes to readings, without I/O.
//!
//! Read the modules in the order in which a byte passes through them:
//!
//! - [`notation`]: how bytes are written as text, in layouts and in the ledger
//! - [`frame`]: cuts a byte stream into frames; no byte is ever lost
//! - [`checksum`]: evidence that a frame arrived whole
//! - [`layout`]: the text format that says how an instrument writes its frames
//! - [`native`]: parsers in Rust for what a layout cannot say
//! - [`learn`]: proposes a layout from captures and what the instrument's display showed
//! - [`reader`]: a layout or a native parser, by its name
//! - [`talk`]: what is said back to an instrument that wants it
//! - [`reject`]: why a frame was not read
//! - [`units`]: exact quantities
//! - [`reading`]: the one model that every instrument's frame becomes
#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod checksum;
pub mod frame;
pub mod layout;
pub mod learn;
pub mod native;
pub mod notation;
pub mod reader;
pub mod reading;
pub mod reject;
pub mod talk;
pub mod units;
