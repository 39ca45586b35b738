//! How bytes are written as text, in layouts and in the ledger.
//!
//! Printable ASCII stands for itself, control bytes are written by their ASCII names
//! (`<CR>`, `<STX>`), and every other byte, as well as `<` itself, as two hex digits (`<3C>`).
//! Form feed is `<0C>`, because `<FF>` is byte 255.
//! The notation loses nothing: every byte string has exactly one text that [`to_text`] gives,
//! and [`from_text`] gives the bytes back.
//!
//! ```
//! use fociline_parsers::notation::{from_text, to_text};
//! assert_eq!(to_text(b"\x02S<1\xb0\r\n"), "<STX>S<3C>1<B0><CR><LF>");
//! assert_eq!(from_text("<STX>S<3C>1<B0><CR><LF>").unwrap(), b"\x02S<1\xb0\r\n");
//! ```

use std::borrow::Cow;

/// Names of the control bytes 0 to 31 (ISO 646, ANSI X3.4), in order; form feed has none here.
const CONTROLS: [&str; 32] = [
    "NUL", "SOH", "STX", "ETX", "EOT", "ENQ", "ACK", "BEL", "BS", "HT", "LF", "VT", "0C", "CR", "SO", "SI",
    "DLE", "DC1", "DC2", "DC3", "DC4", "NAK", "SYN", "ETB", "CAN", "EM", "SUB", "ESC", "FS", "GS", "RS",
    "US",
];

/// Why a text is not in the notation.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "at character {at}: {found:?} stands for no byte; expected printable ASCII, a control name such as <CR>, or two hex digits such as <3C>"
)]
pub struct NotationError {
    /// Offset in bytes of the text at which it goes wrong.
    pub at: usize,
    /// What stands there.
    pub found: String,
}

/// Whether a terminal or printer may act on a character instead of showing it: Unicode's control
/// characters (category Cc), line and paragraph separators, and bidirectional controls (UAX #9).
pub fn acts(char: char) -> bool {
    char.is_control()
        || matches!(char, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The name of a character that [`acts`]: `<ESC>`, or `<U+202E>`.
pub fn name(char: char) -> String {
    match u8::try_from(char) {
        Ok(byte) if byte.is_ascii() => to_text(&[byte]),
        _ => format!("<U+{:04X}>", u32::from(char)),
    }
}

/// A text with every character that [`acts`] by its name. Unlike [`to_text`], for showing only.
pub fn shown(text: &str) -> Cow<'_, str> {
    replaced(text, name)
}

/// A text with every character that [`acts`] replaced.
pub fn replaced(text: &str, by: fn(char) -> String) -> Cow<'_, str> {
    if !text.contains(acts) {
        return Cow::Borrowed(text);
    }
    let replace = |char: char| if acts(char) { by(char) } else { char.to_string() };
    Cow::Owned(text.chars().map(replace).collect())
}

/// The text for `bytes`.
pub fn to_text(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len() + 8);
    for &byte in bytes {
        match byte {
            b'<' => text.push_str("<3C>"),
            b' '..=b'~' => text.push(char::from(byte)),
            0x7f => text.push_str("<DEL>"),
            0..=0x1f => {
                text.push('<');
                text.push_str(CONTROLS[usize::from(byte)]);
                text.push('>');
            }
            _ => {
                const HEX: &[u8; 16] = b"0123456789ABCDEF";
                text.push('<');
                text.push(char::from(HEX[usize::from(byte >> 4)]));
                text.push(char::from(HEX[usize::from(byte & 15)]));
                text.push('>');
            }
        }
    }
    text
}

/// The bytes that `text` stands for. Names and hex digits may be in either case.
///
/// # Errors
/// Where a character is not printable ASCII, or `<...>` names no byte.
pub fn from_text(text: &str) -> Result<Vec<u8>, NotationError> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut at = 0;
    while let Some(next) = text[at..].chars().next() {
        match next {
            '<' => {
                let close = text[at..].find('>').map(|length| at + length);
                let byte = close.and_then(|close| named(&text[at + 1..close]));
                let (Some(close), Some(byte)) = (close, byte) else {
                    let found =
                        text[at..close.map_or(text.len(), |close| close + 1)].chars().take(12).collect();
                    return Err(NotationError { at, found });
                };
                bytes.push(byte);
                at = close + 1;
            }
            ' '..='~' => {
                bytes.push(next as u8);
                at += 1;
            }
            _ => return Err(NotationError { at, found: next.to_string() }),
        }
    }
    Ok(bytes)
}

fn named(name: &str) -> Option<u8> {
    if name.eq_ignore_ascii_case("DEL") {
        return Some(0x7f);
    }
    if let Some(control) = CONTROLS.iter().position(|control| control.eq_ignore_ascii_case(name)) {
        return u8::try_from(control).ok();
    }
    let hex = name.len() == 2 && name.bytes().all(|byte| byte.is_ascii_hexdigit());
    hex.then(|| u8::from_str_radix(name, 16).ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn form_feed_and_byte_255_are_told_apart() {
        // "FF" is the only text that could be both a control name and two hex digits.
        assert_eq!(from_text("<FF>").unwrap(), [0xff]);
        assert_eq!(to_text(&[0x0c, 0xff, 0x7f, 0x02]), "<0C><FF><DEL><STX>");
    }

    #[test]
    fn what_stands_for_no_byte_is_named_with_its_place() {
        assert_eq!(from_text("ab<XY>"), Err(NotationError { at: 2, found: "<XY>".into() }));
        assert_eq!(from_text("a<CR"), Err(NotationError { at: 1, found: "<CR".into() }));
        assert_eq!(from_text("1\u{b0}"), Err(NotationError { at: 1, found: "\u{b0}".into() }));
        assert_eq!(from_text("\n").unwrap_err().at, 0);
        assert_eq!(from_text("<+1>").unwrap_err().at, 0);
    }

    proptest! {
        #[test]
        fn every_byte_string_survives(bytes: Vec<u8>) {
            prop_assert_eq!(from_text(&to_text(&bytes)).unwrap(), bytes);
        }

        #[test]
        fn no_text_panics(text: String) {
            let _ = from_text(&text);
        }
    }
}
