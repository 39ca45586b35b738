//! `fociline layout learn`: captures and what the display showed in, a layout out.

use super::super::burst::burst;
use super::super::line::LineArgs;
use super::super::run::stop_signal;
use super::super::{Answer, Stop, block_on, text_of};
use super::capture;
use crate::parsers::learn::{HeldOut, Proposal, Sample, Shown, hold_one_out, learn};
use crate::parsers::notation;
use crate::station::settings::Address;
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

const SHOWN_HELP: &str = "\
What the display showed, as a CSV file: a header, then a line for each capture.
    capture,right_sphere,right_cylinder,right_axis,right_prism_horizontal
    one.bin,-1.25,-0.50,91,0.40 in
    two.bin,+2.00,-,-,0
The first column names the capture's file, taken from the folder of the CSV file. The others are
any of job and mode (distance, near, progressive), and, with right_ or left_ in front (or nothing,
where the display says no eye): sphere, cylinder, axis, addition, second_addition,
prism_horizontal (0.40 in), prism_vertical (0.25 up), prism (0.50 in, or 0.50 270), pd, near_pd,
segment_height, reference_height, transmittance. An empty field says nothing; a single minus says
that the display showed this as not measured. With ; between the columns commas may be decimal.

Four different lenses are a good start: right and left, plus and minus, one without cylinder,
prism in both directions. What is still open is said, with the lens that decides it.

Exit status: 0 nothing is undecided, 1 something is, or a held-out capture was read wrong.";

#[derive(Debug, clap::Args)]
#[command(after_help = SHOWN_HELP)]
pub(in crate::cli) struct LearnArgs {
    /// Files, each with the bytes of one measurement and no other (left out: those that the CSV
    /// file names)
    captures: Vec<PathBuf>,
    /// What the display showed for each (left out, on a terminal: asked one by one)
    #[arg(long, value_name = "SHOWN.CSV")]
    shown: Option<PathBuf>,
    /// Capture from this port instead, one measurement after the other
    #[arg(long, conflicts_with_all = ["captures", "shown"])]
    port: Option<Address>,
    #[command(flatten)]
    line: LineArgs,
    /// The name of the layout
    #[arg(long, default_value = "ours")]
    name: String,
    /// Write the layout to this new file (left out: to standard output)
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The captures are text in which control bytes are written <CR>, <02> and so on
    #[arg(long)]
    text: bool,
}

pub(super) fn run(args: &LearnArgs) -> Answer {
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    if args.name.is_empty() || !args.name.bytes().all(plain) {
        return Err(Stop::Input(format!(
            "--name {:?}: expected lower-case letters, digits and hyphens",
            args.name
        )));
    }
    let samples = match (&args.shown, &args.port) {
        (Some(shown), _) => from_csv(args, shown)?,
        (None, port) if std::io::stdin().is_terminal() => match port {
            Some(port) => block_on(from_port(args, port))?,
            None => asked(args)?,
        },
        (None, _) => {
            let why =
                "what did the display show? Give --shown SHOWN.CSV (see --help), or run this on a terminal";
            return Err(Stop::Input(why.to_owned()));
        }
    };
    let proposal = learn(&samples, &args.name).map_err(Stop::input)?;
    let held = hold_one_out(&samples);
    report(&samples, &proposal, &held);
    match &args.out {
        None => print!("{}", proposal.text()),
        Some(path) => {
            let file = std::fs::File::create_new(path);
            let written = file.and_then(|mut file| file.write_all(proposal.text().as_bytes()));
            written.map_err(|why| Stop::Failed(format!("{}: {why}; choose a new file", path.display())))?;
            eprintln!("\nwritten to {}", path.display());
        }
    }
    let wrong = held.iter().any(|held| matches!(held, HeldOut::Wrong(_)));
    Ok(!wrong && !proposal.questions.iter().any(|question| question.undecided))
}

/// Everything but the layout goes to standard error, so that the layout can be redirected.
fn report(samples: &[Sample], proposal: &Proposal, held: &[HeldOut]) {
    eprintln!("The layout reads all {} captures exactly as shown.", samples.len());
    eprintln!("\nEach capture, read by what the others alone teach:");
    for (sample, held) in samples.iter().zip(held) {
        eprintln!("    {}: {held}", sample.name);
    }
    for remark in &proposal.remarks {
        eprintln!("\nNote: {remark}");
    }
    for (head, undecided) in [
        ("UNDECIDED: more than one explanation stands; the layout has taken one", true),
        ("Not seen yet: a frame that shows it may be refused", false),
    ] {
        let mut questions =
            proposal.questions.iter().filter(|question| question.undecided == undecided).peekable();
        if questions.peek().is_some() {
            eprintln!("\n{head}");
        }
        for question in questions {
            eprintln!("    {}\n        to settle it: {}", question.open, question.measure);
        }
    }
    eprintln!();
}

fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

