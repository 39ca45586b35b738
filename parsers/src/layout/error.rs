//! Why a layout was refused.

use std::fmt;

/// Why a layout was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct LayoutError {
    /// The file or other place the layout came from.
    pub origin: String,
    /// Line of the layout, counted from 1.
    pub line: usize,
    /// What is wrong.
    pub wrong: String,
    /// What was expected.
    pub expected: String,
    /// The nearest right name, where one was misspelt.
    pub suggestion: Option<String>,
}

impl fmt::Display for LayoutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, line {}: {}; expected {}", self.origin, self.line, self.wrong, self.expected)?;
        match &self.suggestion {
            Some(name) => write!(f, "; did you mean {name:?}?"),
            None => Ok(()),
        }
    }
}
