//! Parsers in Rust for what a layout cannot say.
//!
//! To add one: copy [`mask`], draw the wire format in its doc comment with an example that is a
//! test, register it in [`ALL`], and record frames under `fixtures/frames/NAME/`; the test suite
//! fails until they are there.

pub mod mask;

use crate::frame::FrameSpec;
use crate::reading::Reading;
use crate::reject::Reject;

/// A parser written in Rust.
pub trait FrameParser: Sync {
    /// The name by which a station's settings choose it.
    fn name(&self) -> &'static str;
    /// What it is, in one line for people.
    fn title(&self) -> &'static str;
    /// How frames are told apart.
    fn framing(&self) -> &FrameSpec;
    /// What `frame` says, as sent.
    ///
    /// # Errors
    /// The first byte that was not as expected.
    fn read(&self, frame: &[u8]) -> Result<Reading, Reject>;
}

/// Every native parser: one line registers one.
pub static ALL: &[&dyn FrameParser] = &[&mask::Mask];

/// The native parser of this name.
pub fn named(name: &str) -> Option<&'static dyn FrameParser> {
    ALL.iter().copied().find(|parser| parser.name() == name)
}
