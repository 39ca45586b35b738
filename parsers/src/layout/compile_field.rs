//! Compiles one field of a line.

use super::error::LayoutError;
use super::number::trimmed;
use super::program::{AmountBase, Code, Field, Meaning, Read, TextKind};
use super::quantity::{Component, Quantity, label};
use super::style::Styles;
use super::text::{At, Section};
use crate::reading::{Base, Eye, Mode, ReferenceLine, Vertex};

/// Values of the keys that name an eye.
pub(super) const EYES: [(&str, Eye); 2] = [("right", Eye::Right), ("left", Eye::Left)];
/// Values of the keys that name a mode.
pub(super) const MODES: [(&str, Mode); 3] =
    [("distance", Mode::Distance), ("near", Mode::Near), ("progressive", Mode::Progressive)];
/// Values of the keys that name a vertex.
pub(super) const VERTICES: [(&str, Vertex); 2] = [("back", Vertex::Back), ("front", Vertex::Front)];
/// Values of the keys that name a reference line.
pub(super) const LINES: [(&str, ReferenceLine); 2] = [("d", ReferenceLine::D), ("e", ReferenceLine::E)];

/// What a field can be besides a [`Quantity`].
const OTHERS: [&str; 14] = [
    "prism_horizontal_base",
    "prism_vertical_base",
    "eye",
    "mode",
    "vertex",
    "reference_line",
    "job",
    "operator",
    "serial",
    "instrument_time",
    "fault",
    "keep",
    "ignore",
    "literal",
];

/// The field that `section` describes; its place in the line is not read here.
pub(super) fn field(section: &mut Section<'_>, styles: &Styles) -> Result<Field, LayoutError> {
    let (is, at) = section.needed_text("is")?;
    let quantity = Quantity::ALL.into_iter().find(|(name, _)| *name == is).map(|(_, quantity)| quantity);
    let component = Component::ALL.into_iter().find(|component| component.base_name() == is);
    let lens = quantity.is_some() || component.is_some();
    let eye = if lens { section.choice("eye", &EYES)?.map(|(eye, _)| eye) } else { None };
    let read = match (quantity, component) {
        (_, Some(component)) => base(section, styles, component)?,
        (Some(quantity), None) => number(section, styles, quantity)?,
        (None, None) => other(section, &is, at)?,
    };
    let name = match &read {
        Read::Text { what: TextKind::Keep(name), .. } => name.clone(),
        Read::Ignore => section.text("name")?.map_or_else(|| "this field".to_owned(), |(name, _)| name),
        _ => is,
    };
    Ok(Field { label: label(eye, &name), eye, read })
}

fn number(section: &mut Section<'_>, styles: &Styles, quantity: Quantity) -> Result<Read, LayoutError> {
    let style = styles.of(quantity).with(section, quantity)?;
    let Some(component) = quantity.component() else {
        return Ok(Read::Number { quantity, form: style.form(section, false)? });
    };
    let letters = section.map("bases", &bases_of(component))?;
    let letters_after = section.choice("base_at", &[("before", false), ("after", true)])?;
    let base = match (letters, style.positive) {
        (Some((_, at)), Some(_)) => {
            return Err(section.source.error(at, "bases beside positive", "one of the two"));
        }
        (Some((mut codes, _)), None) => {
            codes.iter_mut().for_each(|(code, _)| *code = trimmed(code).to_vec());
            // The longest code first, so that none hides behind its own beginning.
            codes.sort_by_key(|(code, _)| std::cmp::Reverse(code.len()));
            AmountBase::Letters { after: letters_after.is_none_or(|(after, _)| after), codes }
        }
        (None, Some(positive)) => AmountBase::Signed(positive, opposite(positive)),
        (None, None) => AmountBase::Elsewhere,
    };
    let signless = !matches!(base, AmountBase::Signed(..));
    let form = style.form(section, signless)?;
    Ok(Read::Prism { component, form, base })
}

fn base(section: &mut Section<'_>, styles: &Styles, component: Component) -> Result<Read, LayoutError> {
    match (section.map("values", &bases_of(component))?, component) {
        (Some((codes, _)), _) => {
            Ok(Read::Code(Code { means: Meaning::Base(component, tidy(codes)), missing: missing(section)? }))
        }
        (None, Component::Whole) => {
            let style = styles.of(Quantity::PrismBase).with(section, Quantity::PrismBase)?;
            Ok(Read::Number { quantity: Quantity::PrismBase, form: style.form(section, true)? })
        }
        (None, _) => Err(no_values(section, "values = { I = \"in\", O = \"out\" }, or so")),
    }
}

