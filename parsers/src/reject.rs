//! Why a frame was not read.

use crate::notation;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::fmt;

/// Why a frame was not read: the first thing in it that was not as expected.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reject {
    /// Name of the layout or parser that refused the frame.
    pub layout: String,
    /// The field, such as `right sphere`, where it is about one.
    pub field: Option<String>,
    /// Offset of the offending byte in the frame, counted from 0.
    pub offset: usize,
    /// What was expected there.
    pub expected: String,
    /// What stood there, in the [`notation`]; empty at the frame's end.
    pub found: String,
}

impl Reject {
    /// How many bytes of what was found are quoted.
    const QUOTED: usize = 24;

    /// A reject of `frame` at `offset`, quoting what stands there.
    pub fn at(
        frame: &[u8],
        offset: usize,
        layout: &str,
        field: Option<String>,
        expected: impl Into<String>,
    ) -> Self {
        let rest = frame.get(offset..).unwrap_or_default();
        let quoted = &rest[..rest.len().min(Self::QUOTED)];
        Self {
            layout: layout.to_owned(),
            field,
            offset,
            expected: expected.into(),
            found: notation::to_text(quoted),
        }
    }
}

impl fmt::Display for Reject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "layout {}", self.layout)?;
        if let Some(field) = &self.field {
            write!(f, ", field {field}")?;
        }
        write!(f, ", byte {}: expected {}, found ", self.offset, self.expected)?;
        if self.found.is_empty() { f.write_str("the end of the frame") } else { f.write_str(&self.found) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reject_says_layout_field_byte_expected_and_found() {
        let reject = Reject::at(b"S=1x\r", 3, "tagged", Some("sphere".into()), "a digit");
        assert_eq!(reject.to_string(), "layout tagged, field sphere, byte 3: expected a digit, found x<CR>");
        let end = Reject::at(b"S=", 2, "tagged", None, "a digit");
        assert_eq!(end.to_string(), "layout tagged, byte 2: expected a digit, found the end of the frame");
    }
}
