//! `fociline manual`, `practice` and `crosscheck`: what people read by hand.

use super::{Answer, Stop, WhichLedger, hand, json, words};
use crate::bench::checking::{compared, known, voided_by};
use crate::bench::entry::{CrossCheckEntry, Entry, ManualEntry, Numbered, Purpose, Seq, SittingStart};
use crate::bench::job::JobRecord;
use crate::check::AsRead;
use crate::check::crosscheck::Outcome;
use crate::check::difference::difference;
use crate::check::manual::Drums;
use crate::ledger::Reader;
use crate::order::typed;
use crate::parsers::reading::{Base, Eye, JobNumber, PrismPart};
use crate::parsers::units::{Degree, Dioptre};
use crate::station::asked::{Asked, ManualAsked};
use jiff::ZonedDateTime;

#[derive(Debug, clap::Subcommand)]
pub(super) enum ManualCommand {
    /// Record a manual reading, and compare it with the instrument's
    ///
    /// The instrument's value is shown only after the reading is committed.
    Add(Box<AddArgs>),
}

#[derive(Debug, clap::Subcommand)]
pub(super) enum PracticeCommand {
    /// Record a practice reading: never part of production's statistics
    Add(Box<AddArgs>),
}

#[derive(Debug, clap::Args)]
pub(super) struct AddArgs {
    #[command(flatten)]
    ledger: WhichLedger,
    /// The job whose lens it is, or the name of a reference or practice lens
    job: JobNumber,
    /// For which eye the lens is, in a job: right or left
    #[arg(long, value_parser = super::ledger::eye)]
    eye: Option<Eye>,
    /// Who reads
    #[arg(long, value_name = "NAME")]
    by: String,
    /// The sitting: readings without a break (today's date where it is left out)
    #[arg(long)]
    sitting: Option<String>,
    /// The manual focimeter's name
    #[arg(long, default_value = "manual")]
    focimeter: String,
    /// Before the first reading of a sitting: the eyepiece was focused for the reader's own eye
    #[arg(long, requires = "zero")]
    eyepiece_focused: bool,
    /// Before the first reading of a sitting: where the drum stood with no lens in place
    #[arg(long, value_name = "D", value_parser = dioptres, allow_negative_numbers = true, requires = "eyepiece_focused")]
    zero: Option<Dioptre>,
    /// Sphere, where the reader worked it out
    #[arg(long, value_name = "D", value_parser = dioptres, allow_negative_numbers = true)]
    sphere: Option<Dioptre>,
    /// Cylinder, of either sign
    #[arg(long, value_name = "D", value_parser = dioptres, allow_negative_numbers = true)]
    cylinder: Option<Dioptre>,
    /// Axis
    #[arg(long, value_name = "DEGREES", value_parser = degrees, allow_negative_numbers = true)]
    axis: Option<Degree>,
    /// Drum values as read: the sphere lines, then the cylinder lines
    #[arg(long, value_names = ["SPHERE_LINES", "CYLINDER_LINES"], num_args = 1..=2, value_parser = dioptres,
          allow_negative_numbers = true)]
    drum: Vec<Dioptre>,
    /// The axis wheel at those drum values
    #[arg(long, value_name = "DEGREES", value_parser = degrees, allow_negative_numbers = true, requires = "drum")]
    wheel: Option<Degree>,
    /// The drum in the near portion, with the lines of the distance reading sharp
    #[arg(long, value_name = "D", value_parser = dioptres, allow_negative_numbers = true)]
    near_drum: Option<Dioptre>,
    /// Addition, where the reader worked it out
    #[arg(long, value_name = "D", value_parser = dioptres, allow_negative_numbers = true)]
    addition: Option<Dioptre>,
    /// Prism: 2.5@up by rings and direction (in, out, up, down or degrees), once or for each
    /// component; `none` where the target was centred
    #[arg(long, value_name = "AMOUNT@BASE", value_parser = prism, allow_negative_numbers = true)]
    prism: Vec<Prism>,
    /// The instrument's value was seen before (else the reading counts as blind)
    #[arg(long)]
    sighted: bool,
}

