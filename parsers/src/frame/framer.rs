//! The state machine that cuts.
//!
//! What it decides depends on the bytes alone, never on how they were split: where the bytes so
//! far leave two readings open (a CR that may become CR LF), it waits for the next byte or for
//! silence.

use super::spec::{End, FrameSpec};
use memchr::{memchr, memchr2, memchr3, memmem};
use serde::{Deserialize, Serialize};

/// How a frame came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    /// As the instrument's layout says; only such a frame is read.
    Complete,
    /// A piece of a run of bytes that grew longer than a frame may be.
    Oversize,
    /// Silence, the port's end or a new start came first.
    Unfinished,
    /// Bytes outside start and end.
    Stray,
}

/// One message from an instrument, as bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Every byte, start and end bytes included.
    pub bytes: Vec<u8>,
    /// How it ended.
    pub ended: Ended,
}

/// Cuts what arrives into frames.
///
/// The bytes of all frames, in order, are exactly the bytes that were pushed. No more than
/// [`FrameSpec::max`] bytes and one block are held, whatever comes.
#[derive(Debug)]
pub struct Framer {
    spec: FrameSpec,
    pending: Vec<u8>,
    /// Pending bytes in which no start or end begins, so that none is looked at twice.
    scanned: usize,
    /// Inside a run that was cut for its length: what follows of it is no whole frame either.
    overrun: bool,
    /// What would have made the end of the last frame a longer one, had it come in time.
    late: Vec<u8>,
}

/// What the pending bytes allow.
enum Cut {
    /// So many bytes are a frame.
    Here(Piece),
    /// More bytes are needed; in so many of those that came neither start nor end begins.
    Wait(usize),
}

/// The first bytes of what is pending, to become a frame.
struct Piece {
    length: usize,
    ended: Ended,
    overrun: bool,
    late: Vec<u8>,
}

impl Piece {
    fn of(length: usize, ended: Ended) -> Self {
        Self { length, ended, overrun: false, late: Vec::new() }
    }
}

impl Framer {
    /// Large pushes are taken in by blocks of this size, which caps the memory held.
    const BLOCK: usize = 4096;

    /// A framer to which nothing has come yet.
    pub fn new(mut spec: FrameSpec) -> Self {
        let start = spec.start.as_ref().map_or(0, Vec::len);
        let least = match &mut spec.end {
            End::Bytes(ends) => {
                ends.retain(|end| !end.is_empty());
                start + ends.iter().map(Vec::len).max().unwrap_or(1) + spec.trailer
            }
            End::Length(length) => {
                *length = (*length).max(start + 1);
                *length
            }
            End::Silence => start + 1,
        };
        spec.max = spec.max.max(least);
        spec.start = spec.start.filter(|start| !start.is_empty());
        Self { spec, pending: Vec::new(), scanned: 0, overrun: false, late: Vec::new() }
    }

    /// Takes in bytes and hands each frame that they end to `emit`, in order.
    pub fn push(&mut self, bytes: &[u8], mut emit: impl FnMut(Frame)) {
        for block in bytes.chunks(Self::BLOCK) {
            self.pending.extend_from_slice(block);
            let mut taken = 0;
            while taken < self.pending.len() {
                match self.cut(&self.pending[taken..], false) {
                    Cut::Here(piece) => {
                        let bytes = self.pending[taken..taken + piece.length].to_vec();
                        taken += piece.length;
                        emit(self.made(bytes, piece));
                    }
                    Cut::Wait(scanned) => {
                        self.scanned = scanned;
                        break;
                    }
                }
            }
            self.pending.drain(..taken);
        }
    }

    /// Says that the line has been silent for [`FrameSpec::silence`].
    ///
    /// Silence decides whether an end is still to grow, and where the instrument's frames have
    /// an idle gap it ends what is pending.
    pub fn idle(&mut self) -> Option<Frame> {
        if let Cut::Here(piece) = self.cut(&self.pending, true) {
            return Some(self.take(piece));
        }
        let gap = self.spec.idle.is_some() || self.spec.end == End::Silence;
        let whole = if self.spec.end == End::Silence { Ended::Complete } else { Ended::Unfinished };
        gap.then(|| self.flush(whole)).flatten()
    }

    /// Says that the port is closed: what is pending becomes a frame.
    pub fn finish(&mut self) -> Option<Frame> {
        match self.cut(&self.pending, true) {
            Cut::Here(piece) if piece.length == self.pending.len() => Some(self.take(piece)),
            _ => self.flush(Ended::Unfinished),
        }
    }

    /// What has come and is in no frame yet.
    pub fn pending(&self) -> &[u8] {
        &self.pending
    }

    fn take(&mut self, piece: Piece) -> Frame {
        let bytes = self.pending.drain(..piece.length).collect();
        self.made(bytes, piece)
    }

    fn made(&mut self, bytes: Vec<u8>, piece: Piece) -> Frame {
        self.scanned = 0;
        self.overrun = piece.overrun;
        self.late = piece.late;
        Frame { bytes, ended: piece.ended }
    }

    /// Everything pending as one frame: `within` if it is the beginning of one.
    fn flush(&mut self, within: Ended) -> Option<Frame> {
        let overrun = std::mem::take(&mut self.overrun);
        self.late.clear();
        if self.pending.is_empty() {
            return None;
        }
        let ended = match &self.spec.start {
            _ if overrun => Ended::Oversize,
            Some(start) if !self.pending.starts_with(start) => Ended::Stray,
            _ => within,
        };
        Some(self.take(Piece::of(self.pending.len(), ended)))
    }

