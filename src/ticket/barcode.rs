//! A job number as Code 128 (ISO/IEC 15417), so that the ticket can be scanned again.

use barcoders::sym::code128::Code128;

/// The quiet zone on either side, in modules (ISO/IEC 15417, 4.3.5).
pub const QUIET: usize = 10;

/// How the encoder is told of its code sets.
const SET_B: char = '\u{181}';
const SET_C: char = '\u{106}';
/// From so many digits on, two of them in one symbol take less room (ISO/IEC 15417, annex E).
const DIGITS: usize = 4;

/// The modules of a text, true for a bar, without quiet zones; nothing where it is not printable
/// ASCII, which Code 128 has no other characters than.
pub fn modules(text: &str) -> Option<Vec<bool>> {
    if text.is_empty() || !text.bytes().all(|byte| matches!(byte, b' '..=b'~')) {
        return None;
    }
    let modules = Code128::new(in_sets(text)).ok()?.encode();
    Some(modules.into_iter().map(|module| module == 1).collect())
}

fn in_sets(text: &str) -> String {
    let mut told = String::with_capacity(text.len() + 4);
    let mut set = None;
    let mut rest = text;
    let mut put = |told: &mut String, wanted: char, part: &str| {
        if set != Some(wanted) {
            told.push(wanted);
            set = Some(wanted);
        }
        told.push_str(part);
    };
    while !rest.is_empty() {
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        if digits >= DIGITS {
            let (odd, even) = (digits % 2, digits - digits % 2);
            if odd == 1 {
                put(&mut told, SET_B, &rest[..1]);
            }
            put(&mut told, SET_C, &rest[odd..odd + even]);
            rest = &rest[odd + even..];
        } else {
            let other = digits.max(1);
            put(&mut told, SET_B, &rest[..other]);
            rest = &rest[other..];
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_go_two_by_two() {
        assert_eq!(in_sets("4471"), "\u{106}4471");
        assert_eq!(in_sets("44712"), "\u{181}4\u{106}4712");
        assert_eq!(in_sets("TL-12-004471b"), "\u{181}TL-12-\u{106}004471\u{181}b");
        // Start, two pairs, check symbol of 11 modules each, and the stop of 13.
        assert_eq!(modules("4471").unwrap().len(), 4 * 11 + 13);
        assert_eq!(modules("7").unwrap().len(), 3 * 11 + 13);
    }

    #[test]
    fn what_has_no_code_has_none() {
        assert_eq!(modules("\u{141}\u{f3}d\u{17a}"), None);
        assert_eq!(modules("44\u{181}71"), None);
        assert_eq!(modules(""), None);
        assert!((' '..='~').all(|char| modules(&char.to_string()).is_some()));
        assert!(modules(&"~".repeat(64)).is_some());
    }
}
