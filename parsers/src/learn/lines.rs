//! What kinds of line the frames have.

use super::envelope::Content;

/// One line of one capture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line<'a> {
    pub sample: usize,
    pub bytes: &'a [u8],
}

/// Lines that are written alike.
#[derive(Debug, Clone)]
pub(super) struct Kind<'a> {
    pub starts: Vec<u8>,
    pub lines: Vec<Line<'a>>,
    /// The fewest and the most of them in one frame.
    pub times: (usize, usize),
}

/// A way to sort the lines of all frames by kind.
#[derive(Debug, Clone)]
pub(super) struct Plan<'a> {
    /// What ends a line within a frame; empty where frames have one line.
    pub line_end: Vec<u8>,
    pub blank_lines: bool,
    pub any_order: bool,
    pub kinds: Vec<Kind<'a>>,
}

/// Every way to sort the lines, the simplest first.
pub(super) fn plans<'a>(contents: &[Content<'a>]) -> Vec<Plan<'a>> {
    let line_end = [&b"\r\n"[..], b"\r", b"\n"]
        .into_iter()
        .find(|end| contents.iter().any(|content| memchr::memmem::find(content.bytes, end).is_some()))
        .unwrap_or_default();
    let mut blank_lines = false;
    let mut frames: Vec<Vec<Line<'a>>> = Vec::new();
    for content in contents {
        let mut lines = split(content.bytes, line_end);
        if lines.len() > 1 && lines.last().is_some_and(|line| line.is_empty()) {
            lines.pop();
        }
        let count = lines.len();
        lines.retain(|line| !line.is_empty());
        blank_lines |= lines.len() < count;
        frames.push(lines.into_iter().map(|bytes| Line { sample: content.sample, bytes }).collect());
    }
    let mut plans = vec![sorted(&frames, |_| Some(&[]))];
    let several = frames.iter().flatten().count() > 1;
    if several {
        plans.push(sorted(&frames, |line| line.get(..1).filter(|first| !plain_number(first[0]))));
        plans.push(sorted(&frames, word));
        plans.push(by_position(&frames));
    }
    let mut plans: Vec<Plan<'a>> = plans.into_iter().flatten().collect();
    for plan in &mut plans {
        plan.line_end = line_end.to_vec();
        plan.blank_lines = blank_lines;
    }
    plans
}

fn split<'a>(bytes: &'a [u8], end: &[u8]) -> Vec<&'a [u8]> {
    if end.is_empty() {
        return vec![bytes];
    }
    let mut lines = Vec::new();
    let mut rest = bytes;
    while let Some(at) = memchr::memmem::find(rest, end) {
        lines.push(&rest[..at]);
        rest = &rest[at + end.len()..];
    }
    lines.push(rest);
    lines
}

fn plain_number(byte: u8) -> bool {
    byte.is_ascii_digit() || matches!(byte, b' ' | b'+' | b'-' | b'.' | b',')
}

/// The letters at a line's beginning.
fn word(line: &[u8]) -> Option<&[u8]> {
    let length = line.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
    line.get(..length).filter(|word| !word.is_empty())
}

/// Lines sorted by how they start; nothing where a line has no such start.
fn sorted<'a>(frames: &[Vec<Line<'a>>], start: impl Fn(&[u8]) -> Option<&[u8]>) -> Option<Plan<'a>> {
    let mut kinds: Vec<Kind<'a>> = Vec::new();
    for line in frames.iter().flatten() {
        let starts = start(line.bytes)?;
        match kinds.iter_mut().find(|kind| kind.starts == starts) {
            Some(kind) => kind.lines.push(*line),
            None => kinds.push(Kind { starts: starts.to_vec(), lines: vec![*line], times: (0, 0) }),
        }
    }
    let alike = |one: &Kind<'_>, other: &Kind<'_>| {
        one.starts.starts_with(&other.starts) || other.starts.starts_with(&one.starts)
    };
    for (index, kind) in kinds.iter().enumerate() {
        if kinds[..index].iter().any(|other| alike(kind, other)) {
            return None;
        }
    }
    let place = |line: &Line<'_>| kinds.iter().position(|kind| line.bytes.starts_with(&kind.starts));
    let orders: Vec<Vec<Option<usize>>> =
        frames.iter().map(|frame| frame.iter().map(place).collect()).collect();
    let any_order = orders.iter().any(|order| !order.is_sorted());
    let count =
        |kind: usize, order: &Vec<Option<usize>>| order.iter().filter(|found| **found == Some(kind)).count();
    let times: Vec<(usize, usize)> = (0..kinds.len())
        .map(|kind| {
            let counts = || orders.iter().map(|order| count(kind, order));
            (counts().min().unwrap_or(0), counts().max().unwrap_or(0))
        })
        .collect();
    kinds.iter_mut().zip(times).for_each(|(kind, times)| kind.times = times);
    Some(Plan { line_end: Vec::new(), blank_lines: false, any_order, kinds })
}

/// The first lines of all frames are of one kind, the second ones of another, and so on.
fn by_position<'a>(frames: &[Vec<Line<'a>>]) -> Option<Plan<'a>> {
    let count = frames.first()?.len();
    if count < 2 || frames.iter().any(|frame| frame.len() != count) {
        return None;
    }
    let kinds = (0..count)
        .map(|at| Kind {
            starts: Vec::new(),
            lines: frames.iter().map(|frame| frame[at]).collect(),
            times: (1, 1),
        })
        .collect();
    Some(Plan { line_end: Vec::new(), blank_lines: false, any_order: false, kinds })
}
