//! `fociline replay`: recorded bytes through a layout into a ledger.

use super::progress::progress;
use super::{Answer, DEFAULT_RULES, Stop};
use crate::bench::Setup;
use crate::bench::entry::InForce;
use crate::bench::event::Event;
use crate::check::Limits;
use crate::parsers::frame::Framer;
use crate::station::recorder::Recorder;
use crate::station::run::text_in_force;
use crate::station::settings;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub(super) struct ReplayArgs {
    /// The recorded bytes (`-` for standard input)
    file: PathBuf,
    /// The layout: a built-in name, or the path of a .toml file
    #[arg(long)]
    layout: String,
    /// The ledger to write to; made where there is none
    #[arg(long, value_name = "FILE")]
    ledger: PathBuf,
    /// The rule set: a built-in name, or the path of a .toml file
    #[arg(long, default_value = DEFAULT_RULES)]
    rules: String,
    /// The name to record for the instrument
    #[arg(long, default_value = "replay")]
    instrument: String,
    /// The job that frames without a job number belong to
    #[arg(long)]
    job: Option<crate::parsers::reading::JobNumber>,
}

pub(super) fn run(args: ReplayArgs) -> Answer {
    let reader = settings::reader(&args.layout, Path::new("")).map_err(Stop::Input)?;
    let rules = settings::rules(&args.rules, Path::new("")).map_err(Stop::Input)?;
    let (mut input, length): (Box<dyn Read>, Option<u64>) = if args.file == Path::new("-") {
        (Box::new(std::io::stdin()), None)
    } else {
        let file = File::open(&args.file)
            .map_err(|why| Stop::Input(format!("{}: cannot be read: {why}", args.file.display())))?;
        let length = file.metadata().ok().map(|meta| meta.len());
        (Box::new(file), length)
    };
    let mut framer = Framer::new(reader.framing().clone());
    let texts = vec![
        text_in_force(InForce::Rules, rules.name(), rules.text()),
        text_in_force(InForce::Layout, reader.name(), &reader.text()),
    ];
    let setup = Setup {
        instruments: BTreeMap::from([(args.instrument.clone(), reader)]),
        rules,
        limits: Limits::default(),
        hold: None,
        job_hold: SignedDuration::MAX,
        software: env!("CARGO_PKG_VERSION").to_owned(),
    };
    let (recorder, threads, _) = Recorder::start(&args.ledger, setup)
        .map_err(|why| Stop::Failed(format!("{}: {why}", args.ledger.display())))?;
    let submit = |events| recorder.submit_blocking(events, Timestamp::now()).map_err(Stop::failed);
    submit(vec![Event::Started { texts }])?;
    if let Some(job) = args.job {
        submit(vec![Event::Chosen { job, by: "replay".to_owned() }])?;
    }
    let progress = progress("bytes");
    let mut done = 0;
    let mut frames = 0u64;
    let mut buffer = vec![0; 4096];
    let mut pending = Vec::new();
    loop {
        let count =
            input.read(&mut buffer).map_err(|why| Stop::Failed(format!("{}: {why}", args.file.display())))?;
        framer.push(&buffer[..count], |frame| pending.push(frame));
        if count == 0 {
            pending.extend(framer.idle());
            pending.extend(framer.finish());
        }
        frames += pending.len() as u64;
        let event = |frame| Event::Frame { instrument: args.instrument.clone(), frame };
        submit(pending.drain(..).map(event).collect())?;
        done += count as u64;
        progress.at(done, length.unwrap_or(done));
        if count == 0 {
            break;
        }
    }
    submit(vec![Event::Stopped])?;
    drop(recorder);
    let ledger = threads.join().map_err(Stop::Failed)?;
    progress.done();
    let head = ledger.head();
    println!("{frames} frames replayed; the ledger {} holds {} entries", args.ledger.display(), head.seq);
    Ok(true)
}
