//! Compiles one kind of line.

use super::compile::MOST;
use super::compile_field::{self, EYES, MODES, VERTICES};
use super::error::LayoutError;
use super::program::{Columned, Field, Form, Line, Meaning, Placed, Read, Separator, Tagged, Unknown};
use super::style::Styles;
use super::text::Section;
use crate::notation::to_text;
use crate::reading::Eye;
use std::ops::Range;

/// A compiled line, and where in the text its parts stand.
pub(super) struct LineText {
    pub line: Line,
    pub at: Range<usize>,
    /// Of each field, in the order of the form.
    pub fields_at: Vec<Range<usize>>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum FormName {
    Tagged,
    Delimited,
    Columns,
}

/// A field with its place in the text, in the order in which it was written.
struct FieldText<P> {
    field: Field,
    at: Range<usize>,
    optional: bool,
    place: P,
}

/// The line that `section` describes, the layout's number `index`.
pub(super) fn line(mut section: Section<'_>, index: usize, styles: &Styles) -> Result<LineText, LayoutError> {
    let at = section.at.clone();
    let starts = section.bytes("starts")?.map_or_else(Vec::new, |(starts, _)| starts);
    let ends = section.bytes("ends")?.map_or_else(Vec::new, |(ends, _)| ends);
    let name = match section.text("name")? {
        Some((name, _)) => name,
        None if starts.is_empty() => format!("line {}", index + 1),
        None => format!("line {}", to_text(&starts).trim()),
    };
    let times = [
        ("once", (true, false)),
        ("optional", (false, false)),
        ("repeated", (true, true)),
        ("any", (false, true)),
    ];
    let (needed, repeats) = section.choice("times", &times)?.map_or((true, false), |(times, _)| times);
    let eye = section.choice("eye", &EYES)?;
    let mode = section.choice("mode", &MODES)?.map(|(mode, _)| mode);
    let vertex = section.choice("vertex", &VERTICES)?.map(|(vertex, _)| vertex);
    let forms =
        [("tagged", FormName::Tagged), ("delimited", FormName::Delimited), ("columns", FormName::Columns)];
    let Some((form, _)) = section.choice("form", &forms)? else {
        return Err(section.error("this line has no form", "form = \"tagged\", \"delimited\" or \"columns\""));
    };
    let (form, fields_at) = match form {
        FormName::Tagged => tagged(&mut section, styles)?,
        FormName::Delimited => delimited(&mut section, styles)?,
        FormName::Columns => columns(&mut section, styles, starts.len())?,
    };
    let marks_eye = fields(&form)
        .any(|field| matches!(&field.read, Read::Code(code) if matches!(code.means, Meaning::Eye(_))));
    if let Some((_, at)) = eye.as_ref().filter(|_| marks_eye) {
        return Err(section.source.error(at.clone(), "an eye beside an eye mark", "one of the two"));
    }
    let own_eyes =
        Eye::BOTH.into_iter().filter(|eye| fields(&form).any(|field| field.eye == Some(*eye))).collect();
    let about_lens = fields(&form).any(|field| match &field.read {
        Read::Number { .. } | Read::Prism { .. } => true,
        Read::Code(code) => matches!(code.means, Meaning::Base(..)),
        Read::Text { .. } | Read::Ignore | Read::Literal(_) => false,
    });
    section.finish()?;
    let eye = eye.map(|(eye, _)| eye);
    let line = Line {
        name,
        starts,
        ends,
        needed,
        repeats,
        eye,
        mode,
        vertex,
        marks_eye,
        about_lens,
        own_eyes,
        form,
    };
    Ok(LineText { line, at, fields_at })
}

/// The fields of a line, in the order of its form.
pub(super) fn fields(form: &Form) -> impl Iterator<Item = &Field> {
    let (tagged, placed, columned): (&[Tagged], &[Placed], &[Columned]) = match form {
        Form::Tagged { fields, .. } => (fields, &[], &[]),
        Form::Delimited { fields, .. } => (&[], fields, &[]),
        Form::Columns { fields } => (&[], &[], fields),
    };
    let tagged = tagged.iter().map(|field| &field.field);
    let placed = placed.iter().map(|field| &field.field);
    tagged.chain(placed).chain(columned.iter().map(|field| &field.field))
}

type FormText = (Form, Vec<Range<usize>>);

/// Reads every `[[line.field]]`; `place` reads where in the line it stands.
fn field_texts<P>(
    section: &mut Section<'_>,
    styles: &Styles,
    place: impl Fn(&mut Section<'_>) -> Result<P, LayoutError>,
) -> Result<Vec<FieldText<P>>, LayoutError> {
    let mut texts = Vec::new();
    for mut section in section.sections("field", "this field")? {
        let at = section.at.clone();
        let place = place(&mut section)?;
        let optional = section.flag("optional")?.is_some_and(|(optional, _)| optional);
        let field = compile_field::field(&mut section, styles)?;
        section.finish()?;
        texts.push(FieldText { field, at, optional, place });
    }
    if texts.len() > MOST {
        return Err(section.error(format!("this line has {} fields", texts.len()), "at most 64"));
    }
    Ok(texts)
}

fn separator(section: &mut Section<'_>) -> Result<Separator, LayoutError> {
    let bytes = section.bytes("separator")?;
    let repeats = section.flag("separator_repeats")?.is_some_and(|(repeats, _)| repeats);
    match bytes {
        Some((bytes, _)) if !bytes.is_empty() => Ok(Separator { bytes, repeats }),
        _ => Err(section.error("this line has no separator", "separator = \",\", or so")),
    }
}

fn tagged(section: &mut Section<'_>, styles: &Styles) -> Result<FormText, LayoutError> {
    let separator = separator(section)?;
    let Some((assign, _)) = section.bytes("assign")? else {
        let expected = "assign = \"=\", or so; \"\" where values follow their tags directly";
        return Err(section.error("this tagged line has no assign", expected));
    };
    let unknown = [("refuse", Unknown::Refuse), ("keep", Unknown::Keep), ("ignore", Unknown::Skip)];
    let unknown = section.choice("unknown", &unknown)?;
    if let Some((_, at)) =
        unknown.as_ref().filter(|(unknown, _)| assign.is_empty() && *unknown != Unknown::Refuse)
    {
        let expected = "unknown = \"refuse\" where assign is empty: a tag's end cannot be seen";
        return Err(section.source.error(at.clone(), "unknown tags cannot be told", expected));
    }
    let texts = field_texts(section, styles, |section| {
        let (tag, at) = section.needed_text("tag")?;
        crate::notation::from_text(tag.trim())
            .map_err(|error| section.source.error(at, error.to_string(), "a tag such as \"SPH\""))
    })?;
    let (at, fields) = texts
        .into_iter()
        .map(|text| (text.at, Tagged { tag: text.place, optional: text.optional, field: text.field }))
        .unzip();
    let unknown = unknown.map_or(Unknown::Refuse, |(unknown, _)| unknown);
    Ok((Form::Tagged { separator, assign, unknown, fields }, at))
}

fn delimited(section: &mut Section<'_>, styles: &Styles) -> Result<FormText, LayoutError> {
    let separator = separator(section)?;
    let texts = field_texts(section, styles, |_| Ok(()))?;
    optional_last(section, &texts)?;
    let (at, fields) = texts
        .into_iter()
        .map(|text| (text.at, Placed { optional: text.optional, field: text.field }))
        .unzip();
    Ok((Form::Delimited { separator, fields }, at))
}

fn columns(section: &mut Section<'_>, styles: &Styles, starts: usize) -> Result<FormText, LayoutError> {
    let mut texts = field_texts(section, styles, |section| {
        let (text, at) = section.needed_text("columns")?;
        column_range(&text)
            .filter(|columns| columns.start >= starts)
            .map(|columns| (columns, at.clone()))
            .ok_or_else(|| {
                let expected = format!(
                    "\"first-last\", counted from 1 at the line's first byte, {} or later",
                    starts + 1
                );
                section.source.error(at, format!("{text:?} are no columns of this line"), expected)
            })
    })?;
    texts.sort_by_key(|text| text.place.0.start);
    for pair in texts.windows(2) {
        let (left, right) = (&pair[0], &pair[1]);
        if right.place.0.start < left.place.0.end {
            let wrong = format!("the columns of {} overlap those of {}", right.field.label, left.field.label);
            return Err(section.source.error(
                right.place.1.clone(),
                wrong,
                "columns of its own for each field",
            ));
        }
    }
    optional_last(section, &texts)?;
    let (at, fields) = texts
        .into_iter()
        .map(|text| (text.at, Columned { columns: text.place.0, optional: text.optional, field: text.field }))
        .unzip();
    Ok((Form::Columns { fields }, at))
}

/// Where a field is missing, so are those behind it: only the last ones can be optional.
fn optional_last<P>(section: &Section<'_>, texts: &[FieldText<P>]) -> Result<(), LayoutError> {
    match texts.windows(2).find(|pair| pair[0].optional && !pair[1].optional) {
        None => Ok(()),
        Some(pair) => {
            let wrong =
                format!("{} is optional, and {} behind it is not", pair[0].field.label, pair[1].field.label);
            Err(section.source.error(
                pair[1].at.clone(),
                wrong,
                "optional = true on every field from there on",
            ))
        }
    }
}

/// `3-8` or `3` as offsets counted from 0.
fn column_range(text: &str) -> Option<Range<usize>> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let first: usize = first.trim().parse().ok()?;
    let last: usize = last.trim().parse().ok()?;
    (1..=last).contains(&first).then(|| first - 1..last).filter(|columns| columns.end <= 4096)
}
