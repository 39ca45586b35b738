//! Commands: their arguments and what they print. What they do stands elsewhere.

mod account;
mod burst;
mod demo;
mod hand;
mod judge;
mod layout;
mod ledger;
mod line;
mod lines;
mod listen;
mod manual;
mod order;
mod people;
mod plain;
mod ports;
mod progress;
mod reference;
mod replay;
mod report;
mod run;
mod screen;
mod show;
mod ticket;
mod watch;
mod words;

use crate::bench::Setup;
use crate::bench::entry::{Entry, InForce, Seq};
use crate::check::Limits;
use crate::judge::RuleSet;
use crate::order::typed;
use clap::{Args, CommandFactory, Parser, Subcommand};
use jiff::SignedDuration;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The rule set where nothing names one.
const DEFAULT_RULES: &str = "ansi-z80.1-2015";

const AFTER_HELP: &str = "\
Exit status:
  0  done; of `judge`: pass; of `ledger verify` and `rederive`: all agrees
  1  of `judge`: any other outcome; of `ledger verify` and `rederive`: something does not agree;
     of `layout try`: a frame is not read; of `layout learn`: something is undecided;
     of `layout compare`: a frame reads otherwise; of `crosscheck`: beyond tolerance;
     of `reference`: an instrument is not in order
  2  unusable input: a bad argument, settings file, layout, rule set or order
  3  the work could not be done: a port, a disk, a lock

Measurements support inspection and do not replace it; the responsible licensed person decides.
Local codes and the current edition of the standard prevail over the tables in this program.";

/// Reads focimeters, judges each lens against its order, and keeps a ledger that can be audited.
#[derive(Debug, Parser)]
#[command(name = "fociline", version, after_help = AFTER_HELP, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run a station: read its instruments, judge, record. Ends on Ctrl-C or SIGTERM
    Run(run::RunArgs),
    /// Follow a station from another terminal: where it stands, and each line as it is committed
    Watch(watch::WatchArgs),
    /// Show the whole job with simulated instruments of an invented lab
    Demo(demo::DemoArgs),
    /// List the serial ports of this computer
    Ports(ports::PortsArgs),
    /// Find a port's speed and format, and show what arrives, as text and hex, with times
    Listen(listen::ListenArgs),
    /// Layouts: how instruments write their lines
    #[command(subcommand)]
    Layout(layout::LayoutCommand),
    /// Orders: what was prescribed and asked of the lab
    #[command(subcommand)]
    Order(order::OrderCommand),
    /// Judge one reading against one order, from files
    Judge(judge::JudgeArgs),
    /// A job's result as a ticket: plain text, or PDF with the job number as a barcode
    Ticket(ticket::TicketArgs),
    /// The ledger: search it, show it, prove it
    #[command(subcommand)]
    Ledger(ledger::LedgerCommand),
    /// People: who may sign in at a station's page
    #[command(subcommand)]
    People(people::PeopleCommand),
    /// Manual readings, compared with the instrument's
    #[command(subcommand)]
    Manual(manual::ManualCommand),
    /// Compare a job's manual readings with what its instruments have measured
    Crosscheck(manual::CrossCheckArgs),
    /// Practice readings: repeatability and bias of a person's hands
    #[command(subcommand)]
    Practice(manual::PracticeCommand),
    /// Reference lenses, and instruments checked with them
    #[command(subcommand)]
    Reference(reference::ReferenceCommand),
    /// What the record says as a whole: HTML to read and print, CSV to work on
    Report(report::ReportArgs),
    /// Read recorded bytes through a layout into a ledger
    Replay(replay::ReplayArgs),
}

/// Why a command ended without doing its work.
#[derive(Debug)]
enum Stop {
    /// Unusable input: exit status 2.
    Input(String),
    /// The work could not be done: exit status 3.
    Failed(String),
}

impl Stop {
    fn input(why: impl ToString) -> Self {
        Stop::Input(why.to_string())
    }

    fn failed(why: impl ToString) -> Self {
        Stop::Failed(why.to_string())
    }
}

/// Whether the answer of a command is a yes (exit status 0) or a no (exit status 1).
type Answer = Result<bool, Stop>;

/// Runs the program with the arguments of this process.
pub fn main() -> ExitCode {
    let cli = Cli::parse_from(with_plain_minus(std::env::args_os().collect()));
    let answer = match cli.command {
        Command::Run(args) => run::run(args),
        Command::Watch(args) => watch::run(args),
        Command::Demo(args) => demo::run(args),
        Command::Ports(args) => ports::run(args),
        Command::Listen(args) => listen::run(args),
        Command::Layout(command) => layout::run(command),
        Command::Order(command) => order::run(command),
        Command::Judge(args) => judge::run(args),
        Command::Ticket(args) => ticket::run(args),
        Command::Ledger(command) => ledger::run(command),
        Command::People(command) => people::run(command),
        Command::Manual(command) => manual::run(command),
        Command::Crosscheck(args) => manual::cross_check(args),
        Command::Practice(command) => manual::practice(command),
        Command::Reference(command) => reference::run(command),
        Command::Report(args) => report::run(args),
        Command::Replay(args) => replay::run(args),
    };
    let (status, why) = match answer {
        Ok(true) => return ExitCode::SUCCESS,
        Ok(false) => return ExitCode::from(1),
        Err(Stop::Input(why)) => (2, why),
        Err(Stop::Failed(why)) => (3, why),
    };
    anstream::eprintln!("fociline: {why}");
    ExitCode::from(status)
}

