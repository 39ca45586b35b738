//! Instruments behind the network: sockets that come and go, and what is said where there is none.

use crate::common::{Station, wait_for};
use crate::lab::{Chance, Lab, free_address};
use fociline::bench::entry::Entry;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::time::Duration;

fn line(n: usize) -> String {
    format!("JOB={n:06} EYE=R S=-1.25\r\n")
}

/// Jobs of which there is a reading: a frame that was cut behind its last byte but one is read, and
/// is read again when it is sent again.
fn readings(lab: &Lab) -> usize {
    let entries = lab.entries();
    let jobs = entries.iter().filter_map(|numbered| match &numbered.entry {
        Entry::Reading(reading) => reading.job.as_ref(),
        _ => None,
    });
    jobs.collect::<std::collections::BTreeSet<_>>().len()
}

/// A proxy that drops the connection after a random count of bytes, in the midst of a frame as often
/// as not; the instrument behind it notices and begins the frame again.
#[test]
fn a_connection_that_breaks_on_and_on_is_made_again() {
    const LINES: usize = 60;
    let lab = Lab::new();
    let proxy = TcpListener::bind("127.0.0.1:0").expect("binds");
    let mut station = lab.start(&format!("port = \"tcp://{}\"", proxy.local_addr().expect("bound")));
    let mut chance = Chance(20_261_125);
    let (mut sent, mut broken, mut n) = (Vec::<u8>::new(), 0, 0);
    while n < LINES {
        let (mut stream, _) = proxy.accept().expect("the station connects");
        let mut left = 30 + chance.below(300);
        while n < LINES {
            let line = line(n);
            let count = line.len().min(left);
            stream.write_all(&line.as_bytes()[..count]).expect("writes");
            sent.extend(&line.as_bytes()[..count]);
            left -= count;
            if count < line.len() {
                broken += 1;
                break;
            }
            n += 1;
        }
        // In order, so that no byte is lost on the way: what is sent is then what arrives.
        stream.shutdown(Shutdown::Write).expect("shuts");
        wait_for("the station to see it", || matches!(stream.read(&mut [0]), Ok(0) | Err(_)).then_some(()));
    }
    assert!(broken > 3, "the seed breaks a few");
    wait_for("the last line", || (readings(&lab) == LINES).then_some(()));
    assert!(station.stop().success());
    assert!(lab.recorded() == sent, "every byte is on record");
    let unfinished = lab
        .entries()
        .into_iter()
        .filter(|numbered| matches!(&numbered.entry, Entry::Frame(frame) if frame.reject.is_some()));
    assert!(unfinished.count() > 0, "a frame that was cut is no reading");
    lab.ledger_agrees();
}

#[test]
fn a_peer_that_is_killed_and_started_again_is_found() {
    let lab = Lab::new();
    let address = free_address();
    let mut station = lab.start(&format!("port = \"tcp://{address}\""));
    station.line(&["focimeter-1: no port", "nothing listens at", "is the port server set up"]);
    for n in 0..3 {
        let listener = wait_for("the address", || TcpListener::bind(&address).ok());
        let (mut stream, _) = listener.accept().expect("the station connects");
        station.line(&["focimeter-1: port open"]);
        stream.write_all(line(n).as_bytes()).expect("writes");
        station.line(&[&format!("{n:06}")]);
        // Killed: the system resets the connection.
        socket_reset(&stream);
        drop((stream, listener));
        station.line(&["focimeter-1: PORT LOST"]);
    }
    assert!(station.stop().success());
    assert_eq!(readings(&lab), 3);
}

/// Closes with a reset: bytes that were not read are lost at both ends.
fn socket_reset(stream: &TcpStream) {
    rustix::net::sockopt::set_socket_linger(stream, Some(Duration::ZERO)).expect("set");
}

#[test]
fn a_scanner_behind_the_network_chooses_jobs() {
    let lab = Lab::new();
    let listener = TcpListener::bind("[::1]:0").expect("binds: IPv6 on this computer");
    let settings = format!(
        "[station]\nname = \"b\"\nledger = \"b.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
         [[scanner]]\nname = \"scanner-1\"\nport = \"tcp://{}\"\n",
        listener.local_addr().expect("bound")
    );
    let mut station = Station::start(lab.path(), &settings);
    let (mut stream, _) = listener.accept().expect("the station connects");
    stream.write_all(b"4471\r\n").expect("writes");
    station.line(&["4471", "chosen", "scanner-1"]);
    assert!(station.stop().success());
}

#[test]
fn what_cannot_be_reached_is_said_with_what_to_do() {
    for (port, words) in [
        (
            "tcp://no-such-name.invalid:4001",
            vec!["no address is known for no-such-name.invalid", "check the name"],
        ),
        ("rfc2217://no-such-name.invalid:4001", vec!["no address is known", "check the name"]),
    ] {
        let lab = Lab::new();
        let mut station = lab.start(&format!("port = \"{port}\""));
        let line = station.line(&["focimeter-1: no port: cannot be opened"]);
        assert!(words.iter().all(|word| line.contains(word)), "{line}");
        assert!(station.stop().success());
    }
}

#[test]
fn listen_takes_an_address_too() {
    let lab = Lab::new();
    let listener = TcpListener::bind("127.0.0.1:0").expect("binds");
    let port = format!("tcp://{}", listener.local_addr().expect("bound"));
    let file = lab.path().join("heard.bin");
    let command = crate::common::fociline(&["listen", &port, "--save", file.to_str().expect("text")]);
    let mut listening = Station::with(lab.path(), command);
    let (mut stream, _) = listener.accept().expect("it connects");
    stream.write_all(b"R -1.25\xff\r\n").expect("writes");
    listening.line(&["52 20 2d 31 2e 32 35 ff 0d 0a"]);
    listening.signal("INT");
    assert!(listening.ended().success());
    assert_eq!(std::fs::read(file).expect("saved"), b"R -1.25\xff\r\n");
}
