//! A technician at the bench.

use crate::chrome::{Browser, ENTER};
use crate::common::page::{Bench, FAILS, ORDER, PASSES, Visitor};
use crate::common::wait_for;
use serde_json::Value;
use std::io::Write;
use std::net::TcpListener;

/// A station with an order for job 4471, and a browser at its bench.
fn at_work(bench: &Bench) -> (crate::common::Station, Visitor, Browser) {
    let (station, url) = bench.start();
    let visitor = Visitor::new(&url);
    assert_eq!(visitor.post("/api/v1/orders", ORDER).status, 201);
    let browser = Browser::open(&url);
    browser.go("/");
    (station, visitor, browser)
}

#[test]
fn bytes_at_the_tty_become_a_verdict_on_the_page() {
    let bench = Bench::open();
    let (_station, visitor, browser) = at_work(&bench);
    browser.wait_text(".band", &["scan a ticket"]);
    // As a barcode reader that types: wherever the focus is, ended by Enter.
    browser.js("document.activeElement.blur()", vec![]);
    browser.press("4471");
    assert_eq!(browser.js("return document.activeElement.id", vec![]), "scan");
    browser.press(ENTER);
    browser.wait_text(".ticket", &["4471", "single vision, uncut", "revision 1"]);
    browser.wait_text(".band", &["ready"]);
    browser.wait_text(".lenses", &["−1.25 −0.50 × 90", "sphere meridian", "axis"]);

    bench.focimeter.send(FAILS);
    browser.wait_text(".band", &["fail", "right axis: off by +20°, limit 7°"]);
    let axis = browser.text("tr.item-fail");
    assert!(["axis", "90", "110", "+20", "7°"].iter().all(|word| axis.contains(word)), "{axis}");
    assert_eq!(browser.count("tr.item-fail .bar .beyond"), 1, "the bar goes beyond the limit");
    assert_eq!(browser.count("tr.item-pass .bar .beyond"), 0);

    bench.focimeter.send(PASSES);
    browser.wait_text(".band", &["pass"]);
    let found = visitor.get("/api/v1/entries?outcome=pass&job=4471").json();
    assert_eq!(found["entries"][0]["entry"]["payload"]["outcome"], "pass", "what is shown is on record");
    browser.wait_text(".below", &["focimeter-1", "listening", "4471", "pass"]);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn a_serial_scanner_chooses_the_job_and_another_job_is_shown_when_an_instrument_names_it() {
    let bench = Bench::open();
    let (_station, visitor, browser) = at_work(&bench);
    visitor.post("/api/v1/orders", &ORDER.replace("4471", "4480"));
    bench.scanner.send("4471\r");
    browser.wait_text(".ticket", &["4471"]);
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4480 EYE"));
    browser.wait_text(".ticket", &["4480", "The next frame without a number goes to job 4471"]);
    browser.wait_text(".band", &["pass"]);
}

#[test]
fn the_eye_is_chosen_with_one_press_and_a_reading_is_voided_with_a_reason() {
    let bench = Bench::open();
    let (_station, visitor, browser) = at_work(&bench);
    bench.scanner.send("4471\r");
    browser.wait_text(".ticket", &["4471"]);
    bench.focimeter.send("S=-1.25 C=-0.50 A=90\r\n");
    browser.wait_text(".ask", &["For which eye is this lens?", "Eye not said −1.25 −0.50 × 90", "4471"]);
    browser.wait_text(".band", &["ready"]);
    browser.click(".ask button[value=right]");
    browser.wait_text(".band", &["pass"]);
    assert!(!browser.shows(".ask"));

    browser.click("#void summary");
    browser.click_text("the lens was not centred");
    browser.wait_text(".band", &["ready"]);
    browser.wait_text(".below", &["None yet."]);
    let notes = visitor.get("/api/v1/entries?job=4471").json();
    let notes: Vec<&Value> =
        notes["entries"].as_array().expect("some").iter().map(|hit| &hit["entry"]).collect();
    let void = notes.iter().find(|entry| entry["payload"]["says"] == "void").expect("on record");
    assert_eq!(void["payload"]["reason"], "the lens was not centred");

    bench.focimeter.send(PASSES);
    browser.wait_text(".band", &["pass"]);
    browser.click("#void summary");
    browser.fill("#void-reason", "dust on the lens");
    // What is typed outlives what comes in meanwhile.
    bench.focimeter.send(FAILS);
    browser.wait_text(".band", &["fail"]);
    assert_eq!(browser.js("return document.getElementById('void-reason').value", vec![]), "dust on the lens");
    assert_eq!(browser.js("return document.activeElement.id", vec![]), "void-reason");
    browser.click_text("Void");
    browser.wait_text(".band", &["pass"]);
}

#[test]
fn commands_are_scanned_like_jobs() {
    let bench = Bench::open();
    let (_station, _visitor, browser) = at_work(&bench);
    browser.press(&format!("4471{ENTER}"));
    browser.wait_text(".ticket", &["4471"]);
    bench.focimeter.send("S=-1.25 C=-0.50 A=90\r\n");
    browser.wait_text(".ask", &["For which eye"]);
    browser.press(&format!("..RIGHT{ENTER}"));
    browser.wait_text(".band", &["pass"]);
    browser.press(&format!("..VOID{ENTER}"));
    browser.wait_text(".band", &["ready"]);
    bench.focimeter.send("S=-1.25\r\n");
    browser.wait_text(".ask", &["For which eye"]);
    browser.press(&format!("..LEFT{ENTER}"));
    browser.wait_text(".band", &["incomplete", "Still missing: Right: sphere meridian, cylinder, axis"]);
    browser.press(&format!("..LEFT{ENTER}"));
    browser.wait_text("main", &["no reading waits for an eye"]);
    // The same from the station's own barcode reader.
    browser.go("/");
    bench.focimeter.send("S=-1.25 C=-0.50 A=90\r\n");
    browser.wait_text(".ask", &["For which eye"]);
    bench.scanner.send("..RIGHT\r");
    browser.wait_text(".band", &["pass"]);
    bench.scanner.send("..VOID\r");
    browser.wait_text(".band", &["Still missing: Right"]);
    browser.go("/commands");
    assert_eq!(browser.count("svg.code"), 3);
    assert!(browser.shows("#print"));
}

#[test]
fn a_reading_of_nobody_is_assigned_and_what_cannot_be_read_is_said() {
    let bench = Bench::open();
    let (_station, _visitor, browser) = at_work(&bench);
    bench.focimeter.send(PASSES);
    browser.wait_text(".ask.small", &["To which job does this reading belong?"]);
    bench.focimeter.send("nonsense\r\n");
    browser.wait_text(".ask", &["Something came in that could not be read", "byte 0"]);
    browser.fill(".ask.small input[name=job]", "4471");
    browser.click_text("Assign");
    browser.wait_text(".below", &["4471", "pass"]);
    bench.scanner.send("4472\r");
    browser.wait_text(".band", &["no order"]);
    bench.focimeter.send(PASSES);
    browser.wait_text(".unjudged", &["Right", "−1.25 −0.50 × 90"]);
    browser.click_text("Enter the order");
    browser.wait_place("/orders/new?job=4472");
}

#[test]
fn a_pulled_plug_is_an_alarm_until_it_is_back() {
    let mut bench = Bench::open();
    let (_station, _visitor, browser) = at_work(&bench);
    bench.focimeter.unplug();
    browser
        .wait_text(".alarm", &["focimeter-1: connection lost", "Nothing that it measures now is recorded"]);
    let width = browser.js("return document.querySelector('.alarm').getBoundingClientRect().width", vec![]);
    assert_eq!(width, 1280, "the whole width");
    browser.wait_text(".port.is-lost", &["focimeter-1", "connection lost"]);
    bench.focimeter.plug();
    browser.wait_shown("#alarms .alarm", false);
    browser.wait_text(".below", &["focimeter-1", "listening"]);
}

#[test]
fn when_nothing_is_recorded_the_page_says_so_and_shows_no_pass() {
    let bench = Bench::open();
    let (station, url) = bench.start_on_a_small_disk(256);
    let visitor = Visitor::new(&url);
    visitor.post("/api/v1/orders", ORDER);
    let browser = Browser::open(&url);
    browser.go("/");
    // What is not recorded is not read on either: whoever sends then waits.
    let pty = bench.focimeter.pty.as_ref().expect("plugged in");
    let sent_by_another = |times: usize, bytes: String| {
        let mut end = pty.end().try_clone().expect("another handle");
        std::thread::spawn(move || (0..times).try_for_each(|_| end.write_all(bytes.as_bytes())))
    };
    sent_by_another(2000, format!("JOB=4472 EYE=R S=+2.25 C=-1.75 LOT={}\r\n", "0123456789".repeat(4)));
    browser.wait_text(".alarm", &["NOT RECORDING", "Do not release lenses measured now."]);
    assert!(station.log().contains("NOT RECORDING"));
    sent_by_another(1, PASSES.replace("EYE", "JOB=4471 EYE"));
    browser.go("/");
    browser.wait_text(".alarm", &["NOT RECORDING"]);
    assert!(!browser.text("#live").to_lowercase().contains("pass"));
}

#[test]
fn a_page_left_open_across_a_restart_recovers_by_itself() {
    let port = TcpListener::bind("127.0.0.1:0")
        .and_then(|listener| listener.local_addr())
        .expect("a free port")
        .port();
    let bench = Bench::new(&format!("listen = \"127.0.0.1:{port}\"\nsign_in = false"));
    let (mut station, _visitor, browser) = at_work(&bench);
    bench.scanner.send("4471\r");
    browser.wait_text(".ticket", &["4471"]);
    browser.js("window.isTheSame = true", vec![]);
    assert!(station.stop().success(), "{}", station.log());
    browser.wait_text("#lost", &["NO CONNECTION TO THE STATION", "may be out of date"]);
    let (_station, _) = bench.start();
    browser.wait_shown("#lost", false);
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    browser.wait_text(".band", &["pass"]);
    assert_eq!(browser.js("return window.isTheSame", vec![]), true, "nobody loaded it again");
    // Its forms are good again, too: the session before is gone.
    browser.press(&format!("4480{ENTER}"));
    browser.wait_text(".ticket", &["4480"]);
}

#[test]
fn the_bench_works_without_scripts() {
    let bench = Bench::open();
    let (mut station, _visitor, browser) = at_work(&bench);
    browser.scripts(false);
    browser.go("/");
    browser.fill("#scan", &format!("4471{ENTER}"));
    browser.wait_text(".ticket", &["4471"]);
    bench.focimeter.send(PASSES);
    station.line(&["4471", "PASS"]);
    browser.go("/");
    browser.wait_text(".band", &["pass"]);
    browser.go("/ledger?outcome=pass");
    browser.wait_text("#results", &["4471", "Verdict"]);
    assert_eq!(browser.count("head noscript"), 0);
    browser.scripts(true);
}

#[test]
fn sound_is_off_until_it_is_asked_for_and_is_remembered() {
    let bench = Bench::open();
    let (_station, _visitor, browser) = at_work(&bench);
    let pressed = || browser.js("return document.getElementById('sound').ariaPressed", vec![]);
    assert_eq!(pressed(), "false");
    browser.js("window.tones = 0; const make = AudioContext.prototype.createOscillator; AudioContext.prototype.createOscillator = function () { window.tones++; return make.call(this); }", vec![]);
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    browser.wait_text(".band", &["pass"]);
    assert_eq!(browser.js("return window.tones", vec![]), 0);
    browser.click("#sound");
    assert_eq!((pressed(), browser.js("return window.tones", vec![])), ("true".into(), 1.into()));
    bench.focimeter.send(FAILS.replace("EYE", "JOB=4471 EYE"));
    wait_for("three tones", || (browser.js("return window.tones", vec![]) == 4).then_some(()));
    browser.go("/");
    assert_eq!(pressed(), "true");
    browser.click("#sound");
    assert_eq!(pressed(), "false");
}
