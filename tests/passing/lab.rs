//! A station with one instrument and whatever stands at its ends.

use crate::common::{PATIENCE, Station, ran, wait_for};
use fociline::bench::entry::{Entry, GapEntry, Numbered, Seq};
use fociline::ledger::Reader;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use tempfile::TempDir;

/// A folder for a station's files.
pub struct Lab {
    pub folder: TempDir,
}

impl Lab {
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Settings with one instrument; `keys` are lines of its table.
    pub fn settings(&self, keys: &str) -> String {
        format!(
            "[station]\nname = \"b\"\nledger = \"b.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
             [[instrument]]\nname = \"focimeter-1\"\nlayout = \"tagged\"\n{keys}\n"
        )
    }

    pub fn start(&self, keys: &str) -> Station {
        Station::start(self.path(), &self.settings(keys))
    }

    pub fn ledger(&self) -> PathBuf {
        self.path().join("b.ledger")
    }

    pub fn entries(&self) -> Vec<Numbered> {
        let reader = Reader::open(self.ledger()).expect("opens");
        let head = reader.head().expect("reads").seq;
        reader.entries(Seq(1)..=head).collect::<Result<_, _>>().expect("reads")
    }

    /// What is on record as sent by the instrument.
    pub fn recorded(&self) -> Vec<u8> {
        let frames = self.entries().into_iter().filter_map(|numbered| match numbered.entry {
            Entry::Frame(frame) => Some(frame.bytes),
            _ => None,
        });
        frames.flatten().collect()
    }

    /// What is on record as sent by the host: delivered, and not.
    pub fn said(&self) -> (Vec<u8>, Vec<u8>) {
        let (mut delivered, mut undelivered) = (Vec::new(), Vec::new());
        for numbered in self.entries() {
            if let Entry::Host(said) = numbered.entry {
                if said.undelivered { &mut undelivered } else { &mut delivered }.extend(said.bytes);
            }
        }
        (delivered, undelivered)
    }

    pub fn gaps(&self) -> Vec<GapEntry> {
        let gaps = self.entries().into_iter().filter_map(|numbered| match numbered.entry {
            Entry::Gap(gap) => Some(gap),
            _ => None,
        });
        gaps.collect()
    }

    pub fn ledger_agrees(&self) {
        for command in ["verify", "rederive"] {
            let ran = ran(&["ledger", command, "--ledger", self.ledger().to_str().expect("text")]);
            assert_eq!(ran.status, 0, "{command}: {}{}", ran.out, ran.err);
        }
    }
}

/// Numbers that are the same in every run (xorshift64, Marsaglia 2003).
pub struct Chance(pub u64);

impl Chance {
    pub fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % end as u64) as usize
    }

    /// Bytes among which every value occurs.
    pub fn bytes(&mut self, length: usize) -> Vec<u8> {
        let bytes: Vec<u8> = (0..=255).chain((256..length).map(|_| self.below(256) as u8)).collect();
        assert!(length >= 256 && (0..=255u8).all(|byte| bytes.contains(&byte)));
        bytes
    }
}

/// An address on this computer that nobody uses at present.
pub fn free_address() -> String {
    TcpListener::bind("127.0.0.1:0").expect("binds").local_addr().expect("bound").to_string()
}

/// Connects as soon as somebody listens.
pub fn connect(address: &str) -> TcpStream {
    let stream = wait_for("a listener", || TcpStream::connect(address).ok());
    stream.set_read_timeout(Some(PATIENCE)).expect("set");
    stream
}

/// Reads so many bytes.
pub fn read(from: &mut impl Read, count: usize) -> Vec<u8> {
    let mut bytes = vec![0; count];
    let mut got = 0;
    while got < count {
        match from.read(&mut bytes[got..]) {
            Ok(0) => panic!("the end after {got} of {count} bytes"),
            Ok(more) => got += more,
            Err(why) => panic!("{why} after {got} of {count} bytes"),
        }
    }
    bytes
}

/// Writes in pieces of every length, from a thread of its own.
pub fn write_in_pieces(
    mut to: impl Write + Send + 'static,
    bytes: Vec<u8>,
    seed: u64,
) -> std::thread::JoinHandle<()> {
    std::thread::spawn(move || {
        let (mut chance, mut at) = (Chance(seed), 0);
        while at < bytes.len() {
            let length = (1 + chance.below(97)).min(bytes.len() - at);
            to.write_all(&bytes[at..at + length]).expect("the other end is open");
            at += length;
            if chance.below(4) == 0 {
                std::thread::yield_now();
            }
        }
    })
}

/// A script of `tests/tools`, run by the Python that `contrib/check` sets up.
pub struct Tool {
    child: Child,
    stdin: ChildStdin,
    lines: Receiver<String>,
    seen: Vec<String>,
}

impl Tool {
    pub fn start(script: &str, arguments: &[&str]) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join("target/python/bin/python");
        assert!(python.exists(), "{} is missing: contrib/check sets it up", python.display());
        let mut command = Command::new(python);
        command.arg(root.join("tests/tools").join(script)).args(arguments);
        let mut child =
            command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the script starts");
        let stdin = child.stdin.take().expect("piped");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (send, lines) = channel();
        std::thread::spawn(move || out.lines().map_while(Result::ok).for_each(|line| drop(send.send(line))));
        Self { child, stdin, lines, seen: Vec::new() }
    }

    pub fn say(&mut self, words: &str) {
        writeln!(self.stdin, "{words}").expect("it listens");
    }

    /// The next line that begins so; gives what follows.
    pub fn line(&mut self, begins: &str) -> String {
        loop {
            match self.lines.recv_timeout(PATIENCE) {
                Ok(line) => {
                    self.seen.push(line.clone());
                    if let Some(rest) = line.strip_prefix(begins) {
                        return rest.trim().to_owned();
                    }
                }
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    panic!("no line {begins:?}; seen: {:?}", self.seen)
                }
            }
        }
    }

    pub fn ask(&mut self, words: &str, answer: &str) -> String {
        self.say(words);
        self.line(answer)
    }
}

impl Drop for Tool {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

pub fn from_hex(text: &str) -> Vec<u8> {
    let digits = |at| u8::from_str_radix(&text[at..at + 2], 16).expect("hex");
    (0..text.len()).step_by(2).map(digits).collect()
}