/// The arguments with a typographic minus at the start of what follows an option for numbers. To clap,
/// `-1,25`, `-.5` and `-2@in` are options that nobody knows, and that is all it says of them; so they
/// reach the option's own parser, and its message.
fn with_plain_minus(mut arguments: Vec<OsString>) -> Vec<OsString> {
    fn of_numbers(command: &clap::Command, found: &mut Vec<String>) {
        let takes = command.get_arguments().filter(|argument| argument.is_allow_negative_numbers_set());
        found.extend(takes.filter_map(|argument| argument.get_long()).map(|name| format!("--{name}")));
        command.get_subcommands().for_each(|command| of_numbers(command, found));
    }
    let mut known = Vec::new();
    of_numbers(&Cli::command(), &mut known);
    let mut is_number = false;
    for argument in &mut arguments {
        let Some(text) = argument.to_str() else { continue };
        match text.strip_prefix('-') {
            Some(rest) if is_number && rest.starts_with(|c: char| c.is_ascii_digit() || ".,".contains(c)) => {
                *argument = format!("{}{rest}", typed::MINUS).into();
            }
            Some(_) => is_number = known.iter().any(|name| name == text),
            None => {}
        }
    }
    arguments
}

/// Which ledger: by its file, or by the station that keeps it.
#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
struct WhichLedger {
    /// The ledger's file
    #[arg(long, value_name = "FILE")]
    ledger: Option<PathBuf>,
    /// The settings of the station that keeps it
    #[arg(long, value_name = "STATION.TOML")]
    station: Option<PathBuf>,
}

impl WhichLedger {
    fn path(&self) -> Result<PathBuf, Stop> {
        match (&self.ledger, &self.station) {
            (Some(ledger), _) => Ok(ledger.clone()),
            (None, Some(station)) => Ok(settings(station)?.ledger),
            (None, None) => Err(Stop::input("name a ledger: --ledger FILE or --station STATION.TOML")),
        }
    }

    fn reader(&self) -> Result<crate::ledger::Reader, Stop> {
        crate::ledger::Reader::open(&self.path()?).map_err(Stop::failed)
    }
}

fn settings(path: &Path) -> Result<crate::station::settings::Settings, Stop> {
    crate::station::settings::Settings::load(path).map_err(Stop::input)
}

/// The bytes of a file, or of standard input where its name is `-`.
fn bytes_of(path: &Path) -> Result<Vec<u8>, Stop> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        std::io::stdin().read_to_end(&mut bytes).map(|_| ())
    } else {
        std::fs::read(path).map(|read| bytes = read)
    };
    read.map_err(|why| Stop::Input(format!("{}: cannot be read: {why}", path.display())))?;
    Ok(bytes)
}

fn text_of(path: &Path) -> Result<String, Stop> {
    String::from_utf8(bytes_of(path)?).map_err(|why| {
        Stop::Input(format!(
            "{}: not UTF-8 text at byte {}: save the file as UTF-8",
            path.display(),
            why.utf8_error().valid_up_to()
        ))
    })
}

/// How a core is set up to add to a ledger: as the station's settings say, or else with the rule
/// set that was last in force there.
fn setup_for(
    settings: Option<&crate::station::settings::Settings>,
    record: &crate::ledger::Reader,
) -> Result<Setup, Stop> {
    if let Some(settings) = settings {
        return Ok(crate::station::run::setup(settings));
    }
    let everything = Seq(0)..=Seq(u64::MAX);
    let texts = record.of_kind("in-force", everything, usize::MAX).map_err(Stop::failed)?;
    let last = |what| {
        texts.iter().rev().find_map(|numbered| match &numbered.entry {
            Entry::InForce(text) if text.what == what => Some(text),
            _ => None,
        })
    };
    Ok(Setup {
        instruments: BTreeMap::new(),
        rules: match last(InForce::Rules) {
            Some(rules) => RuleSet::from_toml(&rules.text, &rules.name).map_err(Stop::failed)?,
            None => RuleSet::built_in(DEFAULT_RULES).expect("it is built in"),
        },
        limits: match last(InForce::Limits) {
            Some(limits) => Limits::from_toml(&limits.text, &limits.name).map_err(Stop::failed)?,
            None => Limits::default(),
        },
        hold: None,
        job_hold: SignedDuration::ZERO,
        software: env!("CARGO_PKG_VERSION").to_owned(),
    })
}

/// Runs what waits on ports and timers.
fn block_on<T>(work: impl Future<Output = Result<T, Stop>>) -> Result<T, Stop> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(Stop::failed)?;
    let done = runtime.block_on(work);
    // What could not be ended in order, such as a write to a full disk, is not waited for.
    runtime.shutdown_background();
    done
}

fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("these forms hold only text keys and finite decimals")
}
