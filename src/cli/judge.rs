//! `fociline judge`: one verdict from files, for scripts.

use super::{Answer, DEFAULT_RULES, Stop, json, show, text_of};
use crate::judge::files::{Unusable, judge_texts};
use crate::judge::verdict::Outcome;
use crate::station::settings;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub(super) struct JudgeArgs {
    /// The order, as JSON (`-` for standard input)
    #[arg(long, value_name = "ORDER.JSON")]
    order: PathBuf,
    /// The reading, as JSON (`-` for standard input)
    #[arg(long, value_name = "READING.JSON")]
    reading: PathBuf,
    /// The rule set: a built-in name, or the path of a .toml file
    #[arg(long, value_name = "NAME", default_value = DEFAULT_RULES)]
    rules: String,
    /// Print the verdict as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: JudgeArgs) -> Answer {
    let (order, reading) = (text_of(&args.order)?, text_of(&args.reading)?);
    let rules = settings::rules(&args.rules, Path::new("")).map_err(Stop::input)?;
    let verdict = judge_texts(&order, &reading, &rules).map_err(|why| {
        let file = match why {
            Unusable::Order(_) => &args.order,
            Unusable::Reading { .. } | Unusable::OtherJob { .. } => &args.reading,
        };
        Stop::Input(format!("{}: {why}", file.display()))
    })?;
    if args.json {
        println!("{}", json(&verdict));
    } else {
        anstream::print!("{}", show::table(&verdict));
    }
    Ok(verdict.outcome == Outcome::Pass)
}
