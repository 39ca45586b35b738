//! What is live: the stream of events, across restarts, on a real station.

mod common;

use common::page::{Bench, FAILS, ORDER, PASSES, Visitor};
use serde_json::Value;

#[test]
fn a_verdict_arrives_with_its_entry_and_is_on_the_board_by_then() {
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    let mut events = visitor.events(None);
    let health = events.next().expect("an event");
    assert_eq!((health.name.as_str(), &health.data["recording"]), ("health", &Value::Bool(true)));
    visitor.post("/api/v1/orders", ORDER);
    assert_eq!(events.entry("order").data["payload"]["source"], "by hand");
    bench.scanner.send("4471\r");
    assert_eq!(events.entry("job").data["payload"]["by"], "scanner-1");
    bench.focimeter.send(FAILS);
    let verdict = events.entry("verdict");
    assert_eq!(verdict.data["payload"]["outcome"], "fail");
    assert_eq!(verdict.id, verdict.data["seq"].to_string());
    let state = visitor.get("/api/v1/station").json();
    assert_eq!(state["jobs"][0]["verdict"].to_string(), verdict.id);
    assert!(station.stop().success(), "{}", station.log());
    assert!(events.all(|event| event.name == "entry"), "the stream ends with the station");
}

#[test]
fn who_comes_back_after_a_restart_misses_nothing_and_gets_nothing_twice() {
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    let mut events = visitor.events(Some("0"));
    visitor.post("/api/v1/orders", ORDER);
    let last = events.entry("order").id;
    drop(events);
    bench.scanner.send("4471\r");
    station.line(&["4471", "chosen"]);
    bench.focimeter.send(FAILS);
    station.line(&["4471", "FAIL"]);
    assert!(station.stop().success(), "{}", station.log());

    let (mut station, url) = bench.start();
    let mut events = Visitor::new(&url).events(Some(&last));
    bench.scanner.send("4471\r");
    station.line(&["4471", "chosen"]);
    bench.focimeter.send(PASSES);
    station.line(&["4471", "PASS"]);
    let mut ids = Vec::new();
    let passed = events.by_ref().find(|event| {
        ids.extend(event.id.parse::<u64>());
        event.data["payload"]["outcome"] == "pass"
    });
    let (first, last): (u64, u64) =
        (last.parse().expect("a number"), passed.expect("it").id.parse().expect("a number"));
    assert_eq!(ids, (first + 1..=last).collect::<Vec<_>>());
    let refused = Visitor::new(&url).send("GET", "/api/v1/events", &[("last-event-id", "x")], "");
    assert_eq!(refused.status, 422);
}

#[test]
fn the_board_is_drawn_again_from_the_ledger_and_is_the_same() {
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    visitor.post("/api/v1/orders", ORDER);
    bench.focimeter.send("EYE=R S=-1.25\r\nnonsense\r\n");
    bench.focimeter.send(FAILS.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "FAIL"]);
    let picture = |url: &str| {
        let state = Visitor::new(url).get("/api/v1/station").json();
        [state["jobs"].clone(), state["waiting"].clone(), state["ports"][0]["hours"].clone()]
    };
    let before = picture(&url);
    assert_eq!((&before[0][0]["outcome"], &before[1][0]["waits_for"]), (&"fail".into(), &"job".into()));
    assert_eq!((&before[2][0]["frames"], &before[2][0]["rejects"]), (&3.into(), &1.into()));
    assert!(station.stop().success());
    let (_station, url) = bench.start();
    assert_eq!(picture(&url), before);
}

#[test]
fn when_nothing_is_recorded_it_is_said_at_once_and_nothing_is_taken() {
    let bench = Bench::open();
    let (station, url) = bench.start_on_a_small_disk(256);
    let visitor = Visitor::new(&url);
    let mut events = visitor.events(None);
    assert_eq!(events.next().expect("an event").data["recording"], true);
    let frame = "JOB=4472 EYE=R S=+2.25 C=-1.75 LOT=0123456789012345678901234567890123456789\r\n";
    bench.focimeter.send_on_and_on(|_| frame.to_owned());
    let alarm = events
        .find(|event| event.data["recording"] == false)
        .unwrap_or_else(|| panic!("no alarm:\n{}", station.log()));
    let why = alarm.data["why"].as_str().expect("why").to_owned();
    let refused = visitor.post("/api/v1/current-job", r#"{"job":"4471"}"#);
    assert_eq!(refused.status, 503, "{}", refused.body);
    let page = visitor.get("/").body;
    let alarm = page.split("class=\"alarm\"").nth(1).expect("an alarm");
    assert!(alarm.contains("NOT RECORDING") && alarm.contains(&why), "{page}");
}

#[test]
fn a_lost_port_is_told_at_once() {
    let mut bench = Bench::open();
    let (_station, url) = bench.start();
    let visitor = Visitor::new(&url);
    let mut events = visitor.events(None);
    events.next();
    bench.focimeter.unplug();
    let lost = events.entry("port");
    assert_eq!(
        (&lost.data["payload"]["name"], &lost.data["payload"]["state"]),
        (&"focimeter-1".into(), &"lost".into())
    );
    assert_eq!(visitor.get("/api/v1/station").json()["ports"][0]["state"], "lost");
}

#[test]
fn a_stream_ends_with_its_session() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let visitor = Visitor::signed_in(&url, "bench person");
    let mut events = visitor.events(None);
    events.next();
    let signed_out = visitor.send("DELETE", "/api/v1/session", &[("x-csrf-token", &visitor.csrf)], "");
    assert_eq!(signed_out.status, 204);
    let other = Visitor::signed_in(&url, "admin person");
    assert_eq!(other.post("/api/v1/current-job", r#"{"job":"4471"}"#).status, 201);
    assert!(events.all(|event| event.data["kind"] != "job"), "nothing more is told, and the stream ends");
}
