//! Passing goes on whatever happens to the ledger, and comes back whatever happens to a line.

use crate::common::{Adapter, PATIENCE, Station, wait_for};
use crate::lab::{Chance, Lab, connect, free_address, read, write_in_pieces};
use fociline::bench::entry::{Entry, Gap, PortState, Sender};
use rusqlite::Connection;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::process::Command;

fn line(n: usize) -> String {
    format!("JOB={n:06} EYE=R S=-1.25\r\n")
}

#[test]
fn either_side_is_unplugged_and_plugged_again() {
    let lab = Lab::new();
    let mut adapter = Adapter::plugged(lab.path().join("port"));
    let mut far = Adapter::plugged(lab.path().join("far"));
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
    let host_hears = |far: &Adapter, n| {
        let mut end = far.pty.as_ref().expect("plugged").end();
        assert_eq!(read(&mut end, line(n).len()), line(n).as_bytes());
    };
    adapter.send(line(1));
    host_hears(&far, 1);

    // Without its host the instrument is read on.
    far.unplug();
    station.line(&["focimeter-1 host: PORT LOST"]);
    adapter.send(line(2));
    station.line(&["reading", "job 000002"].map(|_| "000002"));
    far.plug();
    station.line(&["focimeter-1 host: port open"]);
    adapter.send(line(3));
    host_hears(&far, 3);

    // Without its instrument the host is read on, and it is on record that nobody heard it.
    adapter.unplug();
    station.line(&["focimeter-1: PORT LOST"]);
    far.send(b"\x05");
    wait_for("what was not delivered", || (lab.said().1 == b"\x05").then_some(()));
    adapter.plug();
    station.line(&["focimeter-1: port open"]);
    far.send(b"\x06");
    let mut instrument = adapter.pty.as_ref().expect("plugged").end();
    assert_eq!(read(&mut instrument, 1), b"\x06", "what was said to nobody is not said later");
    assert!(station.stop().success());
    assert_eq!(lab.recorded(), [line(1), line(2), line(3)].concat().as_bytes());
    assert_eq!(lab.said(), (b"\x06".to_vec(), b"\x05".to_vec()));
    lab.ledger_agrees();
}

#[test]
fn a_link_is_made_again_and_programs_come_and_go() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let link = lab.path().join("host");
    // What a station left behind that did not end in order.
    std::os::unix::fs::symlink("/dev/pts/999999", &link).expect("a link");
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let open = || {
        let builder = serialport::new(link.to_str().expect("text"), 9600);
        let builder = builder.timeout(std::time::Duration::from_secs(30));
        wait_for("the link", || builder.clone().open_native().ok())
    };
    for n in 0..3 {
        let mut host = open();
        station.line(&["focimeter-1 host: port open"]);
        adapter.send(line(n));
        assert_eq!(read(&mut host, line(n).len()), line(n).as_bytes());
        // It goes without reading this.
        adapter.send(line(100 + n));
        station.line(&[&format!("{:06}", 100 + n)]);
        drop(host);
        station.line(&["focimeter-1 host: PORT LOST", "no program has it open any more"]);
        // Nobody hears this.
        adapter.send(line(200 + n));
        station.line(&[&format!("{:06}", 200 + n)]);
        std::fs::remove_file(&link).expect("the link is there");
    }
    assert!(station.stop().success());
    assert_eq!(lab.gaps(), []);
}

#[test]
fn what_is_no_link_of_a_station_is_left_alone() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    std::fs::write(lab.path().join("host"), "mine").expect("written");
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1 host: no port", "is there and no link"]);
    assert!(station.stop().success());
    assert_eq!(std::fs::read_to_string(lab.path().join("host")).expect("there"), "mine");
}

#[test]
fn one_host_at_a_time() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let mut first = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    let mut second = connect(&address);
    assert_eq!(second.read(&mut [0]).unwrap_or(0), 0, "it is turned away");
    wait_for("a word in the log", || station.log().contains("one host at a time").then_some(()));
    adapter.send(line(1));
    assert_eq!(read(&mut first, line(1).len()), line(1).as_bytes());
    drop(first);
    station.line(&["focimeter-1 host: PORT LOST"]);
    let mut third = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    adapter.send(line(2));
    assert_eq!(read(&mut third, line(2).len()), line(2).as_bytes());
    assert!(station.stop().success());
}

