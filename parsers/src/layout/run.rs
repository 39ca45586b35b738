//! Carries out a compiled layout on one frame.

use super::account::{Trace, What};
use super::draft::{Draft, Manner, Slot};
use super::field;
use super::miss::{Expected, Miss};
use super::number::{literal, trimmed};
use super::program::{Check, Columned, Form, Line, Placed, Program, Separator, Tagged, Unknown};
use super::split::{Cells, split_line, split_tag};
use crate::reading::{Eye, Reading};
use nom::Parser;
use nom::bytes::complete::{take, take_while};

/// What `frame` says.
pub(super) fn run<'a, T: Trace>(
    program: &'a Program,
    frame: &'a [u8],
    trace: &mut T,
) -> Result<Reading, Miss<'a>> {
    let mut state =
        Run { draft: Draft::default(), trace, eye: program.always.eye, manner: Manner::default() };
    let content = state.envelope(program, frame)?;
    state.draft.reading.checksum_verified = program.check.is_some();
    state.lines(program, content)?;
    state.draft.finish(program.always)
}

/// What a run carries along.
pub(super) struct Run<'a, 't, T> {
    pub draft: Draft<'a>,
    pub trace: &'t mut T,
    /// What lines without a lens have announced for those that follow.
    eye: Option<Eye>,
    manner: Manner,
}

/// What the fields of one line have said of the whole line.
#[derive(Default)]
pub(super) struct LineMarks {
    pub eye: Option<Eye>,
    pub manner: Manner,
}

