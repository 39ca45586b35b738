//! A host on the page and in the API.

use crate::common::page::Visitor;
use crate::common::{Adapter, wait_for};
use crate::lab::{Lab, connect, free_address};
use serde_json::{Value, json};
use std::io::Write;

#[test]
fn a_host_stands_beside_its_instrument() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station = lab.start(&format!(
        "port = \"{}\"\nhost = {{ listen = \"{address}\" }}\n[page]\nlisten = \"127.0.0.1:0\"\nsign_in = false",
        adapter.path.display()
    ));
    station.line(&["focimeter-1: port open"]);
    let url = wait_for("the page", || {
        let log = station.log();
        let line = log.lines().find(|line| line.contains("the page is served"))?;
        let line: Value = serde_json::from_str(line).ok()?;
        Some(line["fields"]["url"].as_str()?.trim_end_matches('/').to_owned())
    });
    let visitor = Visitor::new(&url);
    let instruments = visitor.get("/instruments").body;
    assert!(instruments.contains(&format!("tcp {address}")), "{instruments}");
    assert!(instruments.contains("nobody is connected"), "{instruments}");

    let mut host = connect(&address);
    station.line(&["focimeter-1 host: port open"]);
    host.write_all(b"\x05").expect("writes");
    wait_for("what the host said", || (lab.said().0 == b"\x05").then_some(()));
    drop(host);
    station.line(&["focimeter-1 host: PORT LOST"]);
    let instruments = wait_for("the page", || {
        let text = visitor.get("/instruments").body;
        text.contains("the other end closed it").then_some(text)
    });
    assert!(!instruments.contains("nobody is connected"));
    assert!(
        !instruments.contains("role=\"alert\"><strong>focimeter-1"),
        "a host that is not there is no alarm: {instruments}"
    );

    let description: Value = serde_json::from_str(fociline::page::api::DESCRIPTION).expect("JSON");
    let fits = |schema: &str, instance: &Value| {
        let whole = json!({ "$ref": format!("#/components/schemas/{schema}"), "components": description["components"] });
        let validator = jsonschema::draft202012::new(&whole).expect("a sound schema");
        let errors: Vec<String> = validator.iter_errors(instance).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}\n{instance:#}");
    };
    let shown: Value = serde_json::from_str(&visitor.get("/api/v1/station").body).expect("JSON");
    fits("Station", &shown);
    assert_eq!(shown["ports"][0]["host"]["state"], "lost", "{shown:#}");
    let seq = lab
        .entries()
        .iter()
        .find(|numbered| numbered.entry.kind() == "host")
        .map(|numbered| numbered.seq)
        .expect("it is on record");
    let entry: Value =
        serde_json::from_str(&visitor.get(&format!("/api/v1/entries/{seq}")).body).expect("JSON");
    fits("EntryInChain", &entry);
    assert_eq!(entry["payload"]["bytes"], "<ENQ>", "{entry:#}");
    fits("GapEntry", &gap());
    let one = visitor.get(&format!("/ledger/{seq}")).body;
    assert!(one.contains("&lt;ENQ&gt;") || one.contains("&#60;ENQ&#62;"), "{one}");
    assert!(station.stop().success());
}

/// As the ledger writes it.
fn gap() -> Value {
    use fociline::bench::entry::{Entry, Gap, GapEntry, Sender};
    let time = "2026-03-02T07:04:05Z".parse().expect("a time");
    let entry = Entry::Gap(GapEntry {
        instrument: "focimeter-1".into(),
        of: Sender::Host,
        gap: Gap::NotCaptured,
        bytes: 7,
        since: time,
        until: time,
    });
    let payload = entry.payload();
    assert_eq!(Entry::from_payload("gap", &payload).as_ref(), Ok(&entry));
    serde_json::from_str(&payload).expect("JSON")
}
