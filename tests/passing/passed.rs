//! What passes on a pseudo-terminal, a second port and a socket is the same, byte by byte.

use crate::common::{Adapter, wait_for};
use crate::lab::{Chance, Lab, connect, free_address, hex, read, write_in_pieces};
use fociline::bench::entry::{Entry, PortState};
use serialport::{SerialPort, TTYPort};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::Duration;

/// As long as a busy morning.
const MUCH: usize = 40_000;

fn open(path: &Path) -> TTYPort {
    let path = path.to_str().expect("text");
    let builder = serialport::new(path, 9600).timeout(Duration::from_secs(30));
    wait_for("a port to open", || builder.clone().open_native().ok())
}

/// Sends everything both ways at once and looks at what arrives and at what is recorded.
fn converse<Instrument, Host>(
    lab: &Lab,
    instrument: (Instrument, Instrument),
    host: (Host, Host),
    stop: impl FnOnce(),
) where
    Instrument: Read + Write + Send + 'static,
    Host: Read + Write + Send + 'static,
{
    let (sent, asked) = (Chance(7).bytes(MUCH), Chance(11).bytes(MUCH));
    let writing = [write_in_pieces(instrument.0, sent.clone(), 3), write_in_pieces(host.0, asked.clone(), 5)];
    let (mut instrument, mut host) = (instrument.1, host.1);
    let heard = std::thread::spawn(move || (read(&mut instrument, MUCH), instrument));
    assert!(read(&mut host, MUCH) == sent, "what the instrument sent is what the host heard");
    let (heard, _instrument) = heard.join().expect("reads");
    assert!(heard == asked, "what the host sent is what the instrument heard");
    writing.into_iter().for_each(|thread| thread.join().expect("writes"));
    stop();
    assert!(lab.recorded() == sent, "and what is on record");
    assert_eq!(lab.gaps(), []);
    assert!(lab.said() == (asked, vec![]), "as is what the host said");
    lab.ledger_agrees();
}

fn both<F: TryCloneOf>(one: &F) -> (F, F) {
    (one.again(), one.again())
}

trait TryCloneOf {
    fn again(&self) -> Self;
}

impl TryCloneOf for std::fs::File {
    fn again(&self) -> Self {
        self.try_clone().expect("clones")
    }
}

impl TryCloneOf for TTYPort {
    fn again(&self) -> Self {
        self.try_clone_native().expect("clones")
    }
}

impl TryCloneOf for TcpStream {
    fn again(&self) -> Self {
        self.try_clone().expect("clones")
    }
}

#[test]
fn every_byte_passes_through_a_link() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"run/host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let host = open(&lab.path().join("run/host"));
    // Metadata of what the link points to: programs of the folder's group may open it.
    let of = |path: &str| std::fs::metadata(lab.path().join(path)).expect("there");
    assert_eq!((of("run/host").mode() & 0o777, of("run/host").gid()), (0o660, of("run").gid()));
    station.line(&["focimeter-1 host: port open"]);
    let instrument = adapter.pty.as_ref().expect("plugged").end();
    converse(&lab, both(instrument), both(&host), || assert!(station.stop().success()));
    assert!(lab.path().join("run/host").symlink_metadata().is_err(), "the link goes with the station");
}

#[test]
fn every_byte_passes_through_a_second_port() {
    let lab = Lab::new();
    let (adapter, far) =
        (Adapter::plugged(lab.path().join("port")), Adapter::plugged(lab.path().join("far")));
    let mut station = lab.start(&format!(
        "port = \"{}\"\nhost = {{ port = \"{}\" }}",
        adapter.path.display(),
        far.path.display()
    ));
    let mut left = vec!["focimeter-1: port open", "focimeter-1 host: port open"];
    while !left.is_empty() {
        let line = station.line(&[]);
        left.retain(|words| !line.contains(words));
    }
    let ends = [&adapter, &far].map(|adapter| adapter.pty.as_ref().expect("plugged").end());
    converse(&lab, both(ends[0]), both(ends[1]), || assert!(station.stop().success()));
}

#[test]
fn every_byte_passes_through_a_socket() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    let instrument = adapter.pty.as_ref().expect("plugged").end();
    converse(&lab, both(instrument), both(&host), || assert!(station.stop().success()));
}

/// A host that sends much to an instrument that says nothing and is slow to read: it waits, and goes on.
#[test]
fn a_host_waits_for_a_slow_instrument() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    let asked = Chance(11).bytes(200_000);
    let writing = write_in_pieces(host.again(), asked.clone(), 5);
    let mut instrument = adapter.pty.as_ref().expect("plugged").end().again();
    let mut heard = Vec::new();
    while heard.len() < asked.len() {
        heard.extend(read(&mut instrument, 1000));
        std::thread::yield_now();
    }
    assert!(heard == asked);
    writing.join().expect("writes");
    assert!(station.stop().success());
    assert!(lab.said() == (asked, vec![]));
}

/// A conversation as hosts have it: asked, answered, acknowledged; each turn is one entry.
#[test]
fn a_conversation_is_on_record_turn_by_turn() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let mut host = open(&lab.path().join("host"));
    station.line(&["focimeter-1 host: port open"]);
    let mut instrument = adapter.pty.as_ref().expect("plugged").end().again();
    for n in 0..3 {
        host.write_all(b"\x05").expect("writes");
        assert_eq!(read(&mut instrument, 1), b"\x05");
        let line = format!("JOB={n} EYE=R S=-1.25\r\n");
        instrument.write_all(line.as_bytes()).expect("writes");
        assert_eq!(read(&mut host, line.len()), line.as_bytes());
        host.write_all(b"\x06").expect("writes");
        assert_eq!(read(&mut instrument, 1), b"\x06");
    }
    assert!(station.stop().success());
    let mut turns: Vec<String> = lab
        .entries()
        .iter()
        .filter_map(|numbered| match &numbered.entry {
            Entry::Host(said) => Some(format!("host {}", hex(&said.bytes))),
            Entry::Frame(frame) => Some(format!("frame {}", frame.bytes.len())),
            Entry::Reading(_) => Some("reading".to_owned()),
            _ => None,
        })
        .collect();
    // The acknowledgement and the next question are one turn, or two where a silence is between.
    turns.retain(|turn| turn != "host 05");
    turns.iter_mut().filter(|turn| *turn == "host 06").for_each(|turn| *turn = "host 0605".to_owned());
    assert_eq!(turns.join(", "), ["frame 21, reading, host 0605"; 3].join(", "));
    let states: Vec<PortState> = lab
        .entries()
        .iter()
        .filter_map(|numbered| match &numbered.entry {
            Entry::Port(port) if port.name == "focimeter-1 host" => Some(port.state),
            _ => None,
        })
        .collect();
    assert_eq!(states, [PortState::Opened, PortState::Closed]);
}

#[test]
fn what_the_host_sets_the_link_s_speed_to_is_set_on_the_port() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let mut host = open(&lab.path().join("host"));
    station.line(&["focimeter-1 host: port open"]);
    host.set_baud_rate(4800).expect("sets");
    let instrument = adapter.pty.as_ref().expect("plugged").end();
    wait_for("the port's speed", || {
        // The end of a pseudo-terminal tells how its tty is set.
        let speed = rustix::termios::tcgetattr(instrument).expect("tells").output_speed();
        (speed == 4800).then_some(())
    });
    wait_for("the log", || station.log().contains("baud = 4800").then_some(()));
    assert!(station.stop().success());
}
