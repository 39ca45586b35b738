//! The orders folder: a file dropped there is taken in once, and moved to `done/` or, where any
//! of it was refused, to `refused/` with the reason beside it. The same folder takes what people ask
//! for by command while the station runs (`*.ask.json`, see [`asked`]).
//!
//! The folder is looked at every half second: it may lie on a network share, where notifications
//! of changes do not arrive.

use super::asked::{self, Asked};
use super::recorder::{Closed, Recorder};
use crate::bench::event::Event;
use crate::ledger::Reader;
use crate::order::intake;
use jiff::Timestamp;
use std::collections::HashMap;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

const LOOK_EVERY: Duration = Duration::from_millis(500);
/// An orders file is text of at most this many bytes.
const LARGEST: u64 = 16 * 1024 * 1024;

/// Where taken files go, inside the folder.
pub const DONE: &str = "done";
/// Where refused files go, inside the folder.
pub const REFUSED: &str = "refused";

/// What became of something asked goes beside it: the numbers of its entries.
pub const ENTRIES: &str = ".entries";

/// Watches `folder` until `shutdown` completes.
pub async fn watch(
    folder: &Path,
    ledger: &Path,
    recorder: &Recorder,
    clock: impl Fn() -> Timestamp,
    shutdown: impl Future<Output = ()>,
) {
    let mut shutdown = std::pin::pin!(shutdown);
    let mut seen = HashMap::new();
    let mut trouble = None;
    loop {
        match settled(folder, &mut seen) {
            Ok(files) => {
                trouble = None;
                for file in files {
                    let is_asked = file.to_string_lossy().ends_with(asked::SUFFIX);
                    let taken = if is_asked {
                        answer(&file, folder, ledger, recorder, &clock).await
                    } else {
                        take(&file, folder, recorder, &clock).await
                    };
                    if let Err(Closed) = taken {
                        return;
                    }
                }
            }
            Err(why) => {
                let why = format!("{}: {why}", folder.display());
                if trouble.as_ref() != Some(&why) {
                    tracing::error!(%why, "the orders folder cannot be read");
                    trouble = Some(why);
                }
            }
        }
        tokio::select! {
            () = tokio::time::sleep(LOOK_EVERY) => {}
            () = &mut shutdown => return,
        }
    }
}

type Stamp = (u64, Option<SystemTime>);

/// The files that have not changed since the last look: a file still being written is left alone.
fn settled(folder: &Path, seen: &mut HashMap<PathBuf, Stamp>) -> io::Result<Vec<PathBuf>> {
    std::fs::create_dir_all(folder)?;
    let mut now = HashMap::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let Ok(meta) = entry.metadata() else { continue };
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        if meta.is_file() && !hidden {
            now.insert(entry.path(), (meta.len(), meta.modified().ok()));
        }
    }
    let mut files: Vec<PathBuf> = now
        .iter()
        .filter(|(path, stamp)| seen.get(*path) == Some(stamp))
        .map(|(path, _)| path.clone())
        .collect();
    files.sort();
    *seen = now;
    Ok(files)
}

async fn take(
    file: &Path,
    folder: &Path,
    recorder: &Recorder,
    clock: &impl Fn() -> Timestamp,
) -> Result<(), Closed> {
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut reasons = Vec::new();
    let mut taken = 0;
    match read(file) {
        Err(why) => reasons.push(why),
        Ok(text) => {
            let intake = intake::read(&name, &text);
            for (line, order) in intake.orders {
                let source = format!("{name} line {line}");
                let dropped = intake.dropped.clone();
                let event = Event::Ordered { order: Box::new(order), source, by: None, dropped };
                recorder.record(event, clock()).await?;
                taken += 1;
            }
            if !intake.dropped.is_empty() {
                tracing::info!(file = name, fields = intake.dropped.join(", "), "left out of the orders");
            }
            reasons.extend(intake.refused.iter().map(|refusal| format!("{name}: {refusal}")));
        }
    }
    let moved = if reasons.is_empty() {
        tracing::info!(file = name, orders = taken, "orders taken in");
        move_to(file, &folder.join(DONE), &name).map(|_| ())
    } else {
        let report = format!("{}\n{taken} orders of this file were taken in.\n", reasons.join("\n"));
        tracing::warn!(file = name, refused = reasons.len(), taken, first = reasons[0], "orders refused");
        move_to(file, &folder.join(REFUSED), &name).and_then(|place| {
            std::fs::write(place.with_file_name(format!("{}.reason.txt", file_name(&place))), report)
        })
    };
    if let Err(why) = moved {
        tracing::error!(file = name, %why, "the orders file cannot be moved; it will be looked at again");
    }
    Ok(())
}

/// Records what a person asks for, and writes beside it which entries came of it.
async fn answer(
    file: &Path,
    folder: &Path,
    ledger: &Path,
    recorder: &Recorder,
    clock: &impl Fn() -> Timestamp,
) -> Result<(), Closed> {
    let name = file_name(file);
    let event = read(file)
        .and_then(|text| serde_json::from_str::<Asked>(&text).map_err(|why| why.to_string()))
        .and_then(|asked| {
            let record = Reader::open(ledger).map_err(|why| why.to_string())?;
            asked::event(&record, asked).map_err(|why| why.to_string())
        });
    let moved = match event {
        Ok(event) => {
            let entries = recorder.record(event, clock()).await?;
            let numbers: Vec<String> = entries.iter().map(|numbered| numbered.seq.to_string()).collect();
            tracing::info!(file = name, entries = numbers.join(", "), "recorded as asked");
            std::fs::create_dir_all(folder.join(DONE))
                .and_then(|()| {
                    std::fs::write(folder.join(DONE).join(format!("{name}{ENTRIES}")), numbers.join("\n"))
                })
                .and_then(|()| move_to(file, &folder.join(DONE), &name))
        }
        Err(why) => {
            tracing::warn!(file = name, why, "refused");
            let refused = folder.join(REFUSED);
            std::fs::create_dir_all(&refused)
                .and_then(|()| std::fs::write(refused.join(format!("{name}.reason.txt")), format!("{why}\n")))
                .and_then(|()| move_to(file, &refused, &name))
        }
    };
    if let Err(why) = moved {
        tracing::error!(file = name, %why, "what was asked cannot be moved away");
    }
    Ok(())
}

fn read(file: &Path) -> Result<String, String> {
    let length = std::fs::metadata(file).map_err(|why| why.to_string())?.len();
    if length > LARGEST {
        return Err(format!("{length} bytes: expected an orders file of at most {LARGEST}"));
    }
    let bytes = std::fs::read(file).map_err(|why| format!("cannot be read: {why}"))?;
    String::from_utf8(bytes).map_err(|why| {
        format!("not UTF-8 text at byte {}: save the file as UTF-8", why.utf8_error().valid_up_to())
    })
}

/// Moves `file` into `folder` under `name`, or under a name with a number where that is taken.
fn move_to(file: &Path, folder: &Path, name: &str) -> io::Result<PathBuf> {
    std::fs::create_dir_all(folder)?;
    let place = (1..)
        .map(|n| if n == 1 { folder.join(name) } else { folder.join(format!("{n}-{name}")) })
        .find(|place| !place.exists())
        .expect("the numbers do not end");
    std::fs::rename(file, &place)?;
    Ok(place)
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}
