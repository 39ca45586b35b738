//! What a frame failed on: cheap to make, put into words only when it is told.

use super::quantity::Quantity;
use crate::checksum::{Algorithm, Written};
use crate::notation::to_text;
use crate::reject::Reject;
use nom::Offset;
use nom::error::{ErrorKind, ParseError};
use std::fmt;

/// Where a frame failed, and on what. Both point into the frame and the compiled layout.
#[derive(Debug, Clone)]
pub(super) struct Miss<'a> {
    /// The rest of some part of the frame: it begins at the offending byte.
    pub at: &'a [u8],
    pub field: Option<&'a str>,
    pub expected: Expected<'a>,
}

/// What a parser of this crate gives: the value and the rest, or the miss.
pub(super) type Parsed<'a, T> = Result<(&'a [u8], T), nom::Err<Miss<'a>>>;

impl<'a> Miss<'a> {
    pub fn new(at: &'a [u8], expected: Expected<'a>) -> Self {
        Self { at, field: None, expected }
    }

    /// The same, about `field`, unless it is already about one.
    pub fn in_field(mut self, field: &'a str) -> Self {
        self.field.get_or_insert(field);
        self
    }

    /// The reject that `frame` gets.
    pub fn into_reject(self, layout: &str, frame: &[u8]) -> Reject {
        let field = self.field.map(str::to_owned);
        Reject::at(frame, frame.offset(self.at), layout, field, self.expected.to_string())
    }
}

impl<'a> From<nom::Err<Miss<'a>>> for Miss<'a> {
    fn from(error: nom::Err<Self>) -> Self {
        match error {
            nom::Err::Error(miss) | nom::Err::Failure(miss) => miss,
            // Only streaming parsers ask for more, and none is used: frames are whole.
            nom::Err::Incomplete(_) => Self::new(&[], Expected::Words("more bytes")),
        }
    }
}

impl<'a> ParseError<&'a [u8]> for Miss<'a> {
    fn from_error_kind(at: &'a [u8], _: ErrorKind) -> Self {
        Self::new(at, Expected::Words("something else"))
    }

    fn append(_: &'a [u8], _: ErrorKind, other: Self) -> Self {
        other
    }
}

/// What was expected.
#[derive(Debug, Clone)]
pub(super) enum Expected<'a> {
    Words(&'static str),
    Bytes(&'a [u8]),
    AnyOf(Vec<&'a [u8]>),
    Digits(u8),
    Field(&'a str),
    Once(&'a str),
    Line(&'a str),
    EndAfter(&'a str),
    Columns(usize),
    Length(usize),
    Within(Quantity),
    Checksum(Written, Algorithm, u16),
}

impl fmt::Display for Expected<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Words(words) => f.write_str(words),
            Self::Bytes(bytes) => f.write_str(&quoted(bytes)),
            Self::AnyOf(list) => match list.as_slice() {
                [one] => f.write_str(&quoted(one)),
                list => {
                    let list: Vec<String> = list.iter().map(|bytes| quoted(bytes)).collect();
                    write!(f, "one of {}", list.join(", "))
                }
            },
            Self::Digits(1) => f.write_str("1 digit"),
            Self::Digits(count) => write!(f, "{count} digits"),
            Self::Field(name) => write!(f, "the field {name}"),
            Self::Once(name) => write!(f, "{name} only once"),
            Self::Line(name) => f.write_str(name),
            Self::EndAfter(what) => write!(f, "the end of the line after {what}"),
            Self::Columns(count) => write!(f, "a line of {count} bytes"),
            Self::Length(count) => write!(f, "a frame of {count} bytes"),
            Self::Within(quantity) => {
                let (least, most) = quantity.range();
                write!(f, "{} from {least} to {most} {}", quantity.name(), quantity.units()[0].0)
            }
            Self::Checksum(written, algorithm, sum) => f.write_str(&written.show(*algorithm, *sum)),
        }
    }
}

fn quoted(bytes: &[u8]) -> String {
    if bytes.is_empty() { "blanks".to_owned() } else { format!("{:?}", to_text(bytes)) }
}
