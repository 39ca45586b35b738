//! `fociline people`: who may sign in at a station's page.

use super::{Answer, Stop, json, settings};
use crate::bench::Bench;
use crate::bench::entry::{PersonDid, PersonEntry, Role};
use crate::bench::event::Event;
use crate::ledger::{Ledger, LedgerError, Reader};
use crate::page::people::{People, PeopleError};
use crate::station::settings::Settings;
use jiff::Timestamp;
use std::io::BufRead;
use std::path::PathBuf;

/// Who the record says changed an account by this command.
const BY: &str = "the people command";

#[derive(Debug, clap::Subcommand)]
pub(super) enum PeopleCommand {
    /// Add an account; the passphrase is asked for
    Add {
        #[command(flatten)]
        station: WhichStation,
        /// The name to sign in with
        name: String,
        /// bench, quality or admin
        #[arg(long, value_parser = role)]
        role: Role,
        /// Take the passphrase from the first line of standard input
        #[arg(long)]
        stdin: bool,
    },
    /// List the accounts
    List {
        #[command(flatten)]
        station: WhichStation,
        /// Print JSON Lines
        #[arg(long)]
        json: bool,
    },
    /// Remove an account: its sessions end
    Remove {
        #[command(flatten)]
        station: WhichStation,
        /// The account's name
        name: String,
    },
    /// Set another passphrase: sessions begun with the earlier one end
    Passphrase {
        #[command(flatten)]
        station: WhichStation,
        /// The account's name
        name: String,
        /// Take the passphrase from the first line of standard input
        #[arg(long)]
        stdin: bool,
    },
}

#[derive(Debug, clap::Args)]
pub(super) struct WhichStation {
    /// The station's settings, with a [page] table
    #[arg(long, value_name = "STATION.TOML")]
    station: PathBuf,
}

impl WhichStation {
    fn load(&self) -> Result<(Settings, PathBuf), Stop> {
        let settings = settings(&self.station)?;
        match settings.page.as_ref().map(|page| page.people.clone()) {
            Some(people) => Ok((settings, people)),
            None => {
                Err(Stop::Input(format!("{}: has no [page] table: nobody signs in there", settings.origin)))
            }
        }
    }
}

fn role(text: &str) -> Result<Role, String> {
    serde_json::from_value(serde_json::Value::from(text))
        .map_err(|_| "expected bench, quality or admin".to_owned())
}

pub(super) fn run(command: PeopleCommand) -> Answer {
    match command {
        PeopleCommand::Add { station, name, role, stdin } => {
            let (settings, path) = station.load()?;
            let passphrase = passphrase(stdin)?;
            change(&settings, &path, |people| people.add(&name, role, &passphrase))?;
            println!("{}: {role}", name.trim());
        }
        PeopleCommand::List { station, json: as_json } => {
            let (_, path) = station.load()?;
            for account in People::load(&path).map_err(Stop::input)?.iter() {
                if as_json {
                    println!("{}", json(&serde_json::json!({ "name": account.name, "role": account.role })));
                } else {
                    println!("{:<10} {}", account.role, account.name);
                }
            }
        }
        PeopleCommand::Remove { station, name } => {
            let (settings, path) = station.load()?;
            change(&settings, &path, |people| people.remove(&name))?;
            println!("{name}: removed");
        }
        PeopleCommand::Passphrase { station, name, stdin } => {
            let (settings, path) = station.load()?;
            let passphrase = passphrase(stdin)?;
            change(&settings, &path, |people| people.set_passphrase(&name, &passphrase))?;
            println!("{name}: the passphrase is set");
        }
    }
    Ok(true)
}

/// The passphrase, typed twice without being shown, or from standard input.
fn passphrase(stdin: bool) -> Result<String, Stop> {
    if stdin {
        let mut line = String::new();
        std::io::stdin().lock().read_line(&mut line).map_err(Stop::failed)?;
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let ask = |what| {
        rpassword::prompt_password(what).map_err(|why| {
            Stop::Input(format!(
                "no passphrase can be typed here ({why}): give it on standard input with --stdin"
            ))
        })
    };
    let passphrase = ask("Passphrase: ")?;
    if ask("The same again: ")? != passphrase {
        return Err(Stop::input("the two are not the same; nothing is changed"));
    }
    Ok(passphrase)
}

/// Changes the file and records what has changed. A running station notices by itself, and
/// records it.
fn change(
    settings: &Settings,
    path: &std::path::Path,
    change: impl FnOnce(&mut People) -> Result<(), PeopleError>,
) -> Result<(), Stop> {
    // Opened first: so that no station starts between the change and its record.
    let ledger = match Ledger::open(&settings.ledger) {
        Ok(ledger) => Some(ledger),
        Err(LedgerError::InUse { .. }) => None,
        Err(why) => return Err(Stop::failed(why)),
    };
    let mut before = People::default();
    let after = People::change(path, |people| {
        before = people.clone();
        change(people)
    });
    let after = after.map_err(|why| match why {
        PeopleError::Refused(_) => Stop::input(why),
        PeopleError::File { .. } => Stop::failed(why),
    })?;
    match ledger {
        Some(ledger) => record(ledger, settings, &before, &after),
        None => Ok(()),
    }
}

fn record(mut ledger: Ledger, settings: &Settings, before: &People, after: &People) -> Result<(), Stop> {
    let mut past = Reader::open(ledger.path()).map_err(Stop::failed)?;
    let mut bench = Bench::new(super::setup_for(Some(settings), &past)?, ledger.head().seq);
    for (did, account) in before.changes(after) {
        let person = PersonEntry {
            did,
            name: Some(account.name),
            role: (did != PersonDid::AccountRemoved).then_some(account.role),
            by: BY.to_owned(),
            from: None,
            why: None,
        };
        let entries =
            bench.step(&Event::Person(person), Timestamp::now(), &mut past).map_err(Stop::failed)?;
        ledger.append(&entries).map_err(Stop::failed)?;
    }
    Ok(())
}
