//! Reads one field's bytes into the draft.

use super::account::{Trace, What};
use super::draft::Slot;
use super::miss::{Expected, Miss};
use super::number::{NumberForm, is_one_of, literal, trimmed};
use super::program::{AmountBase, Code, Field, Meaning, Read, TextKind};
use super::quantity::Component;
use super::run::{LineMarks, Run};
use crate::reading::{Base, JobNumber};
use memchr::memmem;

/// Reads the whole of `cell` as `field`.
pub(super) fn read<'a, T: Trace>(
    run: &mut Run<'a, '_, T>,
    field: &'a Field,
    cell: &'a [u8],
    slot: Slot,
    marks: &mut LineMarks,
) -> Result<(), Miss<'a>> {
    // Once the line's eye mark has been read, its values need not wait for their lens.
    let eye = field.eye.or(marks.eye.filter(|_| slot == Slot::Line));
    let slot = eye.map_or(slot, |eye| Slot::from(Some(eye)));
    let once = || Miss::new(cell, Expected::Once(&field.label));
    let absent = match &field.read {
        Read::Ignore => {
            run.trace.mark(cell, || What::Skipped { why: format!("the layout ignores {}", field.label) });
            return Ok(());
        }
        Read::Literal(bytes) => {
            let (rest, bytes) =
                literal(bytes, cell).map_err(|miss| Miss::from(miss).in_field(&field.label))?;
            run.trace.mark(bytes, || What::Literal);
            return if rest.is_empty() {
                Ok(())
            } else {
                Err(Miss::new(rest, Expected::EndAfter(&field.label)).in_field(&field.label))
            };
        }
        Read::Number { quantity, form } => form.read(*quantity, cell).and_then(|number| match number {
            None => Ok(true),
            Some(number) if run.draft.number(slot, *quantity, number, cell) => Ok(false),
            Some(_) => Err(once()),
        }),
        Read::Prism { component, form, base } => {
            prism(run, *component, form, base, cell, slot).and_then(|said| said.ok_or_else(once))
        }
        Read::Code(code) => self::code(run, code, cell, slot, marks).and_then(|said| said.ok_or_else(once)),
        Read::Text { what, missing } => text(run, what, missing, cell).and_then(|said| said.ok_or_else(once)),
    }
    .map_err(|miss| miss.in_field(&field.label))?;
    run.trace.mark(cell, || What::Field { name: field.label.clone(), absent });
    Ok(())
}

/// Keeps `cell` as text under the name that is its `tag`.
pub(super) fn keep<'a, T: Trace>(
    run: &mut Run<'a, '_, T>,
    tag: &'a [u8],
    cell: &'a [u8],
) -> Result<(), Miss<'a>> {
    let name = printable(tag)?;
    let text = printable(trimmed(cell)).map_err(|miss| miss.in_field(name))?;
    if run.draft.reading.kept.insert(name.to_owned(), text.to_owned()).is_some() {
        return Err(Miss::new(cell, Expected::Once(name)).in_field(name));
    }
    run.trace.mark(cell, || What::Field { name: name.to_owned(), absent: text.is_empty() });
    Ok(())
}

/// Whether the cell says "absent"; nothing where the frame said the same before.
type Said = Option<bool>;

fn prism<'a, T: Trace>(
    run: &mut Run<'a, '_, T>,
    component: Component,
    form: &'a NumberForm,
    base: &'a AmountBase,
    cell: &'a [u8],
    slot: Slot,
) -> Result<Said, Miss<'a>> {
    let quantity = component.amount();
    let (digits, lettered) = match base {
        AmountBase::Letters { after, codes } => letters(*after, codes, cell),
        AmountBase::Elsewhere | AmountBase::Signed(..) => (cell, None),
    };
    let Some(number) = form.read(quantity, digits)? else { return Ok(Some(true)) };
    let negative = number.mantissa < 0;
    let base = match base {
        AmountBase::Elsewhere => None,
        AmountBase::Signed(positive, opposite) => Some(if negative { *opposite } else { *positive }),
        AmountBase::Letters { codes, .. } if lettered.is_none() && number.mantissa != 0 => {
            let codes = codes.iter().map(|(code, _)| code.as_slice()).collect();
            return Err(Miss::new(cell, Expected::AnyOf(codes)));
        }
        AmountBase::Letters { .. } => lettered,
    };
    let new = run.draft.number(slot, quantity, number, cell);
    Ok((new && base.is_none_or(|base| run.draft.base(slot, component, base))).then_some(false))
}

