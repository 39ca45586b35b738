//! How many recorded frames a second `fociline replay` reads, judges and commits, how much memory
//! it takes, and what is on disk afterwards.
//!
//! `cargo bench --bench replay -- [frames]`

use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// How often the lenses of one job are measured, one after the other as at a bench.
const FRAMES_A_JOB: u64 = 8;

fn main() {
    let frames = std::env::args().skip(1).find_map(|argument| argument.parse::<u64>().ok());
    let frames = frames.unwrap_or(1_000_000);
    let jobs = frames.div_ceil(FRAMES_A_JOB);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let recording = folder.path().join("recording.bin");
    let orders = folder.path().join("orders.jsonl");
    let ledger = folder.path().join("bench.ledger");
    record(&recording, frames);
    order(&orders, jobs);
    run(&["order", "add", "--ledger", text(&ledger), text(&orders)]);

    let start = Instant::now();
    let peak = run(&["replay", "--layout", "tagged", "--ledger", text(&ledger), text(&recording)]);
    let seconds = start.elapsed().as_secs_f64();
    println!("{frames} frames of {jobs} jobs, each read, judged and committed");
    println!("{:>12.0} frames a second", frames as f64 / seconds);
    println!("{:>12.1} us a frame", seconds * 1e6 / frames as f64);
    println!("{:>12} KiB of memory at the most", peak);
    let bytes = std::fs::metadata(&ledger).expect("the ledger is there").len();
    println!("{:>12} bytes a frame on disk", bytes / frames.max(1));
}

/// Single lenses in turn, right and left, of each job; one in twenty is out of its limit.
fn record(path: &Path, frames: u64) {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path).expect("a file"));
    for n in 0..frames {
        let eye = if n.is_multiple_of(2) { "R" } else { "L" };
        let axis = if n % 20 == 7 { 99 } else { 88 + n % 5 };
        let sphere = -125 + i64::try_from(n % 7).expect("small");
        write!(
            file,
            "JOB={} EYE={eye} S=-{}.{:02} C=-0.50 A={axis} PX=+0.05 PY=-0.04\r\n",
            n / FRAMES_A_JOB,
            -sphere / 100,
            -sphere % 100
        )
        .expect("written");
    }
    file.flush().expect("written");
}

fn order(path: &Path, jobs: u64) {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path).expect("a file"));
    for job in 0..jobs {
        let lens = r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90}"#;
        writeln!(
            file,
            r#"{{"job":"{job}","lens":"single-vision","mounted":true,"right":{lens},"left":{lens}}}"#
        )
        .expect("written");
    }
    file.flush().expect("written");
}

fn text(path: &Path) -> &str {
    path.to_str().expect("text")
}

/// Runs the program and gives the most memory it took, in KiB, as the system counts it.
fn run(arguments: &[&str]) -> u64 {
    let mut child = Command::new(env!("CARGO_BIN_EXE_fociline"))
        .args(arguments)
        .stdout(std::process::Stdio::null())
        .spawn()
        .expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    loop {
        if let Ok(text) = std::fs::read_to_string(&status) {
            let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
            let now = line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok());
            peak = peak.max(now.unwrap_or(0));
        }
        if let Some(status) = child.try_wait().expect("a child") {
            assert!(status.success(), "{arguments:?}: {status}");
            return peak;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}