/// A host that reads nothing costs neither the instrument's record nor memory.
#[test]
fn a_host_that_reads_nothing_is_let_go_of() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    // More than both systems' buffers for the socket take.
    let ledger = Connection::open(lab.ledger()).expect("opens");
    let mut sent = Vec::new();
    let mut end = adapter.pty.as_ref().expect("plugged").end();
    while !station.log().contains("port lost") {
        let block: String = (0..2000).map(|n| format!("PAD{n:05}{}\r\n", "x".repeat(180))).collect();
        end.write_all(block.as_bytes()).expect("it is read on");
        sent.extend(block.into_bytes());
        // No faster than it is recorded: it is the host that is slow here.
        let lines = sent.iter().filter(|byte| **byte == b'\n').count();
        wait_for("the record", || {
            let count = ledger.query_row("SELECT count(*) FROM frames", [], |row| row.get::<_, i64>(0));
            (usize::try_from(count.expect("counts")) == Ok(lines)).then_some(())
        });
        assert!(sent.len() < 64 * 1024 * 1024, "it was never let go of");
    }
    station.line(&["focimeter-1 host: PORT LOST", "it takes nothing"]);
    assert!(station.stop().success());
    drop(host);
    let (recorded, gaps) = (lab.recorded(), lab.gaps());
    assert!(recorded == sent, "{} of {} bytes are on record: {gaps:?}", recorded.len(), sent.len());
    let [gap] = &gaps[..] else { panic!("{gaps:?}") };
    assert_eq!((gap.of, gap.gap), (Sender::Instrument, Gap::NotPassedOn));
    assert!(gap.bytes > 0 && gap.bytes <= 128 * 1024, "{gap:?}");
    lab.ledger_agrees();
}

/// Through a link as well: what it does not take is dropped, counted, and on record.
#[test]
fn a_program_that_reads_nothing_misses_what_is_said_to_be_missing() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let link = lab.path().join("host");
    let builder = serialport::new(link.to_str().expect("text"), 9600);
    let mut host = wait_for("the link", || builder.clone().timeout(PATIENCE).open_native().ok());
    station.line(&["focimeter-1 host: port open"]);
    let sent: String = (0..8000).map(line).collect();
    adapter.send(&sent);
    let gap = wait_for("the gap", || lab_gap(&lab));
    assert_eq!((gap.of, gap.gap), (Sender::Instrument, Gap::NotPassedOn));
    // What waited for it comes, without a byte missing before the gap.
    let first = read(&mut host, 64 * 1024);
    assert!(sent.as_bytes().starts_with(&first));
    assert!(station.stop().success());
    assert!(lab.recorded() == sent.as_bytes());
    let missing: u64 = lab.gaps().iter().map(|gap| gap.bytes).sum();
    assert!(missing > 0 && missing < sent.len() as u64 - 64 * 1024, "{missing}");
}

