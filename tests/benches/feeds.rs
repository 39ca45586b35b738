//! How fast a feed catches up: readings and verdicts of a day, from the ledger over TCP to a receiver
//! that acknowledges each line.
//!
//! `cargo bench --bench feeds -- [frames]`

use fociline::station::pty::Pty;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const ORDER: &str = r#"{"job":"1","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;

fn main() {
    let frames = std::env::args().skip(1).find_map(|argument| argument.parse::<u64>().ok()).unwrap_or(50_000);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let text: String =
        (0..frames).map(|n| format!("JOB=1 EYE=R S=-1.25 C=-0.50 A={}\r\n", 88 + n % 5)).collect();
    std::fs::write(path("recording.bin"), text).expect("written");
    std::fs::write(path("orders.jsonl"), ORDER).expect("written");
    let ledger = path("bench.ledger");
    run(&["order", "add", "--ledger"], &[&ledger, &path("orders.jsonl")]);
    run(&["replay", "--layout", "tagged", "--ledger"], &[&ledger, &path("recording.bin")]);

    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = listener.local_addr().expect("bound");
    let pty = Pty::open().expect("a pseudo-terminal");
    let settings = format!(
        "[station]\nname = \"bench-1\"\nledger = \"bench.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
         [[instrument]]\nname = \"focimeter-1\"\nport = \"{}\"\nlayout = \"tagged\"\n\
         [[feed]]\nname = \"host\"\nto = \"tcp://{at}\"\nfrom = \"start\"\n",
        pty.path().display()
    );
    std::fs::write(path("station.toml"), settings).expect("written");
    let mut station = Command::new(env!("CARGO_BIN_EXE_fociline"))
        .args(["run", "--station"])
        .arg(path("station.toml"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("starts");
    let (stream, _) = listener.accept().expect("it connects");
    let start = Instant::now();
    let mut answer = stream.try_clone().expect("a socket");
    let (mut messages, mut bytes) = (0, 0);
    for line in BufReader::new(stream).lines().map_while(Result::ok) {
        messages += 1;
        bytes += line.len() + 1;
        let seq = line.split("\"seq\":").nth(1).and_then(|rest| rest.split(',').next()).expect("a number");
        writeln!(answer, "{seq}").expect("it listens");
        if messages == 2 * frames {
            break;
        }
    }
    let seconds = start.elapsed().as_secs_f64();
    let _ = station.kill();
    let _ = station.wait();
    println!("{messages} messages, each acknowledged");
    println!("{:>12.0} messages a second", messages as f64 / seconds);
    println!("{:>12.1} MB/s", bytes as f64 / seconds / 1e6);
}

fn run(arguments: &[&str], paths: &[&Path]) {
    let status = Command::new(env!("CARGO_BIN_EXE_fociline"))
        .args(arguments)
        .args(paths)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    assert!(status.expect("starts").success(), "{arguments:?}");
}
