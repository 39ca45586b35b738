//! Where frames start and end, and by which checksum they are proved: hypotheses that cut every
//! capture into whole frames.

use super::Sample;
use crate::checksum::{Algorithm, Written};
use crate::frame::{End, Ended, FrameSpec, Framer};

/// What is around the content of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Envelope {
    pub start: Vec<u8>,
    pub end: Ending,
    pub check: Option<Check>,
    /// Other checksums that are right in every frame too.
    pub other_checks: Vec<Check>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Ending {
    Bytes(Vec<u8>),
    Length(usize),
    Silence,
}

/// A checksum; as in a layout's `[checksum]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Check {
    pub algorithm: Algorithm,
    pub written: Written,
    pub before: Vec<u8>,
    pub after: Vec<u8>,
    pub after_end: bool,
    pub covers_start: bool,
    pub covers_before: bool,
}

/// What is between start and end, without the checksum.
#[derive(Debug, Clone)]
pub(super) struct Content<'a> {
    pub sample: usize,
    pub bytes: &'a [u8],
}

const KINDS: [(Algorithm, Written); 10] = [
    (Algorithm::Crc16CcittFalse, Written::Hex),
    (Algorithm::Crc16Xmodem, Written::Hex),
    (Algorithm::Crc16CcittFalse, Written::Raw),
    (Algorithm::Crc16Xmodem, Written::Raw),
    (Algorithm::Crc16CcittFalse, Written::RawLowFirst),
    (Algorithm::Crc16Xmodem, Written::RawLowFirst),
    (Algorithm::Xor8, Written::Hex),
    (Algorithm::Sum8, Written::Hex),
    (Algorithm::Xor8, Written::Raw),
    (Algorithm::Sum8, Written::Raw),
];

/// Silence that ends a frame where nothing else does: longer than any gap within a burst at
/// 1200 baud, shorter than any technician between two lenses.
pub(super) const IDLE_MS: u32 = 100;

impl Envelope {
    fn spec(&self) -> FrameSpec {
        let trailer = self.check.as_ref().filter(|check| check.after_end).map_or(0, Check::length);
        let (end, idle) = match &self.end {
            Ending::Bytes(end) => (End::Bytes(vec![end.clone()]), None),
            Ending::Length(length) => (End::Length(*length), None),
            Ending::Silence => (End::Silence, Some(IDLE_MS)),
        };
        let start = Some(self.start.clone()).filter(|start| !start.is_empty());
        FrameSpec { start, end, trailer, max: FrameSpec::MAX, idle }
    }

    /// Whole frames of all captures; nothing where some bytes are in none.
    fn cut(&self, samples: &[Sample]) -> Option<Vec<(usize, Vec<u8>)>> {
        let mut all = Vec::new();
        for (index, sample) in samples.iter().enumerate() {
            let mut frames = Vec::new();
            let mut framer = Framer::new(self.spec());
            framer.push(&sample.bytes, |frame| frames.push(frame));
            frames.extend(framer.idle());
            frames.extend(framer.finish());
            if frames.is_empty() || frames.iter().any(|frame| frame.ended != Ended::Complete) {
                return None;
            }
            all.extend(frames.into_iter().map(|frame| (index, frame.bytes)));
        }
        Some(all)
    }

    /// What is in `frame`; nothing where the checksum is wrong.
    fn content<'f>(&self, frame: &'f [u8]) -> Option<&'f [u8]> {
        let rest = frame.strip_prefix(self.start.as_slice())?;
        let end: &[u8] = match &self.end {
            Ending::Bytes(end) => end,
            Ending::Length(_) | Ending::Silence => &[],
        };
        let Some(check) = &self.check else { return rest.strip_suffix(end) };
        let (before, content, sum) = if check.after_end {
            let (before, sum) = check.split(rest)?;
            (before, before.strip_suffix(end)?, sum)
        } else {
            let (before, sum) = check.split(rest.strip_suffix(end)?)?;
            (before, before, sum)
        };
        let from = if check.covers_start { 0 } else { self.start.len() };
        let covered = if check.covers_before { before.len() + check.before.len() } else { content.len() };
        let right = check.algorithm.of(&frame[from..self.start.len() + covered]);
        (check.written.read(sum) == Some(right)).then_some(content)
    }

    /// The content of every frame.
    pub fn contents<'s>(&self, samples: &'s [Sample]) -> Option<Vec<Content<'s>>> {
        let mut at = vec![0; samples.len()];
        let mut contents = Vec::new();
        for (sample, frame) in self.cut(samples)? {
            // Frames are exactly the bytes, in order, so that they can be borrowed from them.
            let bytes = &samples[sample].bytes[at[sample]..at[sample] + frame.len()];
            at[sample] += frame.len();
            contents.push(Content { sample, bytes: self.content(bytes)? });
        }
        Some(contents)
    }
}

