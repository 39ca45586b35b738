//! A pseudo-terminal behind a lasting link, for a host on this computer.
//!
//! A pseudo-terminal has neither modem lines nor breaks, and of a line's settings its system keeps the
//! speed alone: that is what travels.

use super::super::line::{Change, Heard, Held, Opening, Wire, Work, tty};
use super::super::pty::Pty;
use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::io::Errno;
use rustix::termios::{OptionalActions, QueueSelector, tcflush, tcgetattr, tcsetattr};
use std::collections::VecDeque;
use std::fs::{self, File, OpenOptions, Permissions};
use std::io::{self, Read};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt, chown, symlink};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::unix::AsyncFd;

/// How often is looked whether a host has opened it, and at what it has set: nobody tells.
const LOOK_EVERY: Duration = Duration::from_millis(50);

const NO_CONTROL: i32 = OFlags::NOCTTY.union(OFlags::NONBLOCK).bits() as i32;

pub(super) struct PseudoTerminal {
    link: PathBuf,
    pty: Mutex<Option<Arc<Pty>>>,
}

impl PseudoTerminal {
    pub(super) fn new(link: PathBuf) -> Self {
        Self { link, pty: Mutex::default() }
    }

    /// Waits for a host to open it.
    pub(super) fn opening(self: &Arc<Self>, baud: u32) -> Opening {
        let this = Arc::clone(self);
        Box::pin(async move {
            let pty = this.pty(baud).map_err(|why| format!("no pseudo-terminal can be made: {why}"))?;
            loop {
                this.keep_link(pty.path())?;
                if let Some(heard) = is_open(&pty) {
                    let io = pty.end().try_clone().and_then(tty::watched);
                    let io = io.map_err(|why| format!("the pseudo-terminal cannot be used: {why}"))?;
                    let wire = Opened { io, heard, baud, buffer: vec![0; 4096].into(), pty, terminal: this };
                    return Ok(Box::new(wire) as Box<dyn Wire>);
                }
                tokio::time::sleep(LOOK_EVERY).await;
            }
        })
    }

    fn pty(&self, baud: u32) -> io::Result<Arc<Pty>> {
        let mut known = self.pty.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(pty) = &*known {
            return Ok(Arc::clone(pty));
        }
        let pty = Pty::open()?;
        fcntl_setfl(pty.end(), fcntl_getfl(pty.end())? | OFlags::NONBLOCK)?;
        let mut settings = tcgetattr(pty.end())?;
        settings.set_speed(baud)?;
        tcsetattr(pty.end(), OptionalActions::Now, &settings)?;
        // Whoever is of the folder's group may use what lies in it.
        let folder = self.link.parent().filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new("."));
        fs::create_dir_all(folder)?;
        chown(pty.path(), None, Some(fs::metadata(folder)?.gid()))?;
        fs::set_permissions(pty.path(), Permissions::from_mode(0o660))?;
        Ok(Arc::clone(known.insert(Arc::new(pty))))
    }

    /// Has the link point to it; it may have been removed.
    fn keep_link(&self, to: &Path) -> Result<(), String> {
        let link = &self.link;
        match fs::read_link(link) {
            Ok(is) if is == to => return Ok(()),
            // What a station left behind that did not end in order.
            Ok(is) if is.starts_with("/dev/pts") => {}
            Ok(is) => {
                return Err(format!(
                    "{} is a link to {}: remove it, or give the host another link",
                    link.display(),
                    is.display()
                ));
            }
            Err(why) if why.kind() == io::ErrorKind::NotFound => {}
            Err(why) if why.kind() == io::ErrorKind::InvalidInput => {
                return Err(format!("{} is there and no link: give the host another", link.display()));
            }
            Err(why) => return Err(format!("{}: {why}", link.display())),
        }
        let mut new = link.clone().into_os_string();
        new.push(".new");
        let new = PathBuf::from(new);
        let made = match fs::remove_file(&new) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
            _ => symlink(to, &new).and_then(|()| fs::rename(&new, link)),
        };
        made.map_err(|why| format!("the link {} cannot be made: {why}", link.display()))
    }
}

impl Drop for PseudoTerminal {
    fn drop(&mut self) {
        let pty = self.pty.get_mut().unwrap_or_else(PoisonError::into_inner);
        if let Some(pty) = pty
            && fs::read_link(&self.link).is_ok_and(|is| is == pty.path())
        {
            // A link to nowhere is replaced at the next start.
            let _ = fs::remove_file(&self.link);
        }
    }
}

/// Whether a host has it open, and what it has sent already.
fn is_open(pty: &Pty) -> Option<Vec<u8>> {
    let mut buffer = [0; 4096];
    match pty.end().read(&mut buffer) {
        Ok(0) => None,
        Ok(count) => Some(buffer[..count].to_vec()),
        Err(why) if why.kind() == io::ErrorKind::WouldBlock => Some(Vec::new()),
        Err(_) => None,
    }
}

/// It, with a host on the other side.
struct Opened {
    io: AsyncFd<File>,
    heard: Vec<u8>,
    /// The speed that the host was last seen to have set.
    baud: u32,
    buffer: Box<[u8]>,
    pty: Arc<Pty>,
    terminal: Arc<PseudoTerminal>,
}

impl Opened {
    fn look_at_speed(&mut self, heard: &mut VecDeque<Heard>) {
        // To set the speed 0 is to hang up.
        let speed = tcgetattr(self.io.get_ref()).map_or(0, |settings| settings.output_speed());
        if speed > 0 && speed != self.baud {
            self.baud = speed;
            heard.push_back(Heard::Asks(Change::Baud(speed)));
        }
    }
}

impl Wire for Opened {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        if !self.heard.is_empty() {
            self.look_at_speed(heard);
            heard.push_back(Heard::Bytes(std::mem::take(&mut self.heard)));
            return Poll::Ready(Ok(()));
        }
        match ready!(tty::read(&self.io, cx, &mut self.buffer)) {
            Ok(0) => Poll::Ready(Err(io::ErrorKind::UnexpectedEof.into())),
            Ok(count) => {
                self.look_at_speed(heard);
                heard.push_back(Heard::Bytes(self.buffer[..count].to_vec()));
                Poll::Ready(Ok(()))
            }
            Err(why) if why.raw_os_error() == Some(Errno::IO.raw_os_error()) => {
                // What the host did not read is not for the next one: it is on record all the same.
                let tty = OpenOptions::new().read(true).custom_flags(NO_CONTROL).open(self.pty.path());
                let _ = tty.map(|tty| tcflush(tty, QueueSelector::IOFlush));
                Poll::Ready(Err(io::Error::other("no program has it open any more")))
            }
            Err(why) => Poll::Ready(Err(why)),
        }
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        tty::write(&self.io, cx, bytes)
    }

    fn work(&mut self, _: Work) -> Option<Held> {
        None
    }

    fn every(&self) -> Option<Duration> {
        Some(LOOK_EVERY)
    }

    fn tick(&mut self, heard: &mut VecDeque<Heard>) {
        self.look_at_speed(heard);
        if let Err(why) = self.terminal.keep_link(self.pty.path()) {
            tracing::debug!(%why, "the link of a host is gone");
        }
    }
}