    /// Decides over `bytes`, which are not empty and begin where the last frame ended. `settle`
    /// says that no more will come soon.
    fn cut(&self, bytes: &[u8], settle: bool) -> Cut {
        if bytes.is_empty() {
            return Cut::Wait(0);
        }
        if !self.late.is_empty() {
            if bytes.starts_with(&self.late) {
                return Cut::Here(Piece::of(self.late.len(), Ended::Stray));
            }
            if !settle && self.late.starts_with(bytes) {
                return Cut::Wait(0);
            }
        }
        match &self.spec.start {
            Some(start) if !bytes.starts_with(start) && !self.overrun => self.cut_stray(bytes, start),
            _ => self.cut_frame(bytes, settle),
        }
    }

    /// Before any start: what is there up to the next one.
    fn cut_stray(&self, bytes: &[u8], start: &[u8]) -> Cut {
        if let Some(found) = memmem::find(&bytes[self.scanned..], start) {
            return Cut::Here(Piece::of((self.scanned + found).min(self.spec.max), Ended::Stray));
        }
        // A start may begin in the last bytes, so that the decision waits for those behind.
        if bytes.len() >= self.spec.max + start.len() - 1 {
            return Cut::Here(Piece::of(self.spec.max, Ended::Stray));
        }
        Cut::Wait(bytes.len().saturating_sub(start.len() - 1))
    }

    /// In a frame, or in the rest of one that was too long: up to its end.
    fn cut_frame(&self, bytes: &[u8], settle: bool) -> Cut {
        let restart = self.restart();
        let overrun = self.overrun && !restart.is_some_and(|start| bytes.starts_with(start));
        let whole = if overrun { Ended::Oversize } else { Ended::Complete };
        let head = self.spec.start.as_ref().filter(|_| !overrun).map_or(0, Vec::len);
        let window = &bytes[..bytes.len().min(self.spec.max)];
        let from = self.scanned.max(head).min(window.len());

        let end = match &self.spec.end {
            End::Bytes(ends) => find_end(ends, window, from, self.spec.max - self.spec.trailer, settle),
            End::Length(length) if window.len() >= *length => return Cut::Here(Piece::of(*length, whole)),
            End::Length(_) | End::Silence => Found::Nothing,
        };
        let before = match &end {
            Found::Nothing => window.len(),
            Found::Open { at } | Found::End { at, .. } => *at,
        };
        if let Some(again) = restart.and_then(|start| memmem::find(&window[from..before], start)) {
            let ended = if overrun { Ended::Oversize } else { Ended::Unfinished };
            return Cut::Here(Piece::of(from + again, ended));
        }
        match end {
            Found::End { behind, late, .. } if behind + self.spec.trailer <= window.len() => {
                let late = if self.spec.trailer == 0 { late } else { Vec::new() };
                Cut::Here(Piece { length: behind + self.spec.trailer, ended: whole, overrun: false, late })
            }
            _ if window.len() == self.spec.max => Cut::Here(Piece {
                length: window.len(),
                ended: Ended::Oversize,
                overrun: true,
                late: Vec::new(),
            }),
            // A start may straddle the bytes that came and those to come.
            _ => Cut::Wait((before + 1).saturating_sub(restart.map_or(1, <[u8]>::len))),
        }
    }

    /// The start bytes, where they cannot be data and so also start a new frame in an unfinished
    /// one. In frames of fixed length they could be data.
    fn restart(&self) -> Option<&[u8]> {
        let start = self.spec.start.as_deref().filter(|start| start[0].is_ascii_control())?;
        (!matches!(self.spec.end, End::Length(_))).then_some(start)
    }
}

enum Found {
    Nothing,
    /// An end may begin here; the next bytes decide.
    Open {
        at: usize,
    },
    /// The longest end that begins first. `late` would have made it longer.
    End {
        at: usize,
        behind: usize,
        late: Vec<u8>,
    },
}

/// The first of `ends` in `window` from `from` on that ends within `max`.
fn find_end(ends: &[Vec<u8>], window: &[u8], from: usize, max: usize, settle: bool) -> Found {
    let mut at = from;
    while let Some(next) = find_first(ends, &window[at..]) {
        at += next;
        let rest = &window[at..];
        let fits = |end: &&Vec<u8>| at + end.len() <= max;
        let best = ends.iter().filter(fits).filter(|end| rest.starts_with(end)).map(Vec::len).max();
        let longer = |end: &&Vec<u8>| end.len() > rest.len() && end.starts_with(rest);
        if !settle && ends.iter().filter(fits).any(|end| longer(&end)) {
            return Found::Open { at };
        }
        if let Some(length) = best {
            let grown = ends.iter().find(longer).filter(|_| length == rest.len());
            let late = grown.map_or_else(Vec::new, |end| end[length..].to_vec());
            return Found::End { at, behind: at + length, late };
        }
        at += 1;
    }
    Found::Nothing
}

/// Where the first byte of any of `ends` stands.
fn find_first(ends: &[Vec<u8>], bytes: &[u8]) -> Option<usize> {
    match ends {
        [one] => memchr(one[0], bytes),
        [one, two] => memchr2(one[0], two[0], bytes),
        [one, two, three] => memchr3(one[0], two[0], three[0], bytes),
        _ => bytes.iter().position(|byte| ends.iter().any(|end| end[0] == *byte)),
    }
}
