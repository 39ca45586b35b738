//! Refuses layouts that overlap themselves or can match nothing.

use super::compile_line::{LineText, fields};
use super::error::LayoutError;
use super::number::{NumberForm, Point, Sign};
use super::program::{AmountBase, Code, Field, Form, Meaning, Read, Tagged, TextKind};
use super::quantity::{Component, Quantity};
use super::text::Source;
use crate::notation::to_text;
use memchr::memmem;
use std::ops::Range;

/// What the lines stand in.
pub(super) struct Envelope<'p> {
    pub source: Source<'p>,
    pub ends: &'p [Vec<u8>],
    pub line_ends: &'p [Vec<u8>],
    pub length: Option<usize>,
    pub max: usize,
    pub by_position: bool,
    /// Bytes of a frame besides its lines and its end.
    pub overhead: usize,
}

type Check = Result<(), LayoutError>;

/// The first conflict among `lines`.
pub(super) fn find(frame: &Envelope<'_>, lines: &[LineText]) -> Check {
    lines_told_apart(frame, lines)?;
    for text in lines {
        line_can_match(frame, text)?;
        fields_once(frame.source, text)?;
        fields_can_match(frame, text)?;
    }
    prism_complete(frame.source, lines)?;
    frame_can_match(frame, lines)
}

fn lines_told_apart(frame: &Envelope<'_>, lines: &[LineText]) -> Check {
    if frame.line_ends.is_empty()
        && let Some(second) = lines.iter().filter(|text| text.line.needed).nth(1)
    {
        let wrong = "a frame needs several lines, and nothing ends a line";
        return Err(frame.source.error(second.at.clone(), wrong, "[lines] with end = \"<CR><LF>\", or so"));
    }
    if frame.by_position {
        return Ok(());
    }
    for (index, second) in lines.iter().enumerate() {
        let clash = |first: &&LineText| {
            first.line.starts.starts_with(&second.line.starts)
                || second.line.starts.starts_with(&first.line.starts)
        };
        if let Some(first) = lines[..index].iter().find(clash) {
            let wrong = format!(
                "{} and {} can both match a line that starts with {:?}",
                first.line.name,
                second.line.name,
                to_text(longer(&first.line.starts, &second.line.starts)),
            );
            return Err(frame.source.error(second.at.clone(), wrong, "a start of its own for each line"));
        }
    }
    Ok(())
}

fn longer<'b>(a: &'b [u8], b: &'b [u8]) -> &'b [u8] {
    if a.len() > b.len() { a } else { b }
}

fn line_can_match(frame: &Envelope<'_>, text: &LineText) -> Check {
    let line = &text.line;
    if line.starts.is_empty() && line.ends.is_empty() && fields(&line.form).next().is_none() {
        return Err(frame.source.error(
            text.at.clone(),
            "this line says nothing",
            "starts, or a [[line.field]]",
        ));
    }
    inside(frame, &line.starts, "starts", &text.at)?;
    inside(frame, &line.ends, "ends", &text.at)?;
    match &line.form {
        Form::Tagged { separator, assign, .. } => {
            inside(frame, &separator.bytes, "separator", &text.at)?;
            inside(frame, assign, "assign", &text.at)?;
            if has(assign, &separator.bytes) || has(&separator.bytes, assign) {
                let wrong = "separator and assign hide each other";
                return Err(frame.source.error(
                    text.at.clone(),
                    wrong,
                    "bytes that do not contain each other",
                ));
            }
            Ok(())
        }
        Form::Delimited { separator, .. } => inside(frame, &separator.bytes, "separator", &text.at),
        Form::Columns { .. } => Ok(()),
    }
}

/// `bytes` must be able to stand inside a line.
fn inside(frame: &Envelope<'_>, bytes: &[u8], what: &str, at: &Range<usize>) -> Check {
    match frame.ends.iter().chain(frame.line_ends).find(|end| has(bytes, end)) {
        None => Ok(()),
        Some(end) => {
            let wrong = format!(
                "{what} {:?} can never match: {:?} ends the line before",
                to_text(bytes),
                to_text(end)
            );
            Err(frame.source.error(at.clone(), wrong, "bytes without what ends a line or the frame"))
        }
    }
}

fn has(bytes: &[u8], part: &[u8]) -> bool {
    !part.is_empty() && memmem::find(bytes, part).is_some()
}

