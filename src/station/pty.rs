//! A pseudo-terminal: a tty whose other end is in this program.

use rustix::fs::OFlags;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::ffi::OsString;
use std::fs::{File, OpenOptions};
use std::io;
use std::os::unix::ffi::OsStringExt;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// A pseudo-terminal. What is written to it arrives at the tty at [`Pty::path`], as from an
/// instrument at the other end of a line.
#[derive(Debug)]
pub struct Pty {
    end: File,
    path: PathBuf,
}

impl Pty {
    /// Makes one that passes every byte as it is.
    ///
    /// # Errors
    /// When the system has none left.
    pub fn open() -> io::Result<Self> {
        let end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&end)?;
        unlockpt(&end)?;
        let path = PathBuf::from(OsString::from_vec(ptsname(&end, Vec::new())?.into_bytes()));
        // Until a program opens it and sets it up, a tty echoes and edits lines.
        let tty = OpenOptions::new().read(true).custom_flags(OFlags::NOCTTY.bits() as i32).open(&path)?;
        let mut settings = tcgetattr(&tty)?;
        settings.make_raw();
        tcsetattr(&tty, OptionalActions::Now, &settings)?;
        Ok(Self { end: File::from(end), path })
    }

    /// The tty's path.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// This program's end.
    pub fn end(&self) -> &File {
        &self.end
    }
}