#[derive(Debug, Clone, Copy)]
enum Prism {
    None,
    Part(PrismPart),
}

fn dioptres(text: &str) -> Result<Dioptre, String> {
    typed::number(text, &["D", "dpt"]).ok_or_else(|| "expected dioptres, such as -1.25".to_owned())
}

fn degrees(text: &str) -> Result<Degree, String> {
    let number = typed::number(text, &["degrees", "deg", "\u{b0}"]);
    number.ok_or_else(|| "expected degrees, from 0 to 180".to_owned())
}

fn prism(text: &str) -> Result<Prism, String> {
    if text == "none" {
        return Ok(Prism::None);
    }
    let base = |text: &str| match text {
        "in" => Some(Base::In),
        "out" => Some(Base::Out),
        "up" => Some(Base::Up),
        "down" => Some(Base::Down),
        angle => degrees(angle).ok().map(Base::Towards),
    };
    text.split_once('@')
        .and_then(|(amount, at)| {
            Some(PrismPart { amount: typed::number(amount, &["\u{394}"])?, base: base(at)? })
        })
        .map(Prism::Part)
        .ok_or_else(|| "expected an amount and a base such as 2.5@up or 1@225, or none".to_owned())
}

#[derive(Debug, clap::Args)]
pub(super) struct CrossCheckArgs {
    #[command(flatten)]
    ledger: WhichLedger,
    /// The job
    job: JobNumber,
    /// Only this eye's lens: right or left
    #[arg(long, value_parser = super::ledger::eye)]
    eye: Option<Eye>,
    /// Print JSON Lines
    #[arg(long)]
    json: bool,
}

pub(super) fn run(command: ManualCommand) -> Answer {
    let ManualCommand::Add(args) = command;
    add(*args, Purpose::Production)
}

pub(super) fn practice(command: PracticeCommand) -> Answer {
    let PracticeCommand::Add(args) = command;
    add(*args, Purpose::Practice)
}

fn add(args: AddArgs, purpose: Purpose) -> Answer {
    let prism = (!args.prism.is_empty()).then(|| {
        let part = |prism: &Prism| match prism {
            Prism::None => None,
            Prism::Part(part) => Some(*part),
        };
        args.prism.iter().filter_map(part).collect()
    });
    let drums = args.drum.first().map(|sphere_lines| Drums {
        sphere_lines: *sphere_lines,
        cylinder_lines: args.drum.get(1).copied(),
        wheel: args.wheel,
    });
    let asked = ManualAsked {
        by: args.by,
        focimeter: args.focimeter,
        sitting: args.sitting.unwrap_or_else(|| ZonedDateTime::now().date().to_string()),
        start: args.zero.map(|zero| SittingStart { eyepiece_focused: args.eyepiece_focused, zero }),
        purpose,
        job: args.job,
        eye: args.eye,
        blind: !args.sighted,
        read: AsRead {
            sphere: args.sphere,
            cylinder: args.cylinder,
            axis: args.axis,
            drums,
            near_drum: args.near_drum,
            addition: args.addition,
            prism,
        },
    };
    let entries = hand::record(&args.ledger, Asked::Manual(Box::new(asked)))?;
    let record = args.ledger.reader()?;
    let mut checked = false;
    for numbered in &entries {
        match &numbered.entry {
            Entry::Manual(manual) => println!("entry {}  {}", numbered.seq, words::manual(manual)),
            Entry::CrossCheck(check) => {
                checked = true;
                print_check(&record, numbered.seq, check)?;
            }
            _ => {}
        }
    }
    for numbered in &entries {
        if let (Entry::Manual(manual), false) = (&numbered.entry, checked) {
            beside(&record, manual)?;
        }
    }
    Ok(true)
}