impl<'a, T: Trace> Run<'a, '_, T> {
    /// Checks start, end and checksum, and gives what is between them.
    fn envelope(&mut self, program: &'a Program, frame: &'a [u8]) -> Result<&'a [u8], Miss<'a>> {
        let (mut rest, start) = literal(&program.start, frame)?;
        self.trace.mark(start, || What::Literal);
        if let Some(length) = program.length.filter(|length| *length != frame.len()) {
            return Err(Miss::new(&frame[frame.len().min(length)..], Expected::Length(length)));
        }
        if let Some(check) = program.check.as_ref().filter(|check| check.after_end) {
            let (before, sum) = self.checksum_parts(check, rest)?;
            rest = self.end(program, before)?;
            self.checksum(check, frame, start, rest, before, sum)?;
        } else {
            rest = self.end(program, rest)?;
            if let Some(check) = &program.check {
                let (before, sum) = self.checksum_parts(check, rest)?;
                self.checksum(check, frame, start, before, before, sum)?;
                rest = before;
            }
        }
        Ok(rest)
    }

    /// Takes the frame's end bytes off.
    fn end(&mut self, program: &'a Program, rest: &'a [u8]) -> Result<&'a [u8], Miss<'a>> {
        if program.ends.is_empty() {
            return Ok(rest);
        }
        let Some(end) = program.ends.iter().find(|end| rest.ends_with(end)) else {
            let ends = program.ends.iter().map(Vec::as_slice).collect();
            return Err(Miss::new(&rest[rest.len()..], Expected::AnyOf(ends)));
        };
        let (content, end) = rest.split_at(rest.len() - end.len());
        self.trace.mark(end, || What::Terminator);
        Ok(content)
    }

    /// Splits the checksum, with the bytes around it, off the end of `rest`.
    fn checksum_parts(&mut self, check: &'a Check, rest: &'a [u8]) -> Result<(&'a [u8], &'a [u8]), Miss<'a>> {
        let length = check.written.length(check.algorithm);
        let all = check.before.len() + length + check.after.len();
        let Some(at) = rest.len().checked_sub(all) else {
            return Err(Miss::new(&rest[rest.len()..], Expected::Words("a checksum")).in_field("checksum"));
        };
        let (content, tail) = rest.split_at(at);
        let (tail, before) =
            literal(&check.before, tail).map_err(|miss| Miss::from(miss).in_field("checksum"))?;
        let (sum, after) = tail.split_at(length);
        let (_, after) =
            literal(&check.after, after).map_err(|miss| Miss::from(miss).in_field("checksum"))?;
        self.trace.mark(before, || What::Literal);
        self.trace.mark(sum, || What::Checksum);
        self.trace.mark(after, || What::Literal);
        Ok((content, sum))
    }

    /// Compares the checksum `sum`. `content` is what it always covers, `before` reaches from
    /// the same start to the bytes in front of the checksum.
    fn checksum(
        &mut self,
        check: &'a Check,
        frame: &'a [u8],
        start: &'a [u8],
        content: &'a [u8],
        before: &'a [u8],
        sum: &'a [u8],
    ) -> Result<(), Miss<'a>> {
        let from = if check.covers_start { 0 } else { start.len() };
        let to =
            start.len() + if check.covers_before { before.len() + check.before.len() } else { content.len() };
        let right = check.algorithm.of(&frame[from..to]);
        if check.written.read(sum) == Some(right) {
            return Ok(());
        }
        let expected = Expected::Checksum(check.written, check.algorithm, right);
        Err(Miss::new(sum, expected).in_field("checksum"))
    }

    fn lines(&mut self, program: &'a Program, content: &'a [u8]) -> Result<(), Miss<'a>> {
        let mut rest = content;
        let mut seen = 0_u64;
        let mut last = 0;
        // A frame without lines has one, which is empty; the last line's end may be missing.
        loop {
            let (line, end, next) = split_line(rest, &program.line_ends);
            if line.is_empty() && program.skip_blank {
                self.trace.mark(end, || What::Skipped { why: "a blank line".to_owned() });
            } else {
                let index = pick(program, line, seen, last)?;
                let kind = &program.lines[index];
                self.line(kind, line).map_err(|miss| in_line(miss, program, kind))?;
                self.trace.mark(end, || What::Separator);
                seen |= 1 << index;
                last = index;
            }
            rest = next;
            if rest.is_empty() {
                break;
            }
        }
        if seen == 0 && program.skip_blank {
            return Ok(());
        }
        let missing =
            program.lines.iter().enumerate().find(|(index, line)| line.needed && seen & 1 << index == 0);
        match missing {
            Some((_, line)) => Err(Miss::new(rest, Expected::Line(&line.name))),
            None => Ok(()),
        }
    }

    fn line(&mut self, kind: &'a Line, line: &'a [u8]) -> Result<(), Miss<'a>> {
        let (body, starts) = literal(&kind.starts, line)?;
        self.trace.mark(starts, || What::Literal);
        let Some(body) = body.strip_suffix(kind.ends.as_slice()) else {
            return Err(Miss::new(&line[line.len()..], Expected::Bytes(&kind.ends)));
        };
        let mut marks = LineMarks::default();
        let slot = if kind.marks_eye { Slot::Line } else { Slot::from(kind.eye.or(self.eye)) };
        match &kind.form {
            Form::Tagged { separator, assign, unknown, fields } => {
                self.tagged(separator, assign, *unknown, fields, body, slot, &mut marks)?;
            }
            Form::Delimited { separator, fields } => {
                self.delimited(separator, fields, body, slot, &mut marks)?
            }
            Form::Columns { fields } => {
                self.columns(fields, line, starts.len(), starts.len() + body.len(), slot, &mut marks)?;
            }
        }
        self.trace.mark(&line[starts.len() + body.len()..], || What::Literal);

        let manner = marks.manner.or(Manner { mode: kind.mode, vertex: kind.vertex });
        if kind.about_lens {
            if kind.marks_eye {
                self.draft.assign_line(Slot::from(marks.eye.or(self.eye)), line)?;
            }
            let to = Slot::from(marks.eye.or(kind.eye).or(self.eye));
            self.draft.manner(to, manner.or(self.manner));
            for eye in &kind.own_eyes {
                self.draft.manner(Slot::from(Some(*eye)), manner.or(self.manner));
            }
        } else {
            self.eye = marks.eye.or(kind.eye).or(self.eye);
            self.manner = manner.or(self.manner);
        }
        Ok(())
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of Form::Tagged, borrowed one by one")]
    fn tagged(
        &mut self,
        separator: &'a Separator,
        assign: &'a [u8],
        unknown: Unknown,
        fields: &'a [Tagged],
        body: &'a [u8],
        slot: Slot,
        marks: &mut LineMarks,
    ) -> Result<(), Miss<'a>> {
        let mut seen = 0_u64;
        let mut likely = 0;
        let mut cells = Cells::new(body, separator);
        while let Some(cell) = cells.next(self.trace) {
            let Some((tag, value)) = split_tag(fields, assign, cell) else {
                return Err(Miss::new(cell, tags(fields)));
            };
            let found = find_tag(fields, trimmed(tag), likely);
            self.trace.mark(&cell[..cell.len() - value.len()], || What::Tag);
            match (found, unknown) {
                (Some(index), _) => {
                    let field = &fields[index].field;
                    if seen & 1 << index != 0 {
                        return Err(Miss::new(cell, Expected::Once(&field.label)).in_field(&field.label));
                    }
                    seen |= 1 << index;
                    likely = index + 1;
                    field::read(self, field, value, slot, marks)?;
                }
                (None, Unknown::Refuse) => return Err(Miss::new(cell, tags(fields))),
                (None, Unknown::Skip) => {
                    self.trace.mark(value, || What::Skipped { why: "an unknown tag".to_owned() });
                }
                (None, Unknown::Keep) => field::keep(self, trimmed(tag), value)?,
            }
        }
        let missing =
            fields.iter().enumerate().find(|(index, field)| !field.optional && seen & 1 << index == 0);
        match missing {
            Some((_, field)) => Err(Miss::new(&body[body.len()..], Expected::Field(&field.field.label))
                .in_field(&field.field.label)),
            None => Ok(()),
        }
    }

    fn delimited(
        &mut self,
        separator: &'a Separator,
        fields: &'a [Placed],
        body: &'a [u8],
        slot: Slot,
        marks: &mut LineMarks,
    ) -> Result<(), Miss<'a>> {
        let mut cells = Cells::new(body, separator);
        for placed in fields {
            match cells.next(self.trace) {
                Some(cell) => field::read(self, &placed.field, cell, slot, marks)?,
                None if placed.optional => break,
                None => {
                    let label = &placed.field.label;
                    return Err(Miss::new(&body[body.len()..], Expected::Field(label)).in_field(label));
                }
            }
        }
        match (cells.rest(), fields.last()) {
            (Some(rest), Some(last)) => Err(Miss::new(rest, Expected::EndAfter(&last.field.label))),
            _ => Ok(()),
        }
    }

    /// Columns count from the line's first byte; `from` and `to` leave out its literal ends.
    fn columns(
        &mut self,
        fields: &'a [Columned],
        line: &'a [u8],
        from: usize,
        to: usize,
        slot: Slot,
        marks: &mut LineMarks,
    ) -> Result<(), Miss<'a>> {
        let body = &line[..to];
        let mut at = from;
        for Columned { columns, optional, field } in fields {
            let label = field.label.as_str();
            if *optional && body.len() <= at {
                break;
            }
            if body.len() < columns.end {
                return Err(Miss::new(&line[to..], Expected::Columns(columns.end)).in_field(label));
            }
            let (rest, gap) = take(columns.start - at).parse(&body[at..]).map_err(Miss::from)?;
            let (dirt, _) = take_while(|byte| byte == b' ').parse(gap).map_err(Miss::from)?;
            if !dirt.is_empty() {
                return Err(Miss::new(
                    &body[columns.start - dirt.len()..],
                    Expected::Words("a blank column"),
                ));
            }
            self.trace.mark(gap, || What::Separator);
            field::read(self, field, &rest[..columns.len()], slot, marks)?;
            at = columns.end;
        }
        if at < body.len() {
            let last = fields.last().map_or("the line's start", |last| last.field.label.as_str());
            return Err(Miss::new(&line[at..], Expected::EndAfter(last)));
        }
        Ok(())
    }
}