impl Check {
    fn length(&self) -> usize {
        self.before.len() + self.written.length(self.algorithm) + self.after.len()
    }

    fn split<'f>(&self, bytes: &'f [u8]) -> Option<(&'f [u8], &'f [u8])> {
        let rest = bytes.strip_suffix(self.after.as_slice())?;
        let at = rest.len().checked_sub(self.written.length(self.algorithm))?;
        let (rest, sum) = rest.split_at(at);
        Some((rest.strip_suffix(self.before.as_slice())?, sum))
    }
}

/// Every envelope that cuts all captures into whole frames, the most telling first.
pub(super) fn hypotheses(samples: &[Sample]) -> Vec<Envelope> {
    let mut found: Vec<Envelope> = Vec::new();
    let proved = endings(samples).into_iter().flat_map(|bare| checked(samples, &bare));
    // What stands behind the end is found by trying where the end could be.
    found.extend(proved);
    found.extend(trailed(samples));
    // The longest evidence first: 16 bits before 8, and a start before none.
    found.sort_by_key(|envelope| {
        let check = envelope.check.as_ref();
        let silent = envelope.end == Ending::Silence;
        std::cmp::Reverse((check.map_or(0, |check| check.algorithm.width()), !silent, envelope.start.len()))
    });
    let mut grouped: Vec<Envelope> = Vec::new();
    for envelope in found {
        match grouped.iter_mut().find(|other| other.start == envelope.start && other.end == envelope.end) {
            Some(first) => first.other_checks.extend(envelope.check),
            None => grouped.push(envelope),
        }
    }
    grouped.extend(endings(samples).into_iter().filter(|bare| bare.cut(samples).is_some()));
    grouped
}

/// Envelopes without a checksum.
fn endings(samples: &[Sample]) -> Vec<Envelope> {
    let tail = common_end(samples);
    let control = tail.iter().rev().take_while(|byte| byte.is_ascii_control() && **byte != b'\t').count();
    let run = &tail[tail.len() - control..];
    let mut ends: Vec<Ending> = Vec::new();
    if !run.is_empty() {
        ends.push(Ending::Bytes(run.to_vec()));
        if run != b"\r\n" {
            ends.push(Ending::Bytes(run[run.len() - 1..].to_vec()));
        }
    }
    if samples.windows(2).all(|pair| pair[0].bytes.len() == pair[1].bytes.len()) {
        ends.extend(samples.first().map(|sample| Ending::Length(sample.bytes.len())));
    }
    ends.push(Ending::Silence);
    let mut found: Vec<Envelope> = Vec::new();
    for end in ends {
        for start in starts(samples) {
            let envelope = Envelope { start, end: end.clone(), check: None, other_checks: Vec::new() };
            if !found.contains(&envelope) {
                found.push(envelope);
            }
        }
    }
    found
}

/// The same envelopes with every checksum in front of the end that is right in every frame.
fn checked(samples: &[Sample], bare: &Envelope) -> Vec<Envelope> {
    let Some(frames) = bare.cut(samples) else { return Vec::new() };
    let end: &[u8] = match &bare.end {
        Ending::Bytes(end) => end,
        Ending::Length(_) | Ending::Silence => &[],
    };
    let bodies: Vec<&[u8]> = frames.iter().filter_map(|(_, frame)| frame.strip_suffix(end)).collect();
    tails(bare, &frames, &bodies)
}

