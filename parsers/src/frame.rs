//! Cuts a byte stream into frames; no byte is ever lost.

mod framer;
mod spec;

pub use framer::{Ended, Frame, Framer};
pub use spec::{End, FrameSpec};