/// The kind of `line`, given which kinds were `seen` and which was `last`.
fn pick<'a>(program: &'a Program, line: &'a [u8], seen: u64, last: usize) -> Result<usize, Miss<'a>> {
    if program.by_position {
        let index = seen.trailing_ones() as usize;
        return if index < program.lines.len() {
            Ok(index)
        } else {
            Err(Miss::new(line, Expected::EndAfter(&program.lines[index - 1].name)))
        };
    }
    let Some(index) = program.lines.iter().position(|kind| line.starts_with(&kind.starts)) else {
        let starts = program.lines.iter().map(|kind| kind.starts.as_slice()).collect();
        return Err(Miss::new(line, Expected::AnyOf(starts)));
    };
    let kind = &program.lines[index];
    if seen & 1 << index != 0 && !kind.repeats {
        return Err(Miss::new(line, Expected::Once(&kind.name)));
    }
    if program.in_order && index < last {
        return Err(Miss::new(line, Expected::EndAfter(&program.lines[last].name)));
    }
    Ok(index)
}

/// Names the line where a miss is about no field, and the layout has several.
fn in_line<'a>(miss: Miss<'a>, program: &Program, kind: &'a Line) -> Miss<'a> {
    if program.lines.len() > 1 { miss.in_field(&kind.name) } else { miss }
}

/// Instruments keep to their order: the field that is `likely` to come next is tried first.
fn find_tag(fields: &[Tagged], tag: &[u8], likely: usize) -> Option<usize> {
    let is = |index: &usize| fields[*index].tag == tag;
    (likely..fields.len()).chain(0..likely.min(fields.len())).find(is)
}

fn tags(fields: &[Tagged]) -> Expected<'_> {
    Expected::AnyOf(fields.iter().map(|field| field.tag.as_slice()).collect())
}
