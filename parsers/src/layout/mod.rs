//! The text format that says how an instrument writes its frames.

mod account;
mod built_in;
mod compile;
mod compile_field;
mod compile_line;
mod conflicts;
mod draft;
mod error;
mod field;
mod miss;
mod number;
mod program;
mod quantity;
mod run;
mod style;
mod text;

pub use crate::reject::Reject;
pub use account::{Account, Span, What};
pub use error::LayoutError;

use crate::frame::FrameSpec;
use crate::reading::Reading;
use std::sync::Arc;

/// A layout, compiled and ready to read frames.
#[derive(Debug)]
pub struct Layout {
    name: String,
    title: String,
    text: String,
    framing: FrameSpec,
    program: program::Program,
}

impl Layout {
    /// Compiles a layout. `origin` is the file or other place it came from, for messages.
    ///
    /// # Errors
    /// One message with origin, line, what is wrong and what was expected.
    pub fn from_toml(text: &str, origin: &str) -> Result<Self, LayoutError> {
        let compiled = compile::compile(text::Source { text, origin })?;
        Ok(Self {
            name: compiled.name,
            title: compiled.title,
            text: text.to_owned(),
            framing: compiled.framing,
            program: compiled.program,
        })
    }

    /// The built-in layout of this name.
    pub fn built_in(name: &str) -> Option<Arc<Self>> {
        built_in::ALL.iter().find(|layout| layout.name() == name).cloned()
    }

    /// Every built-in layout.
    pub fn built_in_all() -> Vec<Arc<Self>> {
        built_in::ALL.clone()
    }

    /// The name by which a station's settings choose it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it is, in one line for people.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The whole layout as it was given.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// How frames are told apart.
    pub fn framing(&self) -> &FrameSpec {
        &self.framing
    }

    /// What `frame` says, as sent.
    ///
    /// # Errors
    /// The first byte that was not as the layout says.
    pub fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
        run::run(&self.program, frame, &mut account::Silent)
            .map_err(|miss| miss.into_reject(&self.name, frame))
    }

    /// The same as [`Self::read`], and what became of every byte.
    pub fn account(&self, frame: &[u8]) -> Account {
        account::account(&self.program, &self.name, frame)
    }
}