fn fields_once(source: Source<'_>, text: &LineText) -> Check {
    let all: Vec<&Field> = fields(&text.line.form).collect();
    let free = |field: &Field| {
        matches!(
            field.read,
            Read::Ignore
                | Read::Literal(_)
                | Read::Text { what: TextKind::Fault { .. } | TextKind::Time, .. }
        )
    };
    for (index, field) in all.iter().enumerate() {
        let twice = |before: &&&Field| !free(before) && before.label == field.label;
        if !free(field) && all[..index].iter().any(|before| twice(&before)) {
            let wrong = format!("{} is read twice in {}", field.label, text.line.name);
            return Err(source.error(text.fields_at[index].clone(), wrong, "every value in one place"));
        }
    }
    let Form::Tagged { fields, assign, .. } = &text.line.form else { return Ok(()) };
    for (index, field) in fields.iter().enumerate() {
        let hidden = |before: &&Tagged| {
            before.tag == field.tag
                || assign.is_empty()
                    && (before.tag.starts_with(&field.tag) || field.tag.starts_with(&before.tag))
        };
        if let Some(before) = fields[..index].iter().find(hidden) {
            let (tag, other) = (to_text(&field.tag), to_text(&before.tag));
            let wrong = format!(
                "the tag {tag:?} of {} overlaps {other:?} of {}",
                field.field.label, before.field.label
            );
            return Err(source.error(
                text.fields_at[index].clone(),
                wrong,
                "a tag of its own for each field",
            ));
        }
    }
    Ok(())
}

fn fields_can_match(frame: &Envelope<'_>, text: &LineText) -> Check {
    for (index, field) in fields(&text.line.form).enumerate() {
        let at = &text.fields_at[index];
        for bytes in literals(field) {
            inside(frame, bytes, &field.label, at)?;
        }
        match &text.line.form {
            Form::Tagged { separator, assign, fields, .. } => {
                let tag = &fields[index].tag;
                inside(frame, tag, "tag", at)?;
                if has(tag, &separator.bytes) || has(tag, assign) {
                    let wrong = format!("the tag {:?} can never match", to_text(tag));
                    return Err(frame.source.error(
                        at.clone(),
                        wrong,
                        "a tag without separator or assign in it",
                    ));
                }
                separable(frame.source, field, &separator.bytes, at)?;
            }
            Form::Delimited { separator, .. } => separable(frame.source, field, &separator.bytes, at)?,
            Form::Columns { fields } => fits(frame.source, field, fields[index].columns.len(), at)?,
        }
    }
    Ok(())
}

/// Bytes that a field's value must or may be.
fn literals(field: &Field) -> Vec<&[u8]> {
    fn keys<M>(codes: &[(Vec<u8>, M)]) -> Vec<&[u8]> {
        codes.iter().map(|(code, _)| code.as_slice()).collect()
    }
    match &field.read {
        Read::Literal(text) => vec![text],
        Read::Number { form, .. } => vec![&form.before, &form.after],
        Read::Prism { form, base: AmountBase::Letters { codes, .. }, .. } => {
            [vec![form.before.as_slice(), &form.after], keys(codes)].concat()
        }
        Read::Prism { form, .. } => vec![&form.before, &form.after],
        Read::Code(Code { means, .. }) => match means {
            Meaning::Eye(codes) => keys(codes),
            Meaning::Mode(codes) => keys(codes),
            Meaning::Vertex(codes) => keys(codes),
            Meaning::ReferenceLine(codes) => keys(codes),
            Meaning::Base(_, codes) => keys(codes),
        },
        Read::Text { what: TextKind::Fault { split: Some(split) }, .. } => vec![split],
        Read::Text { .. } | Read::Ignore => Vec::new(),
    }
}

fn form(field: &Field) -> Option<&NumberForm> {
    match &field.read {
        Read::Number { form, .. } | Read::Prism { form, .. } => Some(form),
        _ => None,
    }
}

/// A value with the separator in it would be cut in two.
fn separable(source: Source<'_>, field: &Field, separator: &[u8], at: &Range<usize>) -> Check {
    let cut = literals(field).into_iter().find(|bytes| has(bytes, separator));
    let point: Option<&[u8]> = form(field).and_then(|form| match form.point {
        Point::Dot => Some(&b"."[..]),
        Point::Comma => Some(b","),
        Point::Either | Point::Implied(_) | Point::Whole => None,
    });
    match cut.or(point.filter(|point| *point == separator)) {
        None => Ok(()),
        Some(bytes) => {
            let wrong =
                format!("{} can never match: the separator stands in {:?}", field.label, to_text(bytes));
            Err(source.error(at.clone(), wrong, "values without the separator in them"))
        }
    }
}

