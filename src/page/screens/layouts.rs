//! Layouts: which there are, what one says, and what it makes of some bytes.

use super::bytes::{self, Part};
use super::language::Language;
use super::{Frame, render};
use crate::optics::normal_form;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::frame::{Ended, Frame as Taken, Framer};
use crate::parsers::notation;
use crate::parsers::reader::Reader;
use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

/// How many characters are tried at most.
const LONGEST: usize = 16 * 1024;
/// How many frames are shown at most.
const MOST: usize = 50;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "layouts.html")]
struct Layouts {
    frame: Frame,
    say: Language,
    layouts: Vec<Line>,
}

struct Line {
    name: String,
    title: String,
    used_by: Vec<String>,
    is_built_in: bool,
}

pub(super) async fn list(State(app): State<Arc<App>>, who: Who) -> Response {
    let say = app.language();
    let mut readers = Reader::all();
    for own in app.settings.instruments.iter().flat_map(|instrument| instrument.reader.parts()) {
        if !readers.iter().any(|reader| reader.text() == own.text()) {
            readers.push(own.clone());
        }
    }
    let line = |reader: &Reader| Line {
        name: reader.name().to_owned(),
        title: reader.title().to_owned(),
        used_by: used_by(&app, reader),
        is_built_in: Reader::named(reader.name()).is_some_and(|known| known.text() == reader.text()),
    };
    let layouts = readers.iter().map(line).collect();
    render(&Layouts { frame: Frame::new(&app, &who, say.nav_layouts).under("/layouts"), layouts, say })
}

fn used_by(app: &App, reader: &Reader) -> Vec<String> {
    let reads = |own: &&Reader| own.text() == reader.text();
    let uses =
        app.settings.instruments.iter().filter(|instrument| instrument.reader.parts().iter().any(reads));
    uses.map(|instrument| instrument.name.clone()).collect()
}

/// The station's own layout of this name, or the built-in one.
fn reader(app: &App, name: &str) -> Option<Reader> {
    let mut own = app.settings.instruments.iter().flat_map(|instrument| instrument.reader.parts());
    own.find(|reader| reader.name() == name).cloned().or_else(|| Reader::named(name))
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Try {
    bytes: String,
    form: String,
}

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "layout.html")]
struct LayoutPage {
    frame: Frame,
    say: Language,
    name: String,
    about: String,
    text: String,
    used_by: Vec<String>,
    typed: String,
    is_hex: bool,
    wrong: Option<String>,
    frames: Vec<Tried>,
}

/// One frame, read.
struct Tried {
    number: usize,
    parts: Vec<Part>,
    reading: Vec<(String, String)>,
    reject: Option<String>,
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(name): Path<String>,
    Query(Try { bytes, form }): Query<Try>,
) -> Result<Response, Problem> {
    let say = app.language();
    let reader =
        reader(&app, &name).ok_or_else(|| Problem::not_found(format!("there is no layout {name}")))?;
    let is_hex = form == "hex";
    let read = match bytes.len() {
        0 => Ok(Vec::new()),
        1..=LONGEST => {
            if is_hex {
                from_hex(&bytes)
            } else {
                from_text(&bytes)
            }
        }
        _ => Err(format!("{} {LONGEST}", say.too_long)),
    };
    let (frames, wrong) = match read {
        Ok(read) => (try_out(&say, &reader, &read), None),
        Err(why) => (Vec::new(), Some(why)),
    };
    let page = LayoutPage {
        frame: Frame::new(&app, &who, format!("{} {}", say.layout, reader.name())).under("/layouts"),
        name: reader.name().to_owned(),
        about: reader.title().to_owned(),
        text: reader.text().into_owned(),
        used_by: used_by(&app, &reader),
        typed: bytes,
        is_hex,
        wrong,
        frames,
        say,
    };
    Ok(render(&page))
}

/// Bytes written as text; the ends of its lines are those of the field, not of the instrument.
pub(super) fn from_text(text: &str) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    for line in text.lines() {
        bytes.extend(notation::from_text(line).map_err(|why| why.to_string())?);
    }
    Ok(bytes)
}

/// Bytes written as pairs of hexadecimal digits, with or without blanks.
fn from_hex(text: &str) -> Result<Vec<u8>, String> {
    let digits: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    let expected = "expected pairs of hexadecimal digits such as 0D 0A";
    if !digits.chars().all(|c| c.is_ascii_hexdigit()) || !digits.len().is_multiple_of(2) {
        return Err(expected.to_owned());
    }
    let pair = |at: usize| u8::from_str_radix(&digits[at..at + 2], 16).map_err(|_| expected.to_owned());
    (0..digits.len()).step_by(2).map(pair).collect()
}

fn try_out(say: &Language, reader: &Reader, bytes: &[u8]) -> Vec<Tried> {
    let mut framer = Framer::new(reader.framing().clone());
    let mut frames: Vec<Taken> = Vec::new();
    framer.push(bytes, |frame| frames.push(frame));
    frames.extend(framer.idle());
    frames.extend(framer.finish());
    let tried = frames.iter().take(MOST).zip(1..).map(|(frame, number)| {
        let result = match frame.ended {
            Ended::Complete => reader.read(&frame.bytes).map(normal_form).map_err(|why| why.to_string()),
            Ended::Oversize => Err(say.oversize.to_owned()),
            Ended::Unfinished => Err(say.unfinished.to_owned()),
            Ended::Stray => Err(say.stray.to_owned()),
        };
        let parts = match frame.ended {
            Ended::Complete => bytes::parts(say, reader, &frame.bytes),
            _ => bytes::plain(say, &frame.bytes),
        };
        let (reading, reject) = match result {
            Ok(reading) => (say.reading_in_full(&reading), None),
            Err(why) => (Vec::new(), Some(why)),
        };
        Tried { number, parts, reading, reject }
    });
    tried.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_taken_as_text_or_hexadecimal() {
        assert_eq!(from_text("S=1<CR>\n<LF>"), Ok(b"S=1\r\n".to_vec()));
        assert!(from_text("S=<NO>").is_err());
        assert_eq!(from_hex("53 3d\n0D0a"), Ok(b"S=\r\n".to_vec()));
        for wrong in ["5", "5g", "é1", "+1"] {
            assert!(from_hex(wrong).is_err(), "{wrong}");
        }
    }
}
