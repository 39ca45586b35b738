//! Where lines, cells and tags end.

use super::account::{Trace, What};
use super::program::{Separator, Tagged};
use memchr::memmem;

/// The first line of `rest`, what ends it, and what follows.
pub(super) fn split_line<'a>(rest: &'a [u8], ends: &[Vec<u8>]) -> (&'a [u8], &'a [u8], &'a [u8]) {
    let at = match ends {
        [] => None,
        [end] => memmem::find(rest, end),
        _ => (0..rest.len()).find(|at| ends.iter().any(|end| rest[*at..].starts_with(end))),
    };
    let Some(at) = at else {
        return (rest, &rest[rest.len()..], &rest[rest.len()..]);
    };
    let (line, rest) = rest.split_at(at);
    let length = ends.iter().find(|end| rest.starts_with(end)).map_or(0, Vec::len);
    let (end, next) = rest.split_at(length);
    (line, end, next)
}

/// Tag and value of a cell.
pub(super) fn split_tag<'a>(
    fields: &[Tagged],
    assign: &[u8],
    cell: &'a [u8],
) -> Option<(&'a [u8], &'a [u8])> {
    if assign.is_empty() {
        let field = fields.iter().find(|field| cell.starts_with(&field.tag))?;
        return Some(cell.split_at(field.tag.len()));
    }
    let at = find(cell, assign)?;
    Some((&cell[..at], &cell[at + assign.len()..]))
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    match wanted {
        // Cells are a few bytes long: looking is quicker than choosing how to look.
        [one] => bytes.iter().position(|byte| byte == one),
        _ => memmem::find(bytes, wanted),
    }
}

/// What separators leave between them.
pub(super) struct Cells<'a, 's> {
    rest: Option<&'a [u8]>,
    separator: &'s Separator,
}

impl<'a, 's> Cells<'a, 's> {
    pub fn new(body: &'a [u8], separator: &'s Separator) -> Self {
        Self { rest: Some(body), separator }
    }

    /// The next cell, and nothing behind the last one.
    pub fn next<T: Trace>(&mut self, trace: &mut T) -> Option<&'a [u8]> {
        if self.separator.repeats {
            self.skip(trace);
        }
        let rest = self.rest?;
        let Some(at) = find(rest, &self.separator.bytes) else {
            self.rest = None;
            return Some(rest);
        };
        let (cell, rest) = rest.split_at(at);
        let (separator, rest) = rest.split_at(self.separator.bytes.len());
        trace.mark(separator, || What::Separator);
        self.rest = Some(rest);
        if self.separator.repeats {
            self.skip(trace);
        }
        Some(cell)
    }

    /// Skips a run of separators; nothing behind it is no cell.
    fn skip<T: Trace>(&mut self, trace: &mut T) {
        let Some(mut rest) = self.rest else { return };
        if rest.first() != self.separator.bytes.first() {
            return;
        }
        while let Some(next) = rest.strip_prefix(self.separator.bytes.as_slice()) {
            trace.mark(&rest[..self.separator.bytes.len()], || What::Separator);
            rest = next;
        }
        self.rest = Some(rest).filter(|rest| !rest.is_empty());
    }

    /// What no cell was taken from.
    pub fn rest(&self) -> Option<&'a [u8]> {
        self.rest
    }
}
