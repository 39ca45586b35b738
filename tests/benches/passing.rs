//! What passing on adds to the way of a byte from an instrument to its host, at the pace of 9,600 baud.
//!
//! `cargo bench --bench passing -- [bytes]`
//!
//! A byte is written every character time (10 bits at 9,600 baud) to a pseudo-terminal and read at its
//! tty: once without a station, once with one in between and a second pseudo-terminal behind it.

#[path = "../common/mod.rs"]
mod common;
#[path = "../passing/lab.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod lab;

use common::{Adapter, wait_for};
use lab::Lab;
use rusqlite::Connection;
use std::io::{Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

/// One start bit, eight data bits, one stop bit.
const CHARACTER: Duration = Duration::from_nanos(10 * 1_000_000_000 / 9600);

fn main() {
    let bytes = std::env::args().skip(1).find_map(|argument| argument.parse::<usize>().ok()).unwrap_or(5000);
    let folder = tempfile::tempdir().expect("a folder");
    println!("{bytes} bytes, one every {:.3} ms; from writing to reading, in milliseconds:", ms(CHARACTER));
    println!("  median      99 %   slowest");
    let direct = Adapter::plugged(folder.path().join("direct"));
    let alone = measure(&direct, &direct.path, bytes);
    print("one pseudo-terminal, nothing in between", &alone);

    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let mut station =
        lab.start(&format!("port = \"{}\"\nhost = {{ link = \"host\" }}", adapter.path.display()));
    station.line(&["focimeter-1: port open"]);
    let link = lab.path().join("host");
    let through = measure(&adapter, &link, bytes);
    print("two, and a station in between", &through);
    let lock = Connection::open(lab.ledger()).expect("opens");
    lock.execute_batch("BEGIN IMMEDIATE").expect("locks");
    let stalled = measure(&adapter, &link, bytes);
    print("the same while the ledger cannot be written", &stalled);
    lock.execute_batch("ROLLBACK").expect("unlocks");
    assert!(station.stop().success(), "{}", station.log());
    for (what, times) in [("in between", &through), ("with the ledger stalled", &stalled)] {
        let added = at(times, 99).saturating_sub(at(&alone, 99));
        println!("added at 99 %, {what}: {:.3} ms (aim: {:.3})", ms(added), ms(CHARACTER) + 1.0);
    }
}

fn measure(from: &Adapter, to: &Path, bytes: usize) -> Vec<Duration> {
    let path = to.to_str().expect("text");
    let builder = serialport::new(path, 9600).timeout(Duration::from_secs(30));
    let mut port = wait_for("the port", || builder.clone().open_native().ok());
    // Whoever stands in between looks for a host now and then.
    std::thread::sleep(Duration::from_millis(300));
    let reading = std::thread::spawn(move || {
        let mut byte = [0];
        let read = |_| {
            port.read_exact(&mut byte).expect("a byte");
            Instant::now()
        };
        (0..bytes).map(read).collect::<Vec<Instant>>()
    });
    let mut end = from.pty.as_ref().expect("plugged").end();
    let mut written = Vec::with_capacity(bytes);
    let mut next = Instant::now();
    for n in 0..bytes {
        std::thread::sleep(next.saturating_duration_since(Instant::now()));
        next += CHARACTER;
        written.push(Instant::now());
        end.write_all(if n % 40 == 39 { b"\n" } else { b"x" }).expect("writes");
    }
    let read = reading.join().expect("reads");
    let mut times: Vec<Duration> =
        written.iter().zip(&read).map(|(written, read)| read.saturating_duration_since(*written)).collect();
    times.sort();
    times
}

fn at(times: &[Duration], percent: usize) -> Duration {
    times[(times.len() * percent / 100).min(times.len() - 1)]
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn print(what: &str, times: &[Duration]) {
    println!(
        "{:8.3}  {:8.3}  {:8.3}  {what}",
        ms(at(times, 50)),
        ms(at(times, 99)),
        ms(times[times.len() - 1])
    );
}
