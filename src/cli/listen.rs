//! `fociline listen`: what arrives on a port, as it comes.

use super::{Answer, Stop, block_on};
use crate::bench::entry::PortState;
use crate::parsers::notation;
use crate::station::port::{Heard, Listener, keep_open};
use crate::station::settings::{DataBits, Flow, Parity, PortSettings, StopBits};
use jiff::ZonedDateTime;
use std::path::PathBuf;
use tokio::time::Instant;

#[derive(Debug, clap::Args)]
pub(super) struct ListenArgs {
    /// The port, such as /dev/ttyUSB0 (see `fociline ports`)
    port: PathBuf,
    #[command(flatten)]
    line: LineArgs,
    /// Also write every byte to this file, as it came
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
}

/// The line settings of a port.
#[derive(Debug, clap::Args)]
struct LineArgs {
    /// Bits per second
    #[arg(long, default_value_t = 9600, value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: u32,
    /// 5, 6, 7 or 8
    #[arg(long, default_value = "8", value_parser = |text: &str| number(text).and_then(|bits| DataBits::from_key(bits)))]
    data_bits: DataBits,
    /// none, odd or even
    #[arg(long, default_value = "none", value_parser = Parity::from_key)]
    parity: Parity,
    /// 1 or 2
    #[arg(long, default_value = "1", value_parser = |text: &str| number(text).and_then(|bits| StopBits::from_key(bits)))]
    stop_bits: StopBits,
    /// none, software or hardware
    #[arg(long, default_value = "none", value_parser = Flow::from_key)]
    flow: Flow,
}

fn number(text: &str) -> Result<u8, String> {
    text.parse().map_err(|_| format!("{text:?} is not a number"))
}

pub(super) fn run(args: ListenArgs) -> Answer {
    let line = &args.line;
    let port = PortSettings {
        device: args.port.clone(),
        baud: line.baud,
        data_bits: line.data_bits,
        parity: line.parity,
        stop_bits: line.stop_bits,
        flow: line.flow,
    };
    let file = match &args.save {
        None => None,
        Some(path) => Some(
            std::fs::File::options()
                .create(true)
                .append(true)
                .open(path)
                .map_err(|why| Stop::Failed(format!("{}: {why}", path.display())))?,
        ),
    };
    block_on(async {
        let stop = super::run::stop_signal().map_err(Stop::failed)?;
        eprintln!("listening on {}; Ctrl-C ends", args.port.display());
        let mut printer = Printer { file };
        keep_open("listen", &port, &mut printer, stop).await;
        Ok(true)
    })
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