fn from_csv(args: &LearnArgs, shown: &Path) -> Result<Vec<Sample>, Stop> {
    let text = text_of(shown)?;
    let origin = shown.display();
    let header = text.lines().next().unwrap_or_default();
    let delimiter = if header.contains(';') { b';' } else { b',' };
    let mut rows =
        csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(text.as_bytes());
    let columns = rows.headers().map_err(|why| Stop::Input(format!("{origin}: {why}")))?.clone();
    if columns.get(0) != Some("capture") {
        return Err(Stop::Input(format!("{origin}:1: the first column is not called capture")));
    }
    let mut samples = Vec::new();
    for row in rows.records() {
        let row = row.map_err(|why| Stop::Input(format!("{origin}: {why}")))?;
        let line = row.position().map_or(0, csv::Position::line);
        let at = |why: String| Stop::Input(format!("{origin}:{line}: {why}"));
        let name = row.get(0).unwrap_or_default();
        let mut shown_here = Shown::default();
        for (column, value) in columns.iter().zip(row.iter()).skip(1) {
            shown_here.tell(column, value).map_err(|why| at(why.to_string()))?;
        }
        let path = if args.captures.is_empty() {
            shown.parent().unwrap_or(Path::new("")).join(name)
        } else {
            let same =
                |path: &&PathBuf| path.as_os_str() == name || name_of(path) == name_of(Path::new(name));
            args.captures
                .iter()
                .find(same)
                .cloned()
                .ok_or_else(|| at(format!("{name} is not among the captures given")))?
        };
        samples.push(Sample { name: name_of(&path), bytes: capture(&path, args.text)?, shown: shown_here });
    }
    let told = |path: &&PathBuf| samples.iter().any(|sample| sample.name == name_of(path));
    if let Some(untold) = args.captures.iter().find(|path| !told(path)) {
        return Err(Stop::Input(format!("{origin}: no line for the capture {}", untold.display())));
    }
    Ok(samples)
}

fn asked(args: &LearnArgs) -> Result<Vec<Sample>, Stop> {
    if args.captures.is_empty() {
        return Err(Stop::Input("no captures: name their files, or give --port PORT".to_owned()));
    }
    let mut asker = Asker::new();
    let mut samples = Vec::new();
    for path in &args.captures {
        let bytes = capture(path, args.text)?;
        let shown = asker.ask(&name_of(path), &bytes)?;
        samples.push(Sample { name: name_of(path), bytes, shown });
    }
    Ok(samples)
}

/// Captures one measurement after the other, keeps each in a file, and asks what was shown.
async fn from_port(args: &LearnArgs, port: &Address) -> Result<Vec<Sample>, Stop> {
    let settings = args.line.of(port);
    let mut stop = Box::pin(stop_signal().map_err(Stop::failed)?);
    let mut asker = Asker::new();
    let mut samples: Vec<Sample> = Vec::new();
    loop {
        eprintln!("\nMeasure a lens now (Ctrl-C when you have measured enough of them) …");
        let Some(bytes) = burst(&settings, &mut stop).await? else { break };
        let file = (1..)
            .map(|number| PathBuf::from(format!("{}-{number}.bin", args.name)))
            .find(|file| !file.exists())
            .unwrap_or_default();
        std::fs::write(&file, &bytes).map_err(|why| Stop::Failed(format!("{}: {why}", file.display())))?;
        let name = name_of(&file);
        let shown = asker.ask(&name, &bytes)?;
        samples.push(Sample { name, bytes, shown });
        if samples.len() >= 2 && !asker.yes("Measure another lens?")? {
            break;
        }
    }
    Ok(samples)
}

/// Asks a person at the terminal.
struct Asker {
    /// What was answered once is asked for each capture; before that, everything.
    names: Vec<String>,
}

impl Asker {
    fn new() -> Self {
        Self { names: Vec::new() }
    }

    fn line(&self, prompt: &str) -> Result<String, Stop> {
        eprint!("{prompt}");
        let mut answer = String::new();
        let read = std::io::stdin().lock().read_line(&mut answer).map_err(Stop::failed)?;
        if read == 0 {
            return Err(Stop::Input("the answers ended early: nothing was learnt".to_owned()));
        }
        Ok(answer.trim().to_owned())
    }

    fn yes(&self, question: &str) -> Result<bool, Stop> {
        Ok(self.line(&format!("{question} [Y/n] "))?.to_ascii_lowercase().starts_with('n').eq(&false))
    }

    fn ask(&mut self, name: &str, bytes: &[u8]) -> Result<Shown, Stop> {
        eprintln!("\n{name}: {}", notation::to_text(bytes));
        eprintln!("What did the display show? Enter: nothing of the kind. -: shown as not measured.");
        let eyes = loop {
            match self.line("  For which lens: r(ight), l(eft), b(oth), n(ot said)? ")?.as_str() {
                "r" => break vec!["right_"],
                "l" => break vec!["left_"],
                "b" => break vec!["right_", "left_"],
                "n" => break vec![""],
                _ => eprintln!("  expected r, l, b or n"),
            }
        };
        let mut shown = Shown::default();
        let all = Shown::names();
        let bare: Vec<&str> = all.iter().filter_map(|name| name.strip_prefix("right_")).collect();
        let of_lens = eyes.iter().flat_map(|eye| bare.iter().map(move |name| (*eye, *name)));
        let asked: Vec<(&str, &str)> = of_lens.chain([("", "job"), ("", "mode")]).collect();
        let first = self.names.is_empty();
        let mut answered = Vec::new();
        for (eye, name) in asked {
            if !first && !self.names.iter().any(|known| known == name) {
                continue;
            }
            loop {
                let answer = self.line(&format!("  {}{name}: ", eye.replace('_', " ")))?;
                match shown.tell(&format!("{eye}{name}"), &answer) {
                    Ok(()) if answer.is_empty() => break,
                    Ok(()) => {
                        answered.push(name.to_owned());
                        break;
                    }
                    Err(why) => eprintln!("  expected {}", why.expected),
                }
            }
        }
        if first {
            self.names = answered;
        }
        Ok(shown)
    }
}