/// More than the 16 MiB that wait for the ledger pass while it cannot be written.
#[test]
fn a_stalled_ledger_stops_nothing_and_what_is_missing_is_said() {
    let lab = Lab::new();
    let listener = TcpListener::bind("127.0.0.1:0").expect("binds");
    let address = free_address();
    let mut station = lab.start(&format!(
        "port = \"tcp://{}\"\nhost = {{ listen = \"{address}\" }}",
        listener.local_addr().expect("bound")
    ));
    let (mut instrument, _) = listener.accept().expect("the station connects");
    let mut host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);

    let lock = Connection::open(lab.ledger()).expect("opens");
    lock.execute_batch("BEGIN IMMEDIATE").expect("locks");
    const BLOCK: usize = 1 << 20;
    let block: Vec<u8> =
        (0..BLOCK / 64).flat_map(|n| format!("PAD{n:09}{}\r\n", "x".repeat(50)).into_bytes()).collect();
    assert_eq!(block.len(), BLOCK);
    let total = 40 * BLOCK;
    // No faster than the host reads: it is not the host that is slow here.
    for _ in 0..40 {
        for part in block.chunks(32 * 1024) {
            instrument.write_all(part).expect("it is read on");
            assert!(read(&mut host, part.len()) == part, "it passes on all the same");
        }
    }
    host.write_all(b"\x06").expect("writes");
    assert_eq!(read(&mut instrument, 1), b"\x06", "in the other direction too");
    lock.execute_batch("ROLLBACK").expect("unlocks");
    drop(lock);

    let gap = wait_for("the gap on record", || lab_gap(&lab));
    instrument.write_all(line(7).as_bytes()).expect("writes");
    wait_for("what follows", || lab.recorded().ends_with(line(7).as_bytes()).then_some(()));
    assert!(station.stop().success());
    let gaps = lab.gaps();
    assert_eq!((gap.of, gap.gap), (Sender::Instrument, Gap::NotCaptured));
    let missing: u64 = gaps.iter().filter(|gap| gap.of == Sender::Instrument).map(|gap| gap.bytes).sum();
    let recorded = lab.recorded().len() as u64;
    assert_eq!(recorded + missing, (total + line(7).len()) as u64, "every byte is accounted for: {gaps:?}");
    assert!(recorded > 4 * BLOCK as u64, "{recorded} bytes waited");
    assert!(gaps.iter().all(|gap| gap.since <= gap.until), "{gaps:?}");
    // What waited says when it came in.
    let late = lab.entries().into_iter().filter_map(|numbered| match numbered.entry {
        Entry::Frame(frame) => frame.arrived.map(|arrived| (arrived, numbered.time)),
        _ => None,
    });
    let late: Vec<_> = late.collect();
    assert!(!late.is_empty() && late.iter().all(|(arrived, written)| arrived < written));
    lab.ledger_agrees();
}

fn lab_gap(lab: &Lab) -> Option<fociline::bench::entry::GapEntry> {
    lab.gaps().into_iter().next()
}

#[test]
fn a_full_disk_stops_nothing() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let settings =
        lab.settings(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    std::fs::write(lab.path().join("station.toml"), settings).expect("written");
    // No file of the program may grow beyond 256 blocks of 1024 bytes: to SQLite, a full disk.
    let mut command = Command::new("bash");
    command.args(["-c", "trap '' XFSZ; ulimit -f 256; exec \"$0\" run --station \"$1\""]);
    command.arg(env!("CARGO_BIN_EXE_fociline")).arg(lab.path().join("station.toml"));
    let mut station = Station::with(lab.path(), command);
    station.line(&["focimeter-1: port open"]);
    let mut host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    let mut sent = 0;
    while !station.log().contains("NOT RECORDING") {
        adapter.send(line(sent));
        assert_eq!(read(&mut host, line(sent).len()), line(sent).as_bytes());
        sent += 1;
        assert!(sent < 100_000, "the disk was never full");
    }
    // On and on: what used to wait for the recorder does not any more.
    let bytes = Chance(3).bytes(100_000);
    let instrument = adapter.pty.as_ref().expect("plugged").end().try_clone().expect("clones");
    let writing = write_in_pieces(instrument, bytes.clone(), 9);
    assert!(read(&mut host, bytes.len()) == bytes);
    writing.join().expect("writes");
    host.write_all(b"\x06").expect("writes");
    let mut instrument = adapter.pty.as_ref().expect("plugged").end();
    assert_eq!(read(&mut instrument, 1), b"\x06");
    assert_eq!(station.stop().code(), Some(3), "it cannot end in order: {}", station.log());
}

#[test]
fn states_of_host_and_instrument_are_on_record() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let taken = TcpListener::bind(&address).expect("binds");
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ listen = \"{address}\" }}", adapter.path.display()));
    station.line(&["focimeter-1 host: no port", "cannot listen at"]);
    drop(taken);
    let host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    drop(host);
    station.line(&["focimeter-1 host: PORT LOST", "the other end closed it"]);
    assert!(station.stop().success());
    let states = lab.entries().into_iter().filter_map(|numbered| match numbered.entry {
        Entry::Port(port) if port.name == "focimeter-1 host" => Some((port.device, port.state)),
        _ => None,
    });
    let device = format!("tcp {address}");
    let expected = [PortState::Unavailable, PortState::Opened, PortState::Lost];
    assert_eq!(states.collect::<Vec<_>>(), expected.map(|state| (device.clone(), state)));
}
