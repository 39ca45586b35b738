//! Compiles the text of a layout into a [`Program`] and its framing.

use super::compile_field::{EYES, LINES, MODES, VERTICES};
use super::compile_line::{LineText, line};
use super::compile_talk;
use super::conflicts;
use super::error::LayoutError;
use super::program::{Always, Check, Program};
use super::style::Styles;
use super::text::{At, Section, Source};
use crate::checksum::{Algorithm, Written};
use crate::frame::{End, FrameSpec};
use crate::talk::Talk;

/// A layout's name and title, and what it was compiled into.
pub(super) struct Compiled {
    pub name: String,
    pub title: String,
    pub framing: FrameSpec,
    pub program: Program,
    pub talk: Talk,
}

/// At most so many kinds of line, and so many fields in one: each has a bit in a word.
pub(super) const MOST: usize = 64;

/// Compiles a layout.
pub(super) fn compile(source: Source<'_>) -> Result<Compiled, LayoutError> {
    let mut layout = source.parse()?;
    let (name, at) = layout.needed_text("name")?;
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    if !name.bytes().all(plain) {
        return Err(source.error(
            at,
            format!("{name:?} is no name"),
            "lower-case letters, digits and hyphens",
        ));
    }
    let (title, _) = layout.needed_text("title")?;
    let mut framing = frame(layout.section("frame", "[frame]")?)?;
    let check = checksum(layout.section("checksum", "[checksum]")?, &mut framing)?;
    let always = always(layout.section("always", "[always]")?)?;
    let styles = Styles::from(layout.section("numbers", "[numbers]")?)?;
    let (line_ends, in_order, skip_blank) = lines(layout.section("lines", "[lines]")?)?;
    let talk = compile_talk::talk(layout.section("talk", "[talk]")?)?;
    let texts = layout
        .sections("line", "[[line]]")?
        .into_iter()
        .enumerate()
        .map(|(index, section)| line(section, index, &styles))
        .collect::<Result<Vec<LineText>, _>>()?;
    if texts.is_empty() || texts.len() > MOST {
        return Err(layout.error(format!("the layout has {} [[line]]", texts.len()), "1 to 64 of them"));
    }
    layout.finish()?;

    let (length, mut ends) = match &framing.end {
        End::Bytes(ends) => (None, ends.clone()),
        End::Length(length) => (Some(*length), Vec::new()),
        End::Silence => (None, Vec::new()),
    };
    ends.sort_by_key(|end| std::cmp::Reverse(end.len()));
    let by_position = in_order && texts.iter().all(|text| text.line.needed && !text.line.repeats);
    let frame = conflicts::Envelope {
        source,
        ends: &ends,
        line_ends: &line_ends,
        length,
        max: framing.max,
        by_position,
        overhead: framing.start.as_ref().map_or(0, Vec::len) + check.as_ref().map_or(0, Check::length),
    };
    conflicts::find(&frame, &texts)?;
    let program = Program {
        start: framing.start.clone().unwrap_or_default(),
        ends,
        length,
        check,
        line_ends,
        skip_blank,
        in_order,
        by_position,
        lines: texts.into_iter().map(|text| text.line).collect(),
        always,
    };
    Ok(Compiled { name, title, framing, program, talk })
}

impl Check {
    /// How many bytes of a frame it takes, those around it included.
    fn length(&self) -> usize {
        self.before.len() + self.written.length(self.algorithm) + self.after.len()
    }
}

fn frame(mut section: Section<'_>) -> Result<FrameSpec, LayoutError> {
    let start = section.bytes("start")?;
    if let Some((_, at)) = start.as_ref().filter(|(start, _)| start.is_empty()) {
        return Err(section.source.error(at.clone(), "start is empty", "the bytes a frame starts with"));
    }
    let ends = ends(&mut section, "end")?;
    let length = section.count("length", 1..65_537)?;
    let idle = section.count("idle_ms", 1..60_001)?.map(|(idle, _)| idle);
    let max = section.count("max", 1..1_048_577)?;
    let end = match (ends, length, idle) {
        (Some(_), Some((_, at)), _) => {
            return Err(section.source.error(at, "length beside end", "one of the two"));
        }
        (Some((ends, _)), None, _) => End::Bytes(ends),
        (None, Some((length, _)), _) => End::Length(length as usize),
        (None, None, Some(_)) => End::Silence,
        (None, None, None) => {
            let expected = "end = \"<CR><LF>\", end = \"any newline\", length = 40, or idle_ms = 80, or so";
            return Err(section.error("[frame] does not say what ends a frame", expected));
        }
    };
    if let (Some((max, at)), End::Length(length)) = (&max, &end)
        && (*max as usize) < *length
    {
        return Err(section.source.error(at.clone(), "max is less than length", "no max beside length"));
    }
    section.finish()?;
    let most = match &end {
        End::Length(length) => *length,
        _ => max.map_or(FrameSpec::MAX, |(max, _)| max as usize),
    };
    Ok(FrameSpec { start: start.map(|(start, _)| start), end, trailer: 0, max: most, idle })
}