/// A value must fit its columns.
fn fits(source: Source<'_>, field: &Field, width: usize, at: &Range<usize>) -> Check {
    let needed = match &field.read {
        Read::Literal(text) if text.len() != width => {
            let wrong =
                format!("the literal {:?} has {} bytes, its columns {width}", to_text(text), text.len());
            return Err(source.error(at.clone(), wrong, "as many columns as bytes"));
        }
        _ => form(field).map_or(0, least_width),
    };
    if needed <= width {
        return Ok(());
    }
    let wrong = format!(
        "{} can never match: its number has {needed} bytes or more, its columns {width}",
        field.label
    );
    Err(source.error(at.clone(), wrong, "columns as wide as the number"))
}

fn least_width(form: &NumberForm) -> usize {
    let decimals = form.decimals.map(usize::from);
    let whole = form.whole.map(usize::from);
    let digits = match form.point {
        Point::Implied(decimals) => whole.map_or(1, |whole| whole + usize::from(decimals)),
        Point::Whole => whole.unwrap_or(1),
        Point::Dot | Point::Comma | Point::Either => match (whole, decimals) {
            (whole, Some(decimals)) => whole.unwrap_or(0) + 1 + decimals,
            (whole, None) => whole.unwrap_or(1),
        },
    };
    digits + usize::from(form.sign == Sign::Required) + form.before.len() + form.after.len()
}

/// Every amount of prism needs a base, every base an amount, and one way of saying it.
fn prism_complete(source: Source<'_>, lines: &[LineText]) -> Check {
    let all = || lines.iter().flat_map(|text| fields(&text.line.form).zip(&text.fields_at));
    let amount = |field: &Field| match &field.read {
        Read::Prism { component, .. } => Some(*component),
        _ => None,
    };
    let base = |field: &Field| match &field.read {
        Read::Code(Code { means: Meaning::Base(component, _), .. }) => Some(*component),
        Read::Number { quantity: Quantity::PrismBase, .. } => Some(Component::Whole),
        _ => None,
    };
    let whole = all().any(|(field, _)| amount(field) == Some(Component::Whole));
    for (field, at) in all() {
        if let Some(component) = amount(field) {
            let name = component.base_name();
            let alone = matches!(&field.read, Read::Prism { base: AmountBase::Elsewhere, .. })
                && !all().any(|(field, _)| base(field) == Some(component));
            if alone {
                let expected = match component {
                    Component::Whole => format!("bases = {{ I = \"in\", ... }}, or a field {name}"),
                    Component::Horizontal => {
                        format!("positive = \"in\" or \"out\", bases, or a field {name}")
                    }
                    Component::Vertical => format!("positive = \"up\" or \"down\", bases, or a field {name}"),
                };
                return Err(source.error(at.clone(), format!("{} has no base", field.label), expected));
            }
            if component != Component::Whole && whole {
                let wrong = "prism as components beside prism as amount and base";
                return Err(source.error(at.clone(), wrong, "one of the two: they would be added up"));
            }
        }
        if let Some(component) = base(field)
            && !all().any(|(field, _)| amount(field) == Some(component))
        {
            let wrong = format!("{} has no amount", field.label);
            return Err(source.error(at.clone(), wrong, format!("a field {}", component.amount().name())));
        }
    }
    Ok(())
}

/// A frame with columns has a least length, and one line of columns has a greatest.
fn frame_can_match(frame: &Envelope<'_>, lines: &[LineText]) -> Check {
    for text in lines.iter().filter(|text| text.line.needed) {
        let Form::Columns { fields } = &text.line.form else { continue };
        let end = |columned: Option<&super::program::Columned>| {
            columned.map_or(text.line.starts.len(), |columned| columned.columns.end)
        };
        let tail = frame.overhead + text.line.ends.len();
        let least = tail + end(fields.iter().rfind(|columned| !columned.optional));
        let most = tail + end(fields.last());
        let wrong = match frame.length {
            _ if least > frame.max => {
                format!(
                    "{} can never match: it needs frames of {least} bytes, the most is {}",
                    text.line.name, frame.max
                )
            }
            Some(length) if lines.len() == 1 && frame.line_ends.is_empty() && most < length => {
                format!("{} can never match: it ends at byte {most} of frames of {length}", text.line.name)
            }
            _ => continue,
        };
        return Err(frame.source.error(text.at.clone(), wrong, "columns and frame length that agree"));
    }
    Ok(())
}
