//! Commands for a barcode reader, and the sheet to print them on.
//!
//! The station's own reader sends them as it sends job numbers, and one that types like a keyboard
//! types them into the bench's field. They are printed as Code 39 (ISO/IEC 16388), which every barcode reader knows.

use super::language::Language;
use super::{Frame, render};
use crate::bench::command::Command;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::Eye;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use barcoders::sym::code39::Code39;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "commands.html")]
struct Sheet {
    frame: Frame,
    say: Language,
    codes: Vec<Code>,
}

struct Code {
    text: &'static str,
    means: &'static str,
    /// Where each black bar begins, and how wide it is.
    bars: Vec<(usize, usize)>,
    width: usize,
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Result<Response, Problem> {
    let say = app.language();
    let code = |(text, command): (&'static str, Command)| {
        let modules = Code39::new(text).map_err(|why| Problem::fault(format!("{why:?}")))?.encode();
        let means = match command {
            Command::Eye(Eye::Right) => say.command_right,
            Command::Eye(Eye::Left) => say.command_left,
            Command::Void => say.command_void,
        };
        Ok(Code { text, means, bars: bars(&modules), width: modules.len() })
    };
    let codes = Command::ALL.into_iter().map(code).collect::<Result<_, Problem>>()?;
    Ok(render(&Sheet { frame: Frame::new(&app, &who, say.commands).under("/"), codes, say }))
}

/// The black bars of a row of modules.
fn bars(modules: &[u8]) -> Vec<(usize, usize)> {
    let mut bars = Vec::new();
    let mut at = 0;
    for run in modules.chunk_by(|one, other| one == other) {
        if run[0] == 1 {
            bars.push((at, run.len()));
        }
        at += run.len();
    }
    bars
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_can_be_printed() {
        for (text, _) in Command::ALL {
            // Each sign, the start and the stop: five bars.
            assert_eq!(bars(&Code39::new(text).unwrap().encode()).len(), 5 * (text.len() + 2), "{text}");
        }
        assert_eq!(bars(&[1, 1, 0, 1]), [(0, 2), (3, 1)]);
    }
}