fn other(section: &mut Section<'_>, is: &str, at: std::ops::Range<usize>) -> Result<Read, LayoutError> {
    fn needed<T>(section: &Section<'_>, map: Option<At<T>>, example: &str) -> Result<T, LayoutError> {
        map.map(|(map, _)| map).ok_or_else(|| no_values(section, example))
    }
    let means = match is {
        "eye" => {
            let map = section.map("values", &EYES)?;
            Meaning::Eye(tidy(needed(section, map, "values = { R = \"right\", L = \"left\" }, or so")?))
        }
        "mode" => {
            let map = section.map("values", &MODES)?;
            Meaning::Mode(tidy(needed(section, map, "values = { D = \"distance\", N = \"near\" }, or so")?))
        }
        "vertex" => {
            let map = section.map("values", &VERTICES)?;
            Meaning::Vertex(tidy(needed(section, map, "values = { B = \"back\", F = \"front\" }, or so")?))
        }
        "reference_line" => {
            let map = section.map("values", &LINES)?;
            Meaning::ReferenceLine(tidy(needed(section, map, "values = { d = \"d\", e = \"e\" }, or so")?))
        }
        "ignore" => return Ok(Read::Ignore),
        "literal" => {
            let Some((text, _)) = section.bytes("text")? else {
                return Err(section.error("this literal has no text", "text = \"...\""));
            };
            return Ok(Read::Literal(text));
        }
        _ => {
            let what = text(section, is, at)?;
            return Ok(Read::Text { what, missing: missing(section)? });
        }
    };
    Ok(Read::Code(Code { means, missing: missing(section)? }))
}

fn text(section: &mut Section<'_>, is: &str, at: std::ops::Range<usize>) -> Result<TextKind, LayoutError> {
    Ok(match is {
        "job" => TextKind::Job,
        "operator" => TextKind::Operator,
        "serial" => TextKind::Serial,
        "instrument_time" => TextKind::Time,
        "fault" => {
            let split = section.bytes("split")?;
            if let Some((_, at)) = split.as_ref().filter(|(split, _)| split.is_empty()) {
                return Err(section.source.error(
                    at.clone(),
                    "split is empty",
                    "the bytes between two codes",
                ));
            }
            TextKind::Fault { split: split.map(|(split, _)| split) }
        }
        "keep" => TextKind::Keep(section.needed_text("name")?.0),
        _ => {
            let names: Vec<&str> = Quantity::ALL.iter().map(|(name, _)| *name).chain(OTHERS).collect();
            return Err(section.source.misspelt(at, "a quantity or another thing to read", is, &names));
        }
    })
}

fn missing(section: &mut Section<'_>) -> Result<Vec<Vec<u8>>, LayoutError> {
    let texts = section.byte_list("missing")?.map_or_else(Vec::new, |(texts, _)| texts);
    Ok(texts.iter().map(|text| trimmed(text).to_vec()).collect())
}

fn no_values(section: &Section<'_>, example: &str) -> LayoutError {
    section.error("this field has no values", example)
}

/// Codes are compared without the blanks around them.
fn tidy<T>(codes: Vec<(Vec<u8>, T)>) -> Vec<(Vec<u8>, T)> {
    codes.into_iter().map(|(code, meaning)| (trimmed(&code).to_vec(), meaning)).collect()
}

fn bases_of(component: Component) -> Vec<(&'static str, Base)> {
    let horizontal = [("in", Base::In), ("out", Base::Out)];
    let vertical = [("up", Base::Up), ("down", Base::Down)];
    match component {
        Component::Horizontal => horizontal.to_vec(),
        Component::Vertical => vertical.to_vec(),
        Component::Whole => [horizontal, vertical].concat(),
    }
}

fn opposite(base: Base) -> Base {
    match base {
        Base::In => Base::Out,
        Base::Out => Base::In,
        Base::Up => Base::Down,
        Base::Down => Base::Up,
        towards @ Base::Towards(_) => towards,
    }
}