/// What a reading without a cross-check can be held against: a certificate, or in practice the
/// instrument's value.
fn beside(record: &Reader, manual: &ManualEntry) -> Result<(), Stop> {
    let history = record.job_history(&manual.job).map_err(Stop::failed)?;
    let Some((instrument, known)) = known(manual, &history) else {
        if manual.purpose == Purpose::Production {
            println!(
                "the instrument has not measured this lens yet; then: fociline crosscheck {}",
                manual.job
            );
        }
        return Ok(());
    };
    let what = instrument.unwrap_or_else(|| "certified".to_owned());
    let apart = difference(&manual.lens, &known, manual.eye.unwrap_or(Eye::Right));
    println!("  {what}: {}", words::lens(&known));
    let mut parts = Vec::new();
    parts.extend(apart.distance.map(|d| format!("{} D apart", d.value().normalize())));
    parts.extend(apart.meridian.map(|d| format!("at most {} D in one meridian", d.value().normalize())));
    parts.extend(apart.axis.map(|d| format!("axis {} degrees off", d.value().normalize())));
    parts.extend(apart.addition.map(|d| format!("addition {} D off", d.value().normalize())));
    parts.extend(apart.prism.map(|d| format!("prism {} prism dioptres off", d.value().normalize())));
    println!("  {}", parts.join(", "));
    Ok(())
}

fn print_check(record: &Reader, seq: Seq, check: &CrossCheckEntry) -> Result<(), Stop> {
    println!("entry {seq}  {}", words::cross_check(check));
    let history = record.job_history(&check.job).map_err(Stop::failed)?;
    let (manual, measured) = compared(seq, check, &history);
    for (by, lens) in [(&check.by, manual), (&check.instrument, measured)] {
        if let Some(lens) = lens {
            println!("  {by:<16} {}", words::lens(&lens));
        }
    }
    for reason in &check.reasons {
        println!("    {reason}");
    }
    Ok(())
}

/// Compares each manual reading that counts and is not compared yet with what the instruments have measured,
/// and shows every comparison of the job that counts.
pub(super) fn cross_check(args: CrossCheckArgs) -> Answer {
    let of_eye = |eye: Option<Eye>| args.eye.is_none() || args.eye == eye;
    let record = args.ledger.reader()?;
    let history = record.job_history(&args.job).map_err(Stop::failed)?;
    let measured = JobRecord::from_history(args.job.clone(), &history);
    for numbered in &history {
        let Entry::Manual(manual) = &numbered.entry else { continue };
        let Some(eye) = manual.eye.filter(|eye| of_eye(Some(*eye)) && manual.purpose == Purpose::Production)
        else {
            continue;
        };
        if voided_by(numbered.seq, &history).is_some() {
            continue;
        }
        let Some((_, against)) = measured.measured(eye) else { continue };
        let done = |other: &Numbered| {
            matches!(&other.entry, Entry::CrossCheck(check)
                if check.manual == numbered.seq && check.readings == against.readings)
        };
        if !history.iter().any(done) {
            hand::record(&args.ledger, Asked::CrossCheck { manual: numbered.seq })?;
        }
    }
    let mut worst = None;
    let history = record.job_history(&args.job).map_err(Stop::failed)?;
    for numbered in &history {
        let Entry::CrossCheck(check) = &numbered.entry else { continue };
        if let Some(since) = voided_by(check.manual, &history) {
            eprintln!(
                "entry {}: not counted, its manual reading {} is void since entry {since}",
                numbered.seq, check.manual
            );
        } else if of_eye(Some(check.eye)) {
            worst = worst.max(Some(check.outcome));
            if args.json {
                println!("{}", json(check));
            } else {
                print_check(&record, numbered.seq, check)?;
            }
        }
    }
    if worst.is_none() {
        eprintln!("no lens of job {} has both a manual reading and an instrument's", args.job);
    }
    Ok(worst.is_some_and(|worst| worst <= Outcome::WithinTolerance))
}
