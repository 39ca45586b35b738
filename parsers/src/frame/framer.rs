//! The state machine that cuts.

use super::spec::{End, FrameSpec};
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
#[derive(Debug)]
pub struct Framer {
    spec: FrameSpec,
    pending: Vec<u8>,
}

impl Framer {
    /// A framer to which nothing has come yet.
    pub fn new(spec: FrameSpec) -> Self {
        Self { spec, pending: Vec::new() }
    }

    /// Takes in bytes and hands each frame that they end to `emit`, in order.
    pub fn push(&mut self, bytes: &[u8], mut emit: impl FnMut(Frame)) {
        let _ = (bytes, &mut emit, &self.spec, End::Silence);
        todo!()
    }

    /// Says that the line has been silent for [`FrameSpec::silence`].
    pub fn idle(&mut self) -> Option<Frame> {
        todo!()
    }

    /// Says that the port is closed: what is pending becomes a frame.
    pub fn finish(&mut self) -> Option<Frame> {
        todo!()
    }

    /// What has come and is in no frame yet.
    pub fn pending(&self) -> &[u8] {
        &self.pending
    }
}