/// Envelopes whose checksum stands behind the end.
fn trailed(samples: &[Sample]) -> Vec<Envelope> {
    let tail = common_end(samples);
    let control = tail.iter().rev().take_while(|byte| byte.is_ascii_control()).count();
    let Some(first) = samples.first() else { return Vec::new() };
    let mut found = Vec::new();
    for (algorithm, written) in KINDS {
        for after in 0..=control.min(2) {
            let Some(at) = first.bytes.len().checked_sub(after + written.length(algorithm)) else { continue };
            let end: &[u8] = match &first.bytes[..at] {
                [.., byte] if byte.is_ascii_control() && *byte != b'\t' => std::slice::from_ref(byte),
                _ => continue,
            };
            for start in starts(samples) {
                for (covers_start, covers_before) in
                    [(false, false), (false, true), (true, false), (true, true)]
                {
                    if covers_start && start.is_empty() {
                        continue;
                    }
                    let check = Check {
                        algorithm,
                        written,
                        before: Vec::new(),
                        after: first.bytes[first.bytes.len() - after..].to_vec(),
                        after_end: true,
                        covers_start,
                        covers_before,
                    };
                    found.push(Envelope {
                        start: start.clone(),
                        end: Ending::Bytes(end.to_vec()),
                        check: Some(check),
                        other_checks: Vec::new(),
                    });
                }
            }
        }
    }
    found.retain(|envelope| proves(envelope, samples));
    found
}

fn tails(bare: &Envelope, frames: &[(usize, Vec<u8>)], bodies: &[&[u8]]) -> Vec<Envelope> {
    let mut found = Vec::new();
    let byte_at = |back: usize| {
        let byte = |body: &&[u8]| body.len().checked_sub(back).and_then(|at| body.get(at)).copied();
        let first = bodies.first().and_then(byte)?;
        let joins = !first.is_ascii_alphanumeric() && first != b' ';
        (joins && bodies.iter().all(|body| byte(body) == Some(first))).then_some(first)
    };
    for (algorithm, written) in KINDS {
        let length = written.length(algorithm);
        for after in 0..=1 {
            let Some(behind) = (0..after).map(|back| byte_at(back + 1)).collect::<Option<Vec<u8>>>() else {
                continue;
            };
            for before in 0..=1 {
                let front = (0..before).map(|back| byte_at(after + length + back + 1));
                let Some(front) = front.collect::<Option<Vec<u8>>>() else { continue };
                for (covers_start, covers_before) in
                    [(false, false), (false, true), (true, false), (true, true)]
                {
                    if covers_start && bare.start.is_empty() || covers_before && front.is_empty() {
                        continue;
                    }
                    let check = Check {
                        algorithm,
                        written,
                        before: front.clone(),
                        after: behind.clone(),
                        after_end: false,
                        covers_start,
                        covers_before: false,
                    };
                    let envelope = Envelope { check: Some(check), ..bare.clone() };
                    if frames.iter().all(|(_, frame)| envelope.content(frame).is_some()) && enough(frames) {
                        found.push(envelope);
                    }
                }
            }
        }
    }
    found
}

fn proves(envelope: &Envelope, samples: &[Sample]) -> bool {
    envelope.cut(samples).is_some_and(|frames| {
        enough(&frames) && frames.iter().all(|(_, frame)| envelope.content(frame).is_some())
    })
}

/// One frame can have any checksum by chance; two different ones hardly do.
fn enough(frames: &[(usize, Vec<u8>)]) -> bool {
    frames.windows(2).any(|pair| pair[0].1 != pair[1].1)
}

/// What every capture starts with, where that is a control byte; and no start.
fn starts(samples: &[Sample]) -> Vec<Vec<u8>> {
    let Some(first) = samples.first() else { return Vec::new() };
    let common = |length: usize| {
        first.bytes.len() > length
            && samples.iter().all(|sample| sample.bytes.starts_with(&first.bytes[..length]))
    };
    let control = first.bytes.first().is_some_and(|byte| byte.is_ascii_control() && *byte != b'\t');
    let mut starts: Vec<Vec<u8>> = (1..=3)
        .filter(|length| control && common(*length))
        .map(|length| first.bytes[..length].to_vec())
        .filter(|start| {
            !start[1..]
                .iter()
                .any(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b' ' | b'\t' | b'-' | b'+'))
        })
        .collect();
    starts.push(Vec::new());
    starts
}

/// What every capture ends with.
fn common_end(samples: &[Sample]) -> &[u8] {
    let Some((first, others)) = samples.split_first() else { return &[] };
    let length = (0..=first.bytes.len())
        .rev()
        .find(|length| {
            let end = &first.bytes[first.bytes.len() - length..];
            others.iter().all(|sample| sample.bytes.ends_with(end))
        })
        .unwrap_or(0);
    &first.bytes[first.bytes.len() - length..]
}
