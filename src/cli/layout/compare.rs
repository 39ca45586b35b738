//! `fociline layout compare`: what past frames would say by another layout.

use super::super::progress::progress;
use super::super::{Answer, Stop, WhichLedger};
use crate::bench::entry::{InForceEntry, TextHash};
use crate::ledger::{self, Compared};
use crate::parsers::notation;
use crate::parsers::reader::Reader;
use crate::station::settings;
use std::path::Path;

#[derive(Debug, clap::Args)]
pub(in crate::cli) struct CompareArgs {
    /// The layout that was in force: its name or hash in the ledger, or the path of a .toml file
    old: String,
    /// The layout to compare with: likewise
    new: String,
    #[command(flatten)]
    ledger: WhichLedger,
}

/// Exit status 1 when a frame reads otherwise.
pub(super) fn run(args: &CompareArgs) -> Answer {
    let record = args.ledger.reader()?;
    let recorded = record.layouts().map_err(Stop::failed)?;
    let old = layout(&args.old, &recorded, true)?;
    let new = layout(&args.new, &recorded, false)?;
    let hash = TextHash::of(&old.text());
    if !recorded.iter().any(|text| text.hash == hash) {
        return Err(Stop::Input(format!(
            "{}: this layout, word for word, was never in force here. In force were: {}",
            args.old,
            known(&recorded)
        )));
    }
    let progress = progress("entries");
    let found =
        ledger::compare(&record, &old, &new, |done, of| progress.at(done, of)).map_err(Stop::failed)?;
    progress.done();
    print(&found);
    if old.framing() != new.framing() {
        println!(
            "Mind: the two cut bytes into frames differently; these are the frames as the old one cut them."
        );
    }
    println!("Nothing was changed: what is on record stays as it was read.");
    Ok(found.otherwise.is_empty())
}

fn print(found: &Compared) {
    for frame in &found.otherwise {
        let time = frame.time.to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M:%S");
        println!("entry {}  {time}  {}: {}", frame.seq, frame.instrument, notation::to_text(&frame.bytes));
        for change in &frame.changes {
            println!("    {}: {} -> {}", change.what, change.old, change.new);
        }
    }
    println!(
        "{} frames would read otherwise, {} alike, {} are read by neither",
        found.otherwise.len(),
        found.alike,
        found.unread
    );
}

fn known(recorded: &[InForceEntry]) -> String {
    let mut known: Vec<String> = recorded
        .iter()
        .map(|text| format!("{} ({})", text.name, &text.hash.0[..12.min(text.hash.0.len())]))
        .collect();
    known.dedup();
    if known.is_empty() { "none".to_owned() } else { known.join(", ") }
}

/// The layout of this name. What the ledger knows goes first for the old one, files and built-in
/// ones for the new one.
fn layout(name: &str, recorded: &[InForceEntry], ledger_first: bool) -> Result<Reader, Stop> {
    let from_record = || {
        let hash = name.len() >= 6 && name.bytes().all(|byte| byte.is_ascii_hexdigit());
        let named = |text: &&InForceEntry| text.name == name || hash && text.hash.0.starts_with(name);
        recorded.iter().rev().find(named).map(|text| {
            Reader::from_record(&text.name, &text.text).map_err(|why| {
                Stop::Input(format!("the layout on record cannot be used by this version: {why}"))
            })
        })
    };
    let from_file = || settings::reader(name, Path::new(""));
    if ledger_first && let Some(found) = from_record() {
        return found;
    }
    from_file().or_else(|why| from_record().unwrap_or(Err(Stop::Input(why))))
}
