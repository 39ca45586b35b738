//! `fociline ticket`: how a job came out, as a ticket.

use super::{Answer, Stop, settings};
use crate::ledger::Reader;
use crate::parsers::reading::JobNumber;
use crate::ticket::{self, Size, TicketError, text};
use jiff::tz::TimeZone;
use std::io::{ErrorKind, IsTerminal, Write};
use std::path::PathBuf;

#[derive(Debug, clap::Args)]
pub(super) struct TicketArgs {
    /// The job
    job: JobNumber,
    /// The settings of the station that judged it
    #[arg(long, value_name = "STATION.TOML")]
    station: PathBuf,
    /// text or pdf
    #[arg(long = "as", value_name = "FORM", value_enum, default_value = "text")]
    form: Form,
    /// The paper of a PDF in millimetres: a width, for as much paper as it needs, or a label's width
    /// and height, such as 62x29
    #[arg(long, default_value = "80")]
    size: Size,
    /// How many characters a line of text has
    #[arg(long, value_name = "N", default_value_t = text::COLUMNS as u16,
          value_parser = clap::value_parser!(u16).range(text::FEWEST as i64..=200))]
    columns: u16,
    /// The file to write (standard output where it is left out)
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    Text,
    Pdf,
}

pub(super) fn run(args: TicketArgs) -> Answer {
    let settings = settings(&args.station)?;
    let record = Reader::open(&settings.ledger).map_err(Stop::failed)?;
    let ticket = ticket::of_job(&record, &args.job, &settings.name, &TimeZone::system()).map_err(stop)?;
    let bytes = match args.form {
        Form::Text => ticket.text(usize::from(args.columns)).into_bytes(),
        Form::Pdf => ticket.pdf(args.size).map_err(stop)?,
    };
    match &args.out {
        Some(file) => std::fs::write(file, bytes)
            .map_err(|why| Stop::Failed(format!("{}: cannot be written: {why}", file.display())))?,
        None if args.form == Form::Pdf && std::io::stdout().is_terminal() => {
            return Err(Stop::input("a PDF is not for a terminal: name a file, --out ticket.pdf"));
        }
        None => match std::io::stdout().write_all(&bytes) {
            // Nobody reads any more.
            Err(why) if why.kind() == ErrorKind::BrokenPipe => {}
            written => written.map_err(Stop::failed)?,
        },
    }
    Ok(true)
}

fn stop(why: TicketError) -> Stop {
    match why {
        TicketError::Ledger(_) => Stop::failed(why),
        other => Stop::input(other),
    }
}
