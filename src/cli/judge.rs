//! `fociline judge`: one verdict from files, for scripts.

use super::{Answer, DEFAULT_RULES, Stop, json, show, text_of};
use crate::judge::judge;
use crate::judge::verdict::Outcome;
use crate::order::Order;
use crate::parsers::reading::Reading;
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
    let order: Order = parse(&args.order, "an order")?;
    order.validate().map_err(|why| Stop::Input(format!("{}: {why}", args.order.display())))?;
    let reading: Reading = parse(&args.reading, "a reading")?;
    let rules = settings::rules(&args.rules, Path::new("")).map_err(Stop::input)?;
    if let Some(job) = reading.job.as_ref().filter(|job| **job != order.job) {
        return Err(Stop::Input(format!(
            "{}: the reading is of job {job}, the order {} of job {}: expected the same job",
            args.reading.display(),
            args.order.display(),
            order.job
        )));
    }
    let verdict = judge(&order, &reading, &rules);
    if args.json {
        println!("{}", json(&verdict));
    } else {
        anstream::print!("{}", show::table(&verdict));
    }
    Ok(verdict.outcome == Outcome::Pass)
}

fn parse<T: serde::de::DeserializeOwned>(path: &Path, what: &str) -> Result<T, Stop> {
    serde_json::from_str(&text_of(path)?)
        .map_err(|why| Stop::Input(format!("{}: not {what} in its JSON form: {why}", path.display())))
}
