//! Takes a tty's marks out of what it hands on, where they are asked for with PARMRK.
//!
//! POSIX.1-2017, General Terminal Interface, 11.2.2 Input Modes: with PARMRK a break is read as
//! 255 0 0, a byte with a framing or parity error as 255 0 and the byte, and a good byte 255 as
//! 255 255. A byte with an error passes on as it came: whoever it is for judges it, as on a cable.

/// What stands in a tty's input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Byte(u8),
    Break,
}

/// Takes marks out; one that is cut in two by a read is put together.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Marks {
    seen: Seen,
}

#[derive(Debug, Clone, Copy, Default)]
enum Seen {
    #[default]
    Nothing,
    /// 255
    First,
    /// 255 0
    Second,
}

impl Marks {
    pub(super) fn take(&mut self, byte: u8) -> Option<Mark> {
        let (seen, mark) = match (self.seen, byte) {
            (Seen::Nothing, 255) => (Seen::First, None),
            (Seen::Nothing, byte) => (Seen::Nothing, Some(Mark::Byte(byte))),
            (Seen::First, 0) => (Seen::Second, None),
            // After 255 nothing else than 255 or 0 is written.
            (Seen::First, byte) => (Seen::Nothing, Some(Mark::Byte(byte))),
            (Seen::Second, 0) => (Seen::Nothing, Some(Mark::Break)),
            (Seen::Second, byte) => (Seen::Nothing, Some(Mark::Byte(byte))),
        };
        self.seen = seen;
        mark
    }
}

#[cfg(test)]
mod tests {
    use super::Mark::{Break, Byte};
    use super::*;

    fn taken(bytes: &[u8]) -> Vec<Mark> {
        let mut marks = Marks::default();
        bytes.iter().filter_map(|byte| marks.take(*byte)).collect()
    }

    #[test]
    fn breaks_errors_and_the_byte_255_are_told_apart() {
        assert_eq!(taken(b"a\xff\xffb"), [Byte(b'a'), Byte(255), Byte(b'b')]);
        assert_eq!(taken(b"a\xff\x00\x00b"), [Byte(b'a'), Break, Byte(b'b')]);
        assert_eq!(taken(b"\xff\x00Q"), [Byte(b'Q')], "a byte with an error passes on as it came");
        assert_eq!(taken(b"\xff\xff\x00\x00"), [Byte(255), Byte(0), Byte(0)], "no break");
        assert_eq!(taken(b"\xff\x00\x00\xff\xff\xff\x00\x00"), [Break, Byte(255), Break]);
        assert_eq!(taken(b"\xff\x00\xff"), [Byte(255)], "255 with an error stands as it is");
    }

    #[test]
    fn a_mark_cut_in_two_is_put_together() {
        let mut marks = Marks::default();
        assert_eq!([255, 0].map(|byte| marks.take(byte)), [None, None]);
        let mut later = marks;
        assert_eq!(later.take(0), Some(Break));
    }

    #[test]
    fn every_byte_string_comes_through() {
        let sent: Vec<u8> = (0..=255).chain((0..=255).rev()).collect();
        let marked: Vec<u8> =
            sent.iter().flat_map(|byte| vec![*byte; if *byte == 255 { 2 } else { 1 }]).collect();
        assert_eq!(taken(&marked), sent.iter().map(|byte| Byte(*byte)).collect::<Vec<_>>());
    }
}
