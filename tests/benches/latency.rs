//! How long it takes from the last byte at the tty until the verdict is in the browser, and until
//! it is on the page; and how much of it is the durable commit.
//!
//! `cargo bench --bench latency -- [frames]`

#[path = "../browser/chrome.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod chrome;
#[path = "../common/mod.rs"]
mod common;

use chrome::Browser;
use common::page::{Bench, FAILS, ORDER, PASSES, Visitor};
use common::wait_for;
use fociline::bench::entry::{Entry, Numbered, Seq};
use fociline::ledger::{Ledger, Reader};
use serde_json::json;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// Notes the moment at which a verdict's event arrives, and that at which the page shows it.
const WATCH: &str = "
    window.now = () => performance.timeOrigin + performance.now();
    window.arrived = []; window.drawn = [];
    new EventSource('/api/v1/events').addEventListener('entry', (event) => {
        if (JSON.parse(event.data).kind === 'verdict') window.arrived.push(window.now());
    });
    let last = '';
    new MutationObserver(() => {
        const word = document.querySelector('.band .word')?.innerText ?? '';
        if (word !== last) window.drawn.push(window.now());
        last = word;
    }).observe(document.getElementById('live'), { childList: true });";

fn main() {
    let frames = std::env::args().skip(1).find_map(|argument| argument.parse::<usize>().ok()).unwrap_or(200);
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    assert_eq!(Visitor::new(&url).post("/api/v1/orders", ORDER).status, 201);
    bench.scanner.send("4471\r");
    station.line(&["4471", "chosen"]);
    let browser = Browser::open(&url);
    browser.go("/");
    browser.wait_text(".band", &["ready"]);
    browser.js(WATCH, vec![]);
    let (mut arrived, mut drawn) = (Vec::new(), Vec::new());
    for frame in 0..frames {
        let sent = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64() * 1e3;
        bench.focimeter.send(if frame % 2 == 0 { PASSES } else { FAILS });
        let times = wait_for("the verdict", || {
            let times = browser
                .js("return [window.arrived[arguments[0]], window.drawn[arguments[0]]]", vec![json!(frame)]);
            times[0].as_f64().zip(times[1].as_f64())
        });
        arrived.push(times.0 - sent);
        drawn.push(times.1 - sent);
    }
    drop(browser);
    assert!(station.stop().success(), "{}", station.log());
    let commits = commits(&bench, frames);
    println!(
        "{frames} frames, one after the other, in milliseconds: median, the slowest of twenty, the slowest"
    );
    line("last byte at the tty to the verdict's event in the browser", &mut arrived);
    line("last byte at the tty to the verdict on the page", &mut drawn);
    let (commit, whole) = (
        line("of it the durable commit of frame, reading and verdict", &mut commits.clone()),
        median(&mut arrived),
    );
    println!("the commit's share of the way to the browser: {:.0} %", 100.0 * commit / whole);
}

fn median(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn line(what: &str, times: &mut [f64]) -> f64 {
    let median = median(times);
    println!("{median:>8.2} {:>8.2} {:>8.2}  {what}", times[times.len() * 19 / 20], times[times.len() - 1]);
    median
}

/// What the station recorded, appended again to a ledger on the same disk, frame by frame.
fn commits(bench: &Bench, frames: usize) -> Vec<f64> {
    let reader = Reader::open(bench.path().join("bench-1.ledger")).expect("opens");
    let head = reader.head().expect("reads").seq;
    let entries: Vec<Numbered> = reader.entries(Seq(1)..=head).collect::<Result<_, _>>().expect("reads");
    let mut ledger = Ledger::open(bench.path().join("again.ledger")).expect("opens");
    let mut next = Seq(1);
    let mut times = Vec::with_capacity(frames);
    for measured in entries.windows(3) {
        let [Entry::Frame(_), Entry::Reading(_), Entry::Verdict(_)] =
            [&measured[0], &measured[1], &measured[2]].map(|n| &n.entry)
        else {
            continue;
        };
        let batch: Vec<Numbered> =
            measured.iter().zip(next.0..).map(|(n, seq)| Numbered { seq: Seq(seq), ..n.clone() }).collect();
        let start = Instant::now();
        ledger.append(&batch).expect("on disk");
        times.push(start.elapsed().as_secs_f64() * 1e3);
        next = Seq(next.0 + 3);
    }
    times
}
