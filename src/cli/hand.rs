//! Handing something to be recorded: into the ledger, or to the station that keeps it open.

use super::{Stop, WhichLedger};
use crate::bench::Bench;
use crate::bench::entry::{Numbered, Seq};
use crate::ledger::{Ledger, LedgerError, Reader};
use crate::station::asked::{self, AskError, Asked};
use crate::station::intake::{DONE, ENTRIES, REFUSED};
use jiff::Timestamp;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How long a running station may take to pick a file up.
const PICK_UP: Duration = Duration::from_secs(15);

/// What a running station did with a file.
pub(super) enum Taken {
    /// It took it in; there it lies now.
    In(PathBuf),
    /// It refused it, for this reason.
    Not(String),
}

/// Puts a file into the folder of a running station, and waits until it has looked at it.
pub(super) fn over(folder: &Path, name: &str, bytes: &[u8]) -> Result<Taken, Stop> {
    let name = format!("{}-{name}", std::process::id());
    let hidden = folder.join(format!(".{name}"));
    std::fs::write(&hidden, bytes)
        .and_then(|()| std::fs::rename(&hidden, folder.join(&name)))
        .map_err(|why| Stop::Failed(format!("{}: {why}", folder.display())))?;
    let since = Instant::now();
    loop {
        let place = |into: &str| folder.join(into).join(&name);
        if place(DONE).exists() {
            return Ok(Taken::In(place(DONE)));
        }
        if place(REFUSED).exists() {
            let reason = place(REFUSED).with_file_name(format!("{name}.reason.txt"));
            let reason = std::fs::read_to_string(reason).unwrap_or_default();
            return Ok(Taken::Not(reason.trim_end().to_owned()));
        }
        if since.elapsed() > PICK_UP {
            let waits = folder.display();
            return Err(Stop::Failed(format!(
                "the running station has not taken {name} in; it waits in {waits}"
            )));
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// Records what is asked, and gives what is on record then.
pub(super) fn record(which: &WhichLedger, asked: Asked) -> Result<Vec<Numbered>, Stop> {
    let settings = which.station.as_deref().map(super::settings).transpose()?;
    let path = which.path()?;
    match Ledger::open(&path) {
        Ok(mut ledger) => {
            let mut past = Reader::open(&path).map_err(Stop::failed)?;
            let event = asked::event(&past, asked).map_err(|why| match why {
                AskError::Refused(why) => Stop::Input(why),
                AskError::Ledger(why) => Stop::failed(why),
            })?;
            let mut bench = Bench::new(super::setup_for(settings.as_ref(), &past)?, ledger.head().seq);
            let entries = bench.step(&event, Timestamp::now(), &mut past).map_err(Stop::failed)?;
            ledger.append(&entries).map_err(Stop::failed)?;
            Ok(entries)
        }
        Err(why @ LedgerError::InUse { .. }) => {
            let Some(folder) = settings.and_then(|settings| settings.orders) else {
                return Err(Stop::Failed(format!(
                    "{why}; name the station (--station STATION.TOML) whose settings have an [orders] folder, and it \
                     is handed to it"
                )));
            };
            match over(&folder, asked::SUFFIX, super::json(&asked).as_bytes())? {
                Taken::Not(reason) => Err(Stop::Input(reason)),
                Taken::In(place) => recorded(&path, &place),
            }
        }
        Err(why) => Err(Stop::failed(why)),
    }
}

/// The entries that a running station says it wrote.
fn recorded(ledger: &Path, place: &Path) -> Result<Vec<Numbered>, Stop> {
    let numbers =
        place.with_file_name(format!("{}{ENTRIES}", place.file_name().unwrap_or_default().to_string_lossy()));
    let numbers = std::fs::read_to_string(&numbers)
        .map_err(|why| Stop::Failed(format!("{}: cannot be read: {why}", numbers.display())))?;
    let record = Reader::open(ledger).map_err(Stop::failed)?;
    let mut entries = Vec::new();
    for seq in numbers.lines().filter_map(|line| line.parse().ok()).map(Seq) {
        entries.extend(record.entry(seq).map_err(Stop::failed)?);
    }
    Ok(entries)
}
