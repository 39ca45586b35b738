//! Helvetica and Helvetica-Bold: two of the 14 fonts that every PDF reader has (ISO 32000-1, 9.6.2.2).
//!
//! Characters are encoded as WinAnsi (ISO 32000-1, annex D), with the minus sign and delta, which
//! these fonts have too, at two codes that WinAnsi leaves open. What neither has becomes `?`.

/// The two fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Font {
    /// Helvetica.
    Regular,
    /// Helvetica-Bold.
    Bold,
}

/// Codes that differ from WinAnsi, and their glyphs.
pub const DIFFERENCES: [(u8, &[u8]); 2] = [(0x81, b"minus"), (0x8d, b"Delta")];

/// What is not printed as it is.
const UNKNOWN: u8 = b'?';

/// The code of a character; nothing where the fonts have none.
pub fn code(char: char) -> Option<u8> {
    match char {
        ' '..='~' => u8::try_from(char).ok(),
        '\u{a0}'..='\u{ff}' => u8::try_from(u32::from(char)).ok(),
        _ => BEYOND.iter().find(|(other, ..)| *other == char).map(|(_, code, ..)| *code),
    }
}

/// A text in codes.
pub fn encode(text: &str) -> Vec<u8> {
    text.chars().map(|char| code(char).unwrap_or(UNKNOWN)).collect()
}

impl Font {
    /// How wide a text is, in the unit of `size`.
    pub fn width(self, text: &str, size: f32) -> f32 {
        let thousandths: u32 = encode(text).into_iter().map(|code| u32::from(self.advance(code))).sum();
        thousandths as f32 * size / 1000.0
    }

    /// How far a code moves on, in thousandths of the size.
    fn advance(self, code: u8) -> u16 {
        let (ascii, latin, column) = match self {
            Font::Regular => (&REGULAR_ASCII, &REGULAR_LATIN, 0),
            Font::Bold => (&BOLD_ASCII, &BOLD_LATIN, 1),
        };
        match code {
            b' '..=b'~' => ascii[usize::from(code - b' ')],
            0xa0.. => latin[usize::from(code - 0xa0)],
            _ => BEYOND.iter().find(|(_, other, _)| *other == code).map_or(0, |(.., widths)| widths[column]),
        }
    }
}

// Widths as in the Core 14 AFM files that Adobe published, read from a metric-compatible set.

/// Characters beyond Latin-1: code and both widths.
const BEYOND: [(char, u8, [u16; 2]); 11] = [
    ('\u{20ac}', 0x80, [556, 556]),
    ('\u{2026}', 0x85, [1000, 1000]),
    ('\u{2018}', 0x91, [222, 278]),
    ('\u{2019}', 0x92, [222, 278]),
    ('\u{201c}', 0x93, [333, 500]),
    ('\u{201d}', 0x94, [333, 500]),
    ('\u{2022}', 0x95, [350, 350]),
    ('\u{2013}', 0x96, [556, 556]),
    ('\u{2014}', 0x97, [1000, 1000]),
    ('\u{2212}', 0x81, [584, 584]),
    ('\u{394}', 0x8d, [612, 612]),
];

const REGULAR_ASCII: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278,
    500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469,
    556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500,
    278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];
const REGULAR_LATIN: [u16; 96] = [
    278, 333, 556, 556, 556, 556, 260, 556, 333, 737, 370, 556, 584, 333, 737, 333, 400, 584, 333, 333, 333,
    556, 537, 278, 333, 333, 365, 556, 834, 834, 834, 611, 667, 667, 667, 667, 667, 667, 1000, 722, 667, 667,
    667, 667, 278, 278, 278, 278, 722, 722, 778, 778, 778, 778, 778, 584, 778, 722, 722, 722, 722, 667, 667,
    611, 556, 556, 556, 556, 556, 556, 889, 500, 556, 556, 556, 556, 278, 278, 278, 278, 556, 556, 556, 556,
    556, 556, 556, 584, 611, 556, 556, 556, 556, 500, 556, 500,
];
const BOLD_ASCII: [u16; 95] = [
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667, 611, 778, 722, 278,
    556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584,
    556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611, 611, 611, 389, 556,
    333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
];
const BOLD_LATIN: [u16; 96] = [
    278, 333, 556, 556, 556, 556, 280, 556, 333, 737, 370, 556, 584, 333, 737, 333, 400, 584, 333, 333, 333,
    611, 556, 278, 333, 333, 365, 556, 834, 834, 834, 611, 722, 722, 722, 722, 722, 722, 1000, 722, 667, 667,
    667, 667, 278, 278, 278, 278, 722, 722, 778, 778, 778, 778, 778, 584, 778, 722, 722, 722, 722, 667, 667,
    611, 556, 556, 556, 556, 556, 556, 889, 556, 556, 556, 556, 556, 278, 278, 278, 278, 611, 611, 611, 611,
    611, 611, 611, 584, 611, 611, 611, 611, 611, 556, 611, 556,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_fonts_have_is_encoded_and_the_rest_is_a_question_mark() {
        assert_eq!(encode("A\u{e9}\u{2212}\u{394}\u{20ac}"), [b'A', 0xe9, 0x81, 0x8d, 0x80]);
        assert_eq!(encode("\u{141}\u{f3}d\u{17a} \u{1f600}\u{7}"), b"?\xf3d? ??");
    }

    #[test]
    fn figures_are_all_of_one_width_so_that_columns_stand_under_each_other() {
        for font in [Font::Regular, Font::Bold] {
            for figure in '0'..='9' {
                assert_eq!(font.width(&figure.to_string(), 1000.0), 556.0);
            }
            assert_eq!(font.width("\u{2212}", 1000.0), font.width("+", 1000.0));
        }
    }
}
