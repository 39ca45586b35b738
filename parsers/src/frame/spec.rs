//! How frames are told apart.

/// What ends a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum End {
    /// Any of these byte strings; the longest that fits is taken. None is empty.
    Bytes(Vec<Vec<u8>>),
    /// This many bytes, start bytes included.
    Length(usize),
    /// Silence on the line for [`FrameSpec::idle`].
    Silence,
}

impl End {
    /// CR, LF or CR LF, whichever comes.
    pub fn any_newline() -> Self {
        Self::Bytes(vec![b"\r\n".to_vec(), b"\r".to_vec(), b"\n".to_vec()])
    }
}

/// How an instrument's frames are told apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameSpec {
    /// Bytes that every frame starts with; what stands outside start and end is
    /// [`super::Ended::Stray`]. Where its first is a control byte, and frames are not of fixed
    /// length, it also starts a new frame inside an unfinished one.
    pub start: Option<Vec<u8>>,
    /// What ends a frame.
    pub end: End,
    /// How many bytes still follow the end bytes and belong to the frame (a checksum, say).
    pub trailer: usize,
    /// The most bytes a frame may have; longer ones are cut and marked.
    pub max: usize,
    /// Milliseconds of silence after which what has come is a frame, whole or not.
    pub idle: Option<u32>,
}

impl FrameSpec {
    /// Unless the layout says otherwise, a frame has at most this many bytes.
    pub const MAX: usize = 4096;
    /// Milliseconds after which no second half of a CR LF is waited for.
    pub const SETTLE: u32 = 50;

    /// Frames that end with `end`, without start bytes.
    pub fn ended_by(end: End) -> Self {
        Self { start: None, end, trailer: 0, max: Self::MAX, idle: None }
    }

    /// Milliseconds of silence after which the shell calls [`super::Framer::idle`]: the idle gap,
    /// or, where an end could still become a longer one, [`Self::SETTLE`].
    pub fn silence(&self) -> Option<u32> {
        let undecided = match &self.end {
            End::Bytes(ends) => ends
                .iter()
                .any(|end| ends.iter().any(|other| other.len() > end.len() && other.starts_with(end))),
            End::Length(_) => false,
            End::Silence => true,
        };
        self.idle.or(undecided.then_some(Self::SETTLE))
    }
}