/// A cell without its base letters, and the base they name.
fn letters<'a>(after: bool, codes: &[(Vec<u8>, Base)], cell: &'a [u8]) -> (&'a [u8], Option<Base>) {
    let text = trimmed(cell);
    for (code, base) in codes {
        let rest =
            if after { text.strip_suffix(code.as_slice()) } else { text.strip_prefix(code.as_slice()) };
        if let Some(rest) = rest {
            return (rest, Some(*base));
        }
    }
    (cell, None)
}

fn code<'a, T: Trace>(
    run: &mut Run<'a, '_, T>,
    code: &'a Code,
    cell: &'a [u8],
    slot: Slot,
    marks: &mut LineMarks,
) -> Result<Said, Miss<'a>> {
    let text = trimmed(cell);
    if is_one_of(text, &code.missing) {
        return Ok(Some(true));
    }
    let new = match &code.means {
        Meaning::Eye(codes) => marks.eye.replace(meaning(codes, text, cell)?).is_none(),
        Meaning::Mode(codes) => marks.manner.mode.replace(meaning(codes, text, cell)?).is_none(),
        Meaning::Vertex(codes) => marks.manner.vertex.replace(meaning(codes, text, cell)?).is_none(),
        Meaning::ReferenceLine(codes) => {
            agrees(&mut run.draft.reading.reference_line, meaning(codes, text, cell)?)
        }
        Meaning::Base(component, codes) => run.draft.base(slot, *component, meaning(codes, text, cell)?),
    };
    Ok(new.then_some(false))
}

fn meaning<'a, M: Copy>(codes: &'a [(Vec<u8>, M)], text: &[u8], cell: &'a [u8]) -> Result<M, Miss<'a>> {
    let found = codes.iter().find(|(code, _)| code == text).map(|(_, meaning)| *meaning);
    found.ok_or_else(|| {
        Miss::new(cell, Expected::AnyOf(codes.iter().map(|(code, _)| code.as_slice()).collect()))
    })
}

fn text<'a, T: Trace>(
    run: &mut Run<'a, '_, T>,
    what: &'a TextKind,
    missing: &[Vec<u8>],
    cell: &'a [u8],
) -> Result<Said, Miss<'a>> {
    let bytes = trimmed(cell);
    if bytes.is_empty() || is_one_of(bytes, missing) {
        return Ok(Some(true));
    }
    let text = printable(bytes)?;
    let reading = &mut run.draft.reading;
    let new = match what {
        TextKind::Job => {
            let job: JobNumber = text
                .parse()
                .map_err(|_| Miss::new(cell, Expected::Words("a job number of at most 64 characters")))?;
            agrees(&mut reading.job, job)
        }
        TextKind::Operator => agrees(&mut reading.operator, text.to_owned()),
        TextKind::Serial => agrees(&mut reading.serial, text.to_owned()),
        TextKind::Time => {
            let time = reading.instrument_time.get_or_insert_default();
            if !time.is_empty() {
                time.push(' ');
            }
            time.push_str(text);
            true
        }
        TextKind::Fault { split: None } => {
            reading.faults.push(text.to_owned());
            true
        }
        TextKind::Fault { split: Some(split) } => {
            // Printable ASCII, so that every part of it is text too.
            let mut rest = bytes;
            loop {
                let at = memmem::find(rest, split);
                let part = trimmed(&rest[..at.unwrap_or(rest.len())]);
                if !part.is_empty() && !is_one_of(part, missing) {
                    reading.faults.push(printable(part)?.to_owned());
                }
                let Some(at) = at else { break };
                rest = &rest[at + split.len()..];
            }
            true
        }
        TextKind::Keep(name) => reading.kept.insert(name.clone(), text.to_owned()).is_none(),
    };
    Ok(new.then_some(false))
}

/// Sets what a frame may say more than once, as long as it says the same.
fn agrees<V: PartialEq>(place: &mut Option<V>, value: V) -> bool {
    let same = place.as_ref().is_none_or(|before| *before == value);
    *place = Some(value);
    same
}

/// Texts are printable ASCII: anything else is line noise.
fn printable(bytes: &[u8]) -> Result<&str, Miss<'_>> {
    let noise = bytes.iter().position(|byte| !matches!(byte, b' '..=b'~'));
    match (noise, std::str::from_utf8(bytes)) {
        (None, Ok(text)) => Ok(text),
        (noise, _) => {
            Err(Miss::new(&bytes[noise.unwrap_or(0)..], Expected::Words("printable ASCII characters")))
        }
    }
}
