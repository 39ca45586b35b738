//! `fociline listen`: what arrives on a port, as it comes.

use super::burst::burst;
use super::line::LineArgs;
use super::{Answer, Stop, block_on};
use crate::bench::entry::PortState;
use crate::parsers::notation;
use crate::station::port::{Heard, Listener, keep_open};
use crate::station::sense::{Line, Score, Search, Tried};
use crate::station::settings::{Address, PortSettings};
use jiff::ZonedDateTime;
use std::path::PathBuf;
use tokio::time::Instant;

#[derive(Debug, clap::Args)]
pub(super) struct ListenArgs {
    /// The port, such as /dev/ttyUSB0 (see `fociline ports`), tcp://host:port or rfc2217://host:port
    port: Address,
    #[command(flatten)]
    line: LineArgs,
    /// Write every byte to this file, as it came [where the settings were found: a new file
    /// capture-N.bin]
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
}

pub(super) fn run(args: ListenArgs) -> Answer {
    let mut port = args.line.of(&args.port);
    // A raw socket has no speed to be found.
    let is_open = args.line.is_open() && !matches!(args.port, Address::Tcp(_));
    block_on(async {
        let mut stop = Box::pin(super::run::stop_signal().map_err(Stop::failed)?);
        let mut first = Vec::new();
        if is_open {
            match found(&mut port, &mut stop).await? {
                Some(bytes) => first = bytes,
                None => return Ok(false),
            }
        }
        let save = args.save.or_else(|| is_open.then(new_capture));
        let mut file = match &save {
            None => None,
            Some(path) => {
                eprintln!("saving to {}", path.display());
                let file = std::fs::File::options().create(true).append(true).open(path);
                Some(file.map_err(|why| Stop::Failed(format!("{}: {why}", path.display())))?)
            }
        };
        if let Some(file) = &mut file {
            std::io::Write::write_all(file, &first).map_err(Stop::failed)?;
        }
        eprintln!("listening on {}; Ctrl-C ends", args.port);
        let mut printer = Printer { file };
        keep_open("listen", &port, &mut printer, stop).await;
        Ok(true)
    })
}

/// Tries speeds and formats until one is heard right, and sets `port` to it. Gives what was heard;
/// nothing where it was stopped, or none was right.
async fn found(
    port: &mut PortSettings,
    stop: &mut (impl Future<Output = ()> + Unpin),
) -> Result<Option<Vec<u8>>, Stop> {
    eprintln!("Finding the speed and format. Measure a lens, and again each time this asks.");
    let mut search = Search::default();
    while let Some(line) = search.next() {
        eprintln!("listening at {line}: measure a lens …");
        set(port, line);
        let Some(bytes) = burst(port, stop).await? else { return Ok(None) };
        search.heard(line, &bytes);
        if bytes.len() < Score::FEWEST {
            eprintln!("    {} bytes say nothing; once more", bytes.len());
        }
        if let Some(settled) = search.settled() {
            set(port, settled.line);
            eprint!("{}", table(&search));
            eprintln!("Settled on {}: {}", settled.line, why(&settled.score));
            return Ok(Some(settled.bytes.clone()));
        }
    }
    eprint!("{}", table(&search));
    if let Some(best) = search.best() {
        eprintln!("Best, but not heard right: {}: {}", best.line, why(&best.score));
    }
    eprintln!(
        "No usual setting was heard right: look into the instrument's manual, and give --baud and the like."
    );
    Ok(None)
}

fn set(port: &mut PortSettings, line: Line) {
    (port.baud, port.data_bits, port.parity, port.stop_bits) =
        (line.baud, line.data_bits, line.parity, Line::STOP_BITS);
}

/// What was tried and what came of it.
fn table(search: &Search) -> String {
    let mut out = "\n    tried           bytes  text  errors  numbers  points\n".to_owned();
    for Tried { line, score, .. } in search.tried() {
        let Score { bytes, text, errors, numbers, points, .. } = score;
        out += &format!("    {line:<14}  {bytes:>5}  {text:>3}%  {errors:>5}%  {numbers:>7}  {points:>6}\n");
    }
    out + "\n"
}

/// Why a score is what it is.
fn why(score: &Score) -> String {
    let ends = if score.ends { "ends as lines do" } else { "has no end of a line" };
    let Score { text, errors, numbers, .. } = score;
    format!("{text} % is text, {errors} % are errors of the line, it has {numbers} numbers and {ends}")
}

/// A file of which there is none yet.
fn new_capture() -> PathBuf {
    let names = (1..).map(|number| PathBuf::from(format!("capture-{number}.bin")));
    names.into_iter().find(|path| !path.exists()).unwrap_or_default()
}

struct Printer {
    file: Option<std::fs::File>,
}

impl Listener for Printer {
    fn wake_at(&self) -> Option<Instant> {
        None
    }

    async fn hear(&mut self, heard: Heard<'_>) -> Vec<u8> {
        let time = ZonedDateTime::now().strftime("%H:%M:%S%.3f").to_string();
        match heard {
            Heard::Bytes(bytes) => {
                if let Some(file) = &mut self.file
                    && let Err(why) = std::io::Write::write_all(file, bytes)
                {
                    eprintln!("the file cannot be written: {why}");
                    self.file = None;
                }
                for chunk in bytes.chunks(16) {
                    let hex: String = chunk.iter().map(|byte| format!("{byte:02x} ")).collect();
                    println!("{time}  {hex:<48} {}", notation::to_text(chunk));
                }
            }
            Heard::State(port) => {
                let why = port.why.unwrap_or_default();
                match port.state {
                    PortState::Opened => eprintln!("{time}  open"),
                    PortState::Closed | PortState::Silent | PortState::Answering => {}
                    PortState::Lost => eprintln!("{time}  lost: {why}"),
                    PortState::Unavailable => eprintln!("{time}  {why}; trying again"),
                }
            }
            Heard::Woken => {}
        }
        Vec::new()
    }
}
