//! Handing a finished file to a printer's queue: by `lp`, which CUPS and others have.

use std::path::Path;
use std::process::{Command, Stdio};

/// Why a file was not handed over.
#[derive(Debug, thiserror::Error)]
pub enum QueueError {
    /// There is no such program, or it cannot be run.
    #[error("{program} cannot be run: {why}. Install the client of the printing system (CUPS)")]
    Start {
        /// The program.
        program: String,
        /// What the system says.
        why: std::io::Error,
    },
    /// It did not take the file.
    #[error("{program} did not take {file} for the queue {queue:?} ({status}): {said}")]
    Refused {
        /// The program.
        program: String,
        /// The file.
        file: String,
        /// The queue.
        queue: String,
        /// How it ended.
        status: std::process::ExitStatus,
        /// What it said on standard error.
        said: String,
    },
}

/// Hands `file` to `queue`, and gives what `lp` says of it: the request's number, as a rule. Waits
/// until it is taken, not until it is printed. Where the printers are is for `lp` to know
/// (`CUPS_SERVER`, `client.conf`).
///
/// # Errors
/// When `lp` cannot be run or does not take it.
pub fn hand_over(queue: &str, title: &str, file: &Path) -> Result<String, QueueError> {
    hand_over_with(Path::new("lp"), queue, title, file)
}

/// The same with another program that takes the same arguments.
///
/// # Errors
/// As of [`hand_over`].
pub fn hand_over_with(program: &Path, queue: &str, title: &str, file: &Path) -> Result<String, QueueError> {
    // Each argument by itself, and no shell: a title may hold anything. `--` ends the options.
    let output = Command::new(program)
        .args(["-d", queue, "-t", title, "--"])
        .arg(file)
        .stdin(Stdio::null())
        .output()
        .map_err(|why| QueueError::Start { program: program.display().to_string(), why })?;
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_owned();
    if output.status.success() {
        return Ok(text(&output.stdout));
    }
    Err(QueueError::Refused {
        program: program.display().to_string(),
        file: file.display().to_string(),
        queue: queue.to_owned(),
        status: output.status,
        said: text(&output.stderr),
    })
}