/// A key whose value is `"any newline"`, a byte string, or a list of them.
fn ends(section: &mut Section<'_>, key: &'static str) -> Result<Option<At<Vec<Vec<u8>>>>, LayoutError> {
    let Some((mut ends, at)) = section.byte_list(key)? else { return Ok(None) };
    if ends.is_empty() || ends.iter().any(Vec::is_empty) {
        return Err(section.source.error(at, format!("{key} is empty"), "the bytes that end it"));
    }
    if ends == [b"any newline"] {
        ends = vec![b"\r\n".to_vec(), b"\r".to_vec(), b"\n".to_vec()];
    }
    ends.sort_by_key(|end| std::cmp::Reverse(end.len()));
    Ok(Some((ends, at)))
}

fn checksum(mut section: Section<'_>, framing: &mut FrameSpec) -> Result<Option<Check>, LayoutError> {
    if section.is_empty() {
        return Ok(None);
    }
    let kinds = [
        ("xor-8", Algorithm::Xor8),
        ("sum-8", Algorithm::Sum8),
        ("crc-16-ccitt-false", Algorithm::Crc16CcittFalse),
        ("crc-16-xmodem", Algorithm::Crc16Xmodem),
    ];
    let Some((algorithm, _)) = section.choice("kind", &kinds)? else {
        return Err(section.error("[checksum] has no kind", "kind = \"xor-8\", or so"));
    };
    let forms = [("hex", Written::Hex), ("raw", Written::Raw), ("raw-low-first", Written::RawLowFirst)];
    let written = section.choice("written", &forms)?.map_or(Written::Hex, |(written, _)| written);
    let stands = section.choice("stands", &[("before-end", false), ("after-end", true)])?;
    let check = Check {
        algorithm,
        written,
        before: section.bytes("before")?.map_or_else(Vec::new, |(before, _)| before),
        after: section.bytes("after")?.map_or_else(Vec::new, |(after, _)| after),
        after_end: stands.as_ref().is_some_and(|(after, _)| *after),
        covers_start: section.flag("covers_start")?.is_some_and(|(covers, _)| covers),
        covers_before: section.flag("covers_before")?.is_some_and(|(covers, _)| covers),
    };
    if check.after_end {
        let at = stands.map_or(section.at.clone(), |(_, at)| at);
        let End::Bytes(_) = framing.end else {
            let expected = "stands = \"before-end\" where length or silence ends a frame";
            return Err(section.source.error(at, "the frame has no end bytes to stand after", expected));
        };
        framing.trailer = check.length();
    }
    section.finish()?;
    Ok(Some(check))
}

fn always(mut section: Section<'_>) -> Result<Always, LayoutError> {
    let always = Always {
        eye: section.choice("eye", &EYES)?.map(|(eye, _)| eye),
        mode: section.choice("mode", &MODES)?.map(|(mode, _)| mode),
        vertex: section.choice("vertex", &VERTICES)?.map(|(vertex, _)| vertex),
        reference_line: section.choice("reference_line", &LINES)?.map(|(line, _)| line),
    };
    section.finish()?;
    Ok(always)
}

/// What ends a line, whether lines come in the order of the layout, whether blank ones are
/// skipped.
fn lines(mut section: Section<'_>) -> Result<(Vec<Vec<u8>>, bool, bool), LayoutError> {
    let ends = ends(&mut section, "end")?.map_or_else(Vec::new, |(ends, _)| ends);
    let order = section.choice("order", &[("listed", true), ("any", false)])?;
    let blank = section.choice("blank", &[("refuse", false), ("skip", true)])?;
    section.finish()?;
    Ok((ends, order.is_none_or(|(listed, _)| listed), blank.is_some_and(|(skip, _)| skip)))
}
