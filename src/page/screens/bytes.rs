//! A frame's bytes, as text and as hexadecimal, with what each was taken for.

use super::language::Language;
use crate::parsers::layout::{Account, What};
use crate::parsers::notation;
use crate::parsers::reader::Reader;

/// Some bytes that were taken for one thing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// The first byte's place, counted from 0.
    pub at: usize,
    /// The bytes as text.
    pub text: String,
    /// The same in hexadecimal.
    pub hex: String,
    /// What they were taken for, in words.
    pub what: String,
    /// The class of its colour and line.
    pub class: &'static str,
}

/// What became of every byte of a frame, as far as the reader can say.
pub fn parts(say: &Language, reader: &Reader, frame: &[u8]) -> Vec<Part> {
    accounted(say, &reader.account(frame), frame)
}

/// The bytes alone.
pub fn plain(say: &Language, frame: &[u8]) -> Vec<Part> {
    vec![part(0, frame, say.bytes.to_owned(), "skipped")]
}

fn accounted(say: &Language, account: &Account, frame: &[u8]) -> Vec<Part> {
    let parts = account.spans.iter().filter_map(|span| {
        let bytes = frame.get(span.range.clone())?;
        let (what, class) = match &span.what {
            What::Field { name, absent: false } => (name.replace('_', " "), "field"),
            What::Field { name, absent: true } => {
                (format!("{}: {}", name.replace('_', " "), say.not_measured), "absent")
            }
            What::Tag => (say.part_tag.to_owned(), "tag"),
            What::Separator => (say.part_separator.to_owned(), "separator"),
            What::Literal => (say.part_literal.to_owned(), "literal"),
            What::Checksum => (say.part_checksum.to_owned(), "checksum"),
            What::Terminator => (say.part_terminator.to_owned(), "terminator"),
            What::Skipped { why } => (why.clone(), "skipped"),
            What::Unread { why } => (format!("{}: {why}", say.not_read), "unread"),
        };
        Some(part(span.range.start, bytes, what, class))
    });
    parts.collect()
}

fn part(at: usize, bytes: &[u8], what: String, class: &'static str) -> Part {
    let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    Part { at, text: notation::to_text(bytes), hex: hex.join(" "), what, class }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::tz::TimeZone;

    #[test]
    fn every_byte_stands_in_one_part() {
        let say = Language::new("en", TimeZone::UTC);
        let reader = Reader::named("tagged").unwrap();
        for frame in [&b"EYE=R S=-1.25 C=-0.50 A=91\r\n"[..], b"EYE=R S=-1.x5\r\n", b"\x02\xff"] {
            let parts = parts(&say, &reader, frame);
            let text: String = parts.iter().map(|part| part.text.as_str()).collect();
            assert_eq!(notation::from_text(&text).unwrap(), frame);
            let hex: Vec<&str> = parts.iter().flat_map(|part| part.hex.split(' ')).collect();
            assert_eq!(hex.len(), frame.len());
        }
        let axis = parts(&say, &reader, b"EYE=R S=-1.25 C=-0.50 A=91\r\n")
            .into_iter()
            .find(|part| part.text == "91");
        assert_eq!(axis.unwrap().class, "field");
    }
}
