//! Finds a line's speed and format from what arrives at each try. Pure: bytes in, a choice out.
//!
//! A character is sent as a start bit, data bits, perhaps a parity bit, and stop bits. Listened to
//! at the wrong speed it becomes other bytes, and NULs where no stop bit stands at its place (the
//! system hands a character with a framing or parity error on as NUL). What an instrument sends
//! when it is heard right is printable text with numbers in it, and ends in a control byte.
//!
//! Seven data bits with parity, heard as eight without, are whole bytes whose highest bit is the
//! parity: these formats are found from the same bytes and need no try of their own. Eight data
//! bits with parity do, and two stop bits sound like one.

use super::settings::{DataBits, Parity, StopBits};
use std::fmt;

/// A speed and a format.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Bits per second.
    pub baud: u32,
    /// Data bits.
    pub data_bits: DataBits,
    /// Parity.
    pub parity: Parity,
}

impl Line {
    /// Stop bits: a receiver needs no more than one.
    pub const STOP_BITS: StopBits = StopBits::One;

    const fn new(baud: u32, data_bits: DataBits, parity: Parity) -> Self {
        Self { baud, data_bits, parity }
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bits = if self.data_bits == DataBits::Seven { 7 } else { 8 };
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        f.pad(&format!("{} {bits}{parity}1", self.baud))
    }
}

/// The usual speeds, the commonest first.
pub const SPEEDS: [u32; 8] = [9600, 4800, 2400, 19200, 1200, 38400, 57600, 115_200];

/// How much bytes look like what an instrument sends when it is heard right.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Score {
    /// How many bytes there were.
    pub bytes: usize,
    /// Percent of them that are printable or usual control bytes.
    pub text: u8,
    /// Percent of them that are NUL: framing or parity errors.
    pub errors: u8,
    /// How many numbers stand in the text.
    pub numbers: usize,
    /// Whether it ends in a control byte, as lines do.
    pub ends: bool,
    /// All of that, 0 to 100.
    pub points: u8,
}

impl Score {
    /// With so many points the line is heard right.
    pub const ENOUGH: u8 = 85;
    /// Fewer bytes than this say nothing.
    pub const FEWEST: usize = 6;

    /// Scores `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        let share = |count: usize| u8::try_from(100 * count / bytes.len().max(1)).unwrap_or(100);
        let usual = |byte: &&u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t' | 1..=6 | 0x15 | 0x17);
        let text = share(bytes.iter().filter(usual).count());
        let errors = share(bytes.iter().filter(|byte| **byte == 0).count());
        let numbers = numbers(bytes);
        // A raw checksum may follow the control byte that ends a line.
        let tail = &bytes[bytes.len().saturating_sub(4)..];
        let ends = tail.iter().any(|byte| matches!(byte, b'\r' | b'\n' | 3 | 4 | 0x17));
        let whole = u32::from(text) * u32::from(text) / 100;
        let points = whole * 70 / 100 + if numbers > 0 { 20 } else { 0 } + if ends { 10 } else { 0 };
        let points = if bytes.len() < Self::FEWEST { 0 } else { points.saturating_sub(u32::from(errors)) };
        Self { bytes: bytes.len(), text, errors, numbers, ends, points: u8::try_from(points).unwrap_or(100) }
    }
}

/// Runs of at least two digits, perhaps with a point among them.
fn numbers(bytes: &[u8]) -> usize {
    let runs = bytes.split(|byte| !(byte.is_ascii_digit() || matches!(byte, b'.' | b',')));
    runs.filter(|run| run.iter().filter(|byte| byte.is_ascii_digit()).count() >= 2).count()
}

/// One try: what was heard at a speed and format.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tried {
    /// How it was listened, or how the bytes were taken to be meant.
    pub line: Line,
    /// What came of it.
    pub score: Score,
    /// The bytes as this format has them.
    pub bytes: Vec<u8>,
}

/// A search under way.
#[derive(Debug, Clone, Default)]
pub struct Search {
    tried: Vec<Tried>,
    /// How many speeds and formats were listened to.
    listened: Vec<Line>,
}

impl Search {
    /// How to listen next; nothing once everything was tried.
    pub fn next(&self) -> Option<Line> {
        let plain = SPEEDS.map(|baud| Line::new(baud, DataBits::Eight, Parity::None));
        if let Some(line) = plain.into_iter().find(|line| !self.listened.contains(line)) {
            return Some(line);
        }
        // Eight bits and parity, at the speeds that sounded best.
        let mut speeds = SPEEDS;
        let points = |baud: u32| {
            self.tried.iter().filter(|tried| tried.line.baud == baud).map(|tried| tried.score.points).max()
        };
        speeds.sort_by_key(|baud| std::cmp::Reverse(points(*baud)));
        let parities = [Parity::Even, Parity::Odd];
        let with_parity = speeds
            .into_iter()
            .flat_map(|baud| parities.map(|parity| Line::new(baud, DataBits::Eight, parity)));
        with_parity.into_iter().find(|line| !self.listened.contains(line))
    }

    /// Takes in what was heard at `line`. Too few bytes say nothing: the same is tried again.
    pub fn heard(&mut self, line: Line, bytes: &[u8]) {
        if bytes.len() < Score::FEWEST {
            return;
        }
        self.listened.push(line);
        self.tried.push(Tried { line, score: Score::of(bytes), bytes: bytes.to_vec() });
        if line.data_bits == DataBits::Eight && line.parity == Parity::None {
            for (parity, odd) in [(Parity::Even, 0), (Parity::Odd, 1)] {
                // One character with the other parity would be chance; so would be a highest bit
                // that is never set.
                let fits = bytes.iter().all(|byte| byte.count_ones() % 2 == odd);
                if fits && bytes.iter().any(|byte| *byte > 0x7f) {
                    let bytes: Vec<u8> = bytes.iter().map(|byte| byte & 0x7f).collect();
                    let line = Line::new(line.baud, DataBits::Seven, parity);
                    self.tried.push(Tried { line, score: Score::of(&bytes), bytes });
                }
            }
        }
    }

    /// Every try so far, in order.
    pub fn tried(&self) -> &[Tried] {
        &self.tried
    }

    /// The try that is good enough, if there is one: the best of them.
    pub fn settled(&self) -> Option<&Tried> {
        self.best().filter(|best| best.score.points >= Score::ENOUGH)
    }

    /// The best try so far; of equals the first.
    pub fn best(&self) -> Option<&Tried> {
        self.tried.iter().rev().max_by_key(|tried| tried.score.points)
    }
}
