//! `fociline layout`: list, show, try.

use super::{Answer, Stop, bytes_of, json};
use crate::optics::normal_form;
use crate::parsers::frame::{Ended, Framer};
use crate::parsers::notation;
use crate::parsers::reader::Reader;
use crate::station::settings;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Subcommand)]
pub(super) enum LayoutCommand {
    /// List the built-in layouts and parsers
    List,
    /// Print the text of a layout: a start for your own
    Show {
        /// A built-in name, or the path of a .toml file
        layout: String,
    },
    /// Read a capture through a layout and show what each frame says
    Try {
        /// A built-in name, or the path of a .toml file
        layout: String,
        /// The captured bytes (`-`, or left out, for standard input)
        #[arg(default_value = "-")]
        file: PathBuf,
        /// The capture is text in which control bytes are written <CR>, <02> and so on
        #[arg(long)]
        text: bool,
        /// Print JSON Lines, one line a frame
        #[arg(long)]
        json: bool,
    },
}

pub(super) fn run(command: LayoutCommand) -> Answer {
    match command {
        LayoutCommand::List => {
            for reader in Reader::all() {
                println!("{:<12} {}", reader.name(), reader.title());
            }
            Ok(true)
        }
        LayoutCommand::Show { layout } => {
            let reader = reader(&layout)?;
            println!("{}", reader.text().trim_end());
            Ok(true)
        }
        LayoutCommand::Try { layout, file, text, json } => {
            let reader = reader(&layout)?;
            let mut bytes = bytes_of(&file)?;
            if text {
                bytes = from_notation(&bytes, &file)?;
            }
            try_out(&reader, &bytes, json)
        }
    }
}

fn reader(name: &str) -> Result<Reader, Stop> {
    settings::reader(name, Path::new("")).map_err(Stop::Input)
}

/// Lines of an editor end in line feeds that the instrument did not send: they are left out.
fn from_notation(bytes: &[u8], file: &Path) -> Result<Vec<u8>, Stop> {
    let text = std::str::from_utf8(bytes)
        .map_err(|why| Stop::Input(format!("{}: not text at byte {}", file.display(), why.valid_up_to())))?;
    let mut all = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let line = notation::from_text(line)
            .map_err(|why| Stop::Input(format!("{}:{}: {why}", file.display(), number + 1)))?;
        all.extend(line);
    }
    Ok(all)
}

/// Exit status 1 when a frame was not read.
fn try_out(reader: &Reader, bytes: &[u8], as_json: bool) -> Answer {
    let mut framer = Framer::new(reader.framing().clone());
    let mut frames = Vec::new();
    framer.push(bytes, |frame| frames.push(frame));
    frames.extend(framer.idle());
    frames.extend(framer.finish());
    let mut all_read = !frames.is_empty();
    for (number, frame) in frames.iter().enumerate() {
        let shown = notation::to_text(&frame.bytes);
        let result = match frame.ended {
            Ended::Complete => reader.read(&frame.bytes).map(normal_form).map_err(|why| why.to_string()),
            Ended::Oversize => Err("longer than the layout's frame may be".to_owned()),
            Ended::Unfinished => Err("unfinished: the end of the frame did not come".to_owned()),
            Ended::Stray => Err("outside any frame".to_owned()),
        };
        all_read &= result.is_ok();
        if as_json {
            let line = match &result {
                Ok(reading) => serde_json::json!({"frame": number + 1, "bytes": shown, "reading": reading}),
                Err(why) => serde_json::json!({"frame": number + 1, "bytes": shown, "reject": why}),
            };
            println!("{}", json(&line));
        } else {
            println!("frame {}: {shown}", number + 1);
            match &result {
                Ok(reading) => println!("    {}", json(reading)),
                Err(why) => println!("    NOT READ: {why}"),
            }
        }
    }
    if frames.is_empty() {
        eprintln!("no bytes: nothing to read");
    }
    Ok(all_read)
}
