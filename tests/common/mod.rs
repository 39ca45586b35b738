//! Real parts for whole-program tests: the binary, pseudo-terminals, folders that go away.
#![allow(dead_code, reason = "each test file uses some of it")]

pub mod page;

use fociline::station::pty::Pty;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// How long anything may take before a test gives up. Nothing is measured against it.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// A command of the program under test.
pub fn fociline(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fociline"));
    command.args(args).env("TZ", "UTC").stdin(Stdio::null());
    command
}

/// What a finished command printed and how it ended.
pub struct Ran {
    pub out: String,
    pub err: String,
    pub status: i32,
}

pub fn ran(args: &[&str]) -> Ran {
    let output = fociline(args).output().expect("the program starts");
    Ran {
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
        status: output.status.code().unwrap_or(-1),
    }
}

/// Polls until `what` gives something.
pub fn wait_for<T>(what: &str, mut poll: impl FnMut() -> Option<T>) -> T {
    let since = Instant::now();
    loop {
        if let Some(found) = poll() {
            return found;
        }
        assert!(since.elapsed() < PATIENCE, "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A running station: ended with SIGKILL when it is dropped before it was stopped.
pub struct Station {
    child: Child,
    lines: Receiver<String>,
    pub seen: Vec<String>,
    pub folder: PathBuf,
}

impl Station {
    pub fn start(folder: &Path, settings: &str) -> Self {
        std::fs::write(folder.join("station.toml"), settings).expect("written");
        let command = fociline(&["run", "--station", folder.join("station.toml").to_str().expect("text")]);
        Self::with(folder, command)
    }

    pub fn with(folder: &Path, mut command: Command) -> Self {
        let log = std::fs::File::create(folder.join("log.json")).expect("a log file");
        let mut child = command.stdout(Stdio::piped()).stderr(log).spawn().expect("the program starts");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (send, lines) = channel();
        std::thread::spawn(move || out.lines().map_while(Result::ok).for_each(|line| drop(send.send(line))));
        Self { child, lines, seen: Vec::new(), folder: folder.to_owned() }
    }

    /// The next line on standard output that holds all of `words`.
    pub fn line(&mut self, words: &[&str]) -> String {
        let until = Instant::now() + PATIENCE;
        loop {
            match self.lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(line) => {
                    self.seen.push(line.clone());
                    if words.iter().all(|word| line.contains(word)) {
                        return line;
                    }
                }
                Err(_) => {
                    panic!("no line with {words:?}; seen:\n{}\nlog:\n{}", self.seen.join("\n"), self.log())
                }
            }
        }
    }

    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.join("log.json")).unwrap_or_default()
    }

    pub fn signal(&self, name: &str) {
        let status = Command::new("kill").args([&format!("-{name}"), &self.child.id().to_string()]).status();
        assert!(status.expect("kill runs").success());
    }

    /// Tells it to stop and waits until it has; the lines it still printed are in `seen`.
    pub fn stop(&mut self) -> ExitStatus {
        self.signal("TERM");
        self.ended()
    }

    pub fn ended(&mut self) -> ExitStatus {
        let status = wait_for("the end of the station", || self.child.try_wait().expect("a child"));
        self.seen.extend(self.lines.iter());
        status
    }
}

impl Drop for Station {
    fn drop(&mut self) {
        // Fails where it has ended already, which is as well.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends bytes as an instrument would.
pub fn send(pty: &Pty, bytes: impl AsRef<[u8]>) {
    let mut end = pty.end();
    end.write_all(bytes.as_ref()).expect("the other end is open");
}

/// A pseudo-terminal behind a lasting path, as udev gives an adapter.
pub struct Adapter {
    pub path: PathBuf,
    pub pty: Option<Pty>,
}

impl Adapter {
    pub fn plugged(path: PathBuf) -> Self {
        let mut adapter = Self { path, pty: None };
        adapter.plug();
        adapter
    }

    pub fn plug(&mut self) {
        let pty = Pty::open().expect("a pseudo-terminal");
        std::os::unix::fs::symlink(pty.path(), &self.path).expect("a link");
        self.pty = Some(pty);
    }

    pub fn unplug(&mut self) {
        std::fs::remove_file(&self.path).expect("the link is there");
        self.pty = None;
    }

    /// Sends frame after frame, from a thread of its own: a port that is not read any more takes no
    /// more bytes, and whoever sends them waits.
    pub fn send_on_and_on(&self, frame: impl Fn(usize) -> String + Send + 'static) {
        let mut end = self.pty.as_ref().expect("plugged in").end().try_clone().expect("a file");
        std::thread::spawn(move || (0..).all(|n| end.write_all(frame(n).as_bytes()).is_ok()));
    }

    pub fn send(&self, bytes: impl AsRef<[u8]>) {
        send(self.pty.as_ref().expect("plugged in"), bytes);
    }
}
