//! `fociline layout`: list, show, try, learn, compare.

mod compare;
mod learn;
mod try_out;

use super::{Answer, Stop, bytes_of};
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
    /// Read a capture through a layout and show every byte: which became which value, which were
    /// passed over, and why
    Try {
        /// A built-in name, or the path of a .toml file
        layout: String,
        /// The captured bytes (`-`, or left out, for standard input)
        #[arg(default_value = "-")]
        file: PathBuf,
        /// The capture is text in which control bytes are written <CR>, <02> and so on
        #[arg(long)]
        text: bool,
        /// Print JSON Lines, one line a frame, with the span of every value
        #[arg(long)]
        json: bool,
    },
    /// Propose a layout from captures and what the instrument's own display showed
    Learn(learn::LearnArgs),
    /// Show which frames of a ledger another layout would read otherwise; changes nothing
    Compare(compare::CompareArgs),
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
            try_out::try_out(&reader, &capture(&file, text)?, json)
        }
        LayoutCommand::Learn(args) => learn::run(&args),
        LayoutCommand::Compare(args) => compare::run(&args),
    }
}

fn reader(name: &str) -> Result<Reader, Stop> {
    settings::reader(name, Path::new("")).map_err(Stop::Input)
}

/// The bytes of a capture, which may be written as text.
fn capture(file: &Path, text: bool) -> Result<Vec<u8>, Stop> {
    let bytes = bytes_of(file)?;
    if text { from_notation(&bytes, file) } else { Ok(bytes) }
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
