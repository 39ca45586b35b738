//! The HTTP API against its description, on a real station.

mod common;

use common::page::{Answer, Bench, FAILS, ORDER, Visitor, WORDS};
use common::wait_for;
use fociline::page::api::{DESCRIPTION, ROUTES};
use serde_json::{Value, json};
use std::collections::BTreeSet;

fn description() -> Value {
    serde_json::from_str(DESCRIPTION).expect("JSON")
}

#[test]
fn every_route_is_described_and_everything_described_is_a_route() {
    let description = description();
    let paths = description["paths"].as_object().expect("paths");
    let described: BTreeSet<(String, String)> = paths
        .iter()
        .flat_map(|(path, methods)| {
            let methods = methods.as_object().expect("methods");
            methods.keys().map(move |method| (method.clone(), path.clone()))
        })
        .collect();
    let routes = ROUTES.iter().map(|(method, path)| ((*method).to_owned(), (*path).to_owned())).collect();
    assert_eq!(described, routes);
}

/// Holds answers to the description, and counts what was held to it.
struct Described {
    description: Value,
    seen: BTreeSet<(String, String)>,
}

impl Described {
    fn new() -> Self {
        Self { description: description(), seen: BTreeSet::new() }
    }

    fn schema_fits(&self, what: &str, schema: &Value, instance: &Value) {
        let mut whole = schema.clone();
        whole["components"] = self.description["components"].clone();
        let validator = jsonschema::draft202012::new(&whole).expect("a sound schema");
        let errors: Vec<String> = validator
            .iter_errors(instance)
            .map(|error| format!("{} at {}", error, error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{what}: {errors:#?}\n{instance:#}");
    }

    /// The answer's form is that of one of the described answers for its status.
    fn fits(&mut self, method: &str, path: &str, answer: &Answer) {
        let responses = &self.description["paths"][path][method]["responses"];
        let by_status = &responses[answer.status.to_string()];
        let kind = answer.header("content-type").to_owned();
        let bare = kind.split(';').next().expect("one at least");
        let what = format!("{method} {path}: {} {kind}", answer.status);
        if by_status.is_null() || bare == "application/problem+json" {
            let schema = json!({ "$ref": "#/components/schemas/Problem" });
            assert!(answer.status >= 400, "{what} is not described");
            return self.schema_fits(&what, &schema, &answer.json());
        }
        self.seen.insert((method.to_owned(), path.to_owned()));
        if by_status["content"].is_null() {
            return assert!(answer.body.is_empty(), "{what}: nothing is described");
        }
        let schema = &by_status["content"][bare]["schema"];
        assert!(schema.is_object(), "{what} is not described");
        match bare {
            "application/json" => self.schema_fits(&what, schema, &answer.json()),
            "application/jsonl" => {
                for line in answer.body.lines() {
                    self.schema_fits(&what, schema, &serde_json::from_str(line).expect("JSON"));
                }
            }
            _ => {}
        }
    }

    fn get(&mut self, visitor: &Visitor, route: &str, path: &str) -> Value {
        let answer = visitor.get(path);
        self.fits("get", route, &answer);
        if answer.header("content-type") == "application/json" { answer.json() } else { Value::Null }
    }

    fn post(&mut self, visitor: &Visitor, path: &str, body: &Value) -> Answer {
        let schema =
            &self.description["paths"][path]["post"]["requestBody"]["content"]["application/json"]["schema"];
        self.schema_fits(&format!("the body for {path}"), schema, body);
        let answer = visitor.post(path, &body.to_string());
        self.fits("post", path, &answer);
        answer
    }
}

#[test]
fn a_morning_through_the_api_is_as_described() {
    let bench = Bench::with_people();
    let (mut station, url) = bench.start();
    let mut api = Described::new();
    let visitor = Visitor::new(&url);
    api.get(&visitor, "/api/v1/openapi.json", "/api/v1/openapi.json");
    api.fits("get", "/api/v1/station", &visitor.get("/api/v1/station"));
    assert_eq!(visitor.get("/api/v1/station").status, 401);
    let mut admin = Visitor::new(&url);
    let signed = admin.sign_in("admin person", WORDS);
    api.fits("post", "/api/v1/session", &signed);
    assert_eq!(api.get(&admin, "/api/v1/session", "/api/v1/session")["by"], "admin person");

    // An order, with a field about a person that must not be recorded.
    let order: Value = serde_json::from_str(ORDER).expect("JSON");
    let taken = api.post(&admin, "/api/v1/orders", &order);
    assert_eq!((taken.status, &taken.json()["taken"][0]["revision"]), (201, &json!(1)));
    let again = api.post(&admin, "/api/v1/orders", &json!([order])).json();
    assert_eq!(again["taken"][0]["revision"], Value::Null, "the same order is no revision");
    let wrong = admin.post(
        "/api/v1/orders",
        r#"{"job":"4472","lens":"single-vision","mounted":false,"right":{"axis":270},"patient":"x"}"#,
    );
    api.fits("post", "/api/v1/orders", &wrong);
    assert_eq!(wrong.status, 422, "{}", wrong.body);
    assert!(wrong.json()["refused"][0].as_str().is_some_and(|why| why.contains("axis")), "{}", wrong.body);

    let chosen = api.post(&admin, "/api/v1/current-job", &json!({ "job": "4471" }));
    assert_eq!((chosen.status, &chosen.json()["entries"][0]["payload"]["by"]), (201, &json!("admin person")));
    bench.focimeter.send(FAILS);
    station.line(&["4471", "FAIL", "axis"]);
    bench.focimeter.send("S=-1.25\r\nnonsense\r\n");
    station.line(&["not read"]);
    let as_it_stands = wait_for("the board", || {
        let state = api.get(&admin, "/api/v1/station", "/api/v1/station");
        (state["ports"][0]["hours"][0]["rejects"] == 1).then_some(state)
    });
    assert_eq!(as_it_stands["current"]["job"], "4471");
    assert_eq!(as_it_stands["jobs"][0]["outcome"], "fail");
    assert_eq!(as_it_stands["ports"][0]["state"], "opened");
    assert_eq!(as_it_stands["waiting"][0]["waits_for"], "eye");

    // The lens without an eye is the right one, measured in passing.
    let eyeless = as_it_stands["waiting"][0]["seq"].clone();
    let assigned = api.post(
        &admin,
        "/api/v1/notes",
        &json!({ "about": eyeless, "says": "assign", "eye": "right", "reason": "it lay there" }),
    );
    assert_eq!(assigned.status, 201, "{}", assigned.body);
    let state = api.get(&admin, "/api/v1/station", "/api/v1/station");
    assert_eq!(state["waiting"], json!([]));
    let verdict = state["jobs"][0]["verdict"].clone();
    let overridden = api.post(
        &admin,
        "/api/v1/overrides",
        &json!({ "about": verdict, "name": "admin person", "passphrase": WORDS, "meaning": "released with consent", "reason": "a trial pair" }),
    );
    assert_eq!(overridden.status, 201, "{}", overridden.body);
    let job = api.get(&admin, "/api/v1/jobs/{job}", "/api/v1/jobs/4471");
    assert_eq!(job["verdict"]["overridden"]["by"], "admin person");
    assert_eq!(job["verdict"]["verdict"]["outcome"], "fail", "the verdict stays");
    assert_eq!(job["readings"][1]["eye"], "right");
    let jobs = api.get(&admin, "/api/v1/jobs", "/api/v1/jobs?prefix=44");
    assert_eq!((&jobs[0]["job"], &jobs[0]["overridden"]), (&json!("4471"), &json!(true)));

    let found = api.get(&admin, "/api/v1/entries", "/api/v1/entries?outcome=fail&out_of_limit=axis&job=44");
    assert_eq!(found["entries"][0]["entry"]["kind"], "verdict");
    let verdict = found["entries"][0]["entry"]["seq"].clone();
    let entry = api.get(&admin, "/api/v1/entries/{seq}", &format!("/api/v1/entries/{verdict}"));
    assert_eq!(entry["verifies"], true);
    assert_eq!(entry["later"][0]["kind"], "override");
    assert_eq!(admin.get("/api/v1/entries?since=tomorrow").status, 422);
    assert_eq!(admin.get("/api/v1/entries/999999").status, 404);
    api.fits("get", "/api/v1/entries/{seq}", &admin.get("/api/v1/entries/none"));

    let feeds = api.get(&admin, "/api/v1/feeds", "/api/v1/feeds");
    assert_eq!((&feeds[0]["name"], &feeds[0]["connected"]), (&json!("files"), &json!(true)));
    let texts = api.get(&admin, "/api/v1/in-force", "/api/v1/in-force");
    assert_eq!(texts[1]["name"], "ansi-z80.1-2015");
    api.fits("get", "/api/v1/export", &admin.get("/api/v1/export?job=4471"));
    let lines = admin.get("/api/v1/export").body.lines().count();
    let csv = admin.get("/api/v1/export?format=csv").body;
    assert_eq!(csv::Reader::from_reader(csv.as_bytes()).records().filter(Result::is_ok).count(), lines);
    let event = admin.events(Some("0")).find(|event| event.name == "entry").expect("the first entry");
    api.schema_fits("an event", &json!({ "$ref": "#/components/schemas/Entry" }), &event.data);
    api.seen.insert(("get".to_owned(), "/api/v1/events".to_owned()));

    let reference = json!({ "lens": { "name": "REF+5", "serial": "T-105", "sphere": 5.00, "uncertainty": 0.01, "due": "2099-01-01" } });
    for (field, value, expected) in [
        ("due", json!("25.11.2026"), "lens.due: \"25.11.2026\": a date such as 2026-11-25 is expected"),
        ("sphere", json!("five"), "lens.sphere: a decimal number such as -1.25 is expected"),
        ("prism", json!([{ "amount": 1, "base": "nasal" }]), "base: in, out, up, down or degrees"),
    ] {
        let mut wrong = reference.clone();
        wrong["lens"][field] = value;
        let answer = admin.post("/api/v1/reference-lenses", &wrong.to_string());
        assert!(
            answer.status == 422
                && answer.json()["detail"].to_string().contains(&expected.replace('"', "\\\"")),
            "{}",
            answer.body
        );
    }
    assert_eq!(api.post(&admin, "/api/v1/reference-lenses", &reference).status, 201);
    bench.focimeter.send("JOB=REF+5 EYE=R S=+5.01\r\n");
    station.line(&["REF+5", "good"]);
    let register = api.get(&admin, "/api/v1/reference-lenses", "/api/v1/reference-lenses");
    assert_eq!(register["instruments"][0]["state"], "good", "{register}");
    let reading = job["readings"][0]["seq"].clone();
    let check =
        api.post(&admin, "/api/v1/instrument-checks", &json!({ "reading": reading, "lens": "REF+5" }));
    assert_eq!(
        (check.status, &check.json()["entries"][0]["payload"]["outcome"]),
        (201, &json!("bad")),
        "{}",
        check.body
    );
    let register = api.get(&admin, "/api/v1/reference-lenses", "/api/v1/reference-lenses");
    assert_eq!(register["instruments"][0]["state"], "bad", "{register}");
    let manual = json!({
        "job": "4471", "eye": "right", "start": { "eyepiece_focused": true, "zero": 0.00 },
        "read": { "drums": { "sphere_lines": -1.25, "cylinder_lines": -1.75, "wheel": 91 } }
    });
    let read = api.post(&admin, "/api/v1/manual-readings", &manual);
    assert_eq!(read.status, 201, "{}", read.body);
    let compared =
        read.json()["entries"].as_array().expect("some").iter().any(|entry| entry["kind"] == "cross-check");
    assert!(compared, "the instrument has measured it: {}", read.body);
    let entry = read.json()["entries"].as_array().expect("some")[0].clone();
    assert_eq!(
        (&entry["payload"]["by"], &entry["payload"]["blind"]),
        (&json!("admin person"), &json!(false))
    );
    api.fits(
        "post",
        "/api/v1/cross-checks",
        &admin.post("/api/v1/cross-checks", &json!({ "manual": entry["seq"] }).to_string()),
    );
    bench.focimeter.send("EYE=R S=-1.25 C=-0.50 A=92\r\n");
    station.line(&["4471", "PASS"]);
    let again = api.post(&admin, "/api/v1/cross-checks", &json!({ "manual": entry["seq"] }));
    assert_eq!(
        (again.status, &again.json()["entries"][0]["payload"]["outcome"]),
        (201, &json!("agree")),
        "{}",
        again.body
    );
    let report = api.get(&admin, "/api/v1/reports/{kind}", "/api/v1/reports/agreement?since=2020-01-01");
    assert_eq!(report["title"], "Agreement of focimeter-1 and admin person");
    let csv = admin.get("/api/v1/reports/agreement?format=csv");
    api.fits("get", "/api/v1/reports/{kind}", &csv);
    assert!(
        csv.header("content-disposition").contains("agreement.csv")
            && csv.body.starts_with("section,figure,value")
    );
    assert_eq!(admin.get("/api/v1/reports/none").status, 404);
    assert_eq!(admin.get("/api/v1/reports/gauge?tolerance=wide").status, 422);

    let account = json!({ "name": "trainee", "role": "bench", "passphrase": WORDS });
    assert_eq!(api.post(&admin, "/api/v1/people", &account).status, 204);
    assert_eq!(api.get(&admin, "/api/v1/people", "/api/v1/people")[3]["name"], "trainee");
    let headers = [("x-csrf-token", admin.csrf.as_str())];
    api.fits(
        "delete",
        "/api/v1/people/{name}",
        &admin.send("DELETE", "/api/v1/people/trainee", &headers, ""),
    );
    api.fits("delete", "/api/v1/session", &admin.send("DELETE", "/api/v1/session", &headers, ""));
    assert_eq!(admin.get("/api/v1/station").status, 401);

    let routes: BTreeSet<_> =
        ROUTES.iter().map(|(method, path)| ((*method).to_owned(), (*path).to_owned())).collect();
    assert_eq!(api.seen, routes, "every route was asked");
    assert!(station.stop().success(), "{}", station.log());
}

#[test]
fn an_entry_is_shown_exactly_as_it_was_hashed() {
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    assert_eq!(visitor.post("/api/v1/orders", ORDER).status, 201);
    bench.scanner.send("4471\r");
    station.line(&["4471", "chosen"]);
    bench.focimeter.send("EYE=R S=-1.250 C=-0.50 A=090\r\n");
    station.line(&["4471", "PASS"]);
    assert!(station.stop().success());
    let (_station, url) = bench.start();
    let visitor = Visitor::new(&url);
    let ledger = rusqlite::Connection::open(bench.path().join("bench-1.ledger")).expect("opens");
    let mut entries = ledger.prepare("SELECT seq, payload, lower(hex(hash)) FROM entries").expect("sound");
    let rows = entries
        .query_map([], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?, row.get::<_, String>(2)?)));
    let mut compared = 0;
    for row in rows.expect("runs") {
        let (seq, payload, hash) = row.expect("reads");
        let answer = visitor.get(&format!("/api/v1/entries/{seq}"));
        assert!(answer.body.contains(&format!("\"payload\":{payload}")), "{seq}: {} {payload}", answer.body);
        assert!(answer.body.contains(&hash) && answer.json()["verifies"] == true, "{}", answer.body);
        compared += 1;
    }
    assert!(compared > 10);
}

#[test]
fn without_sign_in_everything_says_so() {
    let bench = Bench::open();
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    visitor.post("/api/v1/orders", ORDER);
    visitor.post("/api/v1/current-job", r#"{"job":"4471"}"#);
    bench.focimeter.send(FAILS);
    station.line(&["4471", "FAIL"]);
    let found = visitor.get("/api/v1/entries?person=not+signed+in").json();
    let kinds: Vec<&str> = found["entries"]
        .as_array()
        .expect("some")
        .iter()
        .filter_map(|hit| hit["entry"]["kind"].as_str())
        .collect();
    assert_eq!(kinds, ["job", "order"]);
    let override_ =
        r#"{"about":1,"name":"nobody","passphrase":"three dull lenses","meaning":"x","reason":"y"}"#;
    assert_eq!(visitor.post("/api/v1/overrides", override_).status, 401);
    assert_eq!(visitor.get("/api/v1/people").status, 403);
}

/// A manual reading of a lens of job 4471 by a visitor; whether it was taken in as blind.
fn blind(visitor: &Visitor, job: &str, eye: &str, more: Value) -> bool {
    let mut given = json!({
        "job": job, "eye": eye, "start": { "eyepiece_focused": true, "zero": 0.00 }, "read": { "sphere": -1.25 }
    });
    given.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
    let answer = visitor.post("/api/v1/manual-readings", &given.to_string());
    assert_eq!(answer.status, 201, "{}", answer.body);
    let entries = answer.json()["entries"].clone();
    let manual = entries.as_array().expect("some").iter().find(|entry| entry["kind"] == "manual").cloned();
    manual.expect("it is there")["payload"]["blind"] == true
}

#[test]
fn a_reading_is_blind_until_the_value_was_shown_to_its_reader() {
    let bench = Bench::with_people();
    let (mut station, url) = bench.start();
    let [one, other] = ["bench person", "quality person"].map(|name| Visitor::signed_in(&url, name));
    assert_eq!(one.post("/api/v1/orders", ORDER).status, 201);
    // What was looked at before anything was measured shows nothing.
    assert_eq!(one.get("/api/v1/jobs/4471").status, 200);
    bench.focimeter.send(FAILS.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "FAIL"]);
    assert!(blind(&one, "4471", "right", json!({})));
    assert!(!blind(&one, "4471", "right", json!({ "seen": true })), "who says so has seen it");
    for page in [
        "/jobs/4471",
        "/ledger?job=4471",
        "/",
        "/jobs/4471/certificate",
        "/api/v1/entries?job=4471",
        "/instruments?of=4471",
    ] {
        let job = format!("44{}", page.len());
        bench.focimeter.send(FAILS.replace("EYE", &format!("JOB={job} EYE")));
        station.line(&[&job]);
        assert_eq!(one.post("/api/v1/orders", &ORDER.replace("4471", &job)).status, 201);
        station.line(&[&job, "FAIL"]);
        assert!(blind(&one, &job, "right", json!({})), "{page} was not looked at yet");
        assert_eq!(one.get(&page.replace("4471", &job)).status, 200);
        assert!(!blind(&one, &job, "right", json!({})), "{page} shows it");
        assert!(blind(&other, &job, "right", json!({})), "another person has not seen it");
    }
    // The other lens was not measured: the job's page shows nothing of it.
    one.get("/jobs/4471");
    assert!(blind(&one, "4480", "left", json!({})));
    let under_another_name =
        json!({ "by": "quality person", "job": "4471", "eye": "left", "read": { "sphere": 1 } });
    assert_eq!(one.post("/api/v1/manual-readings", &under_another_name.to_string()).status, 403);
}

#[test]
fn the_register_is_kept_by_those_who_answer_for_quality() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let visitor = Visitor::signed_in(&url, "bench person");
    let lens = r#"{"lens":{"name":"REF+5","serial":"T-105","sphere":5.00,"due":"2099-01-01"}}"#;
    assert_eq!(visitor.post("/api/v1/reference-lenses", lens).status, 403);
    assert_eq!(visitor.post("/api/v1/instrument-checks", r#"{"reading":1,"lens":"REF+5"}"#).status, 403);
    assert_eq!(visitor.get("/api/v1/reference-lenses").json()["lenses"], json!([]));
    assert_eq!(visitor.get("/api/v1/reports/drift?format=csv").status, 403);
    assert_eq!(visitor.get("/api/v1/reports/drift").status, 200, "reading is for everybody");
    let quality = Visitor::signed_in(&url, "quality person");
    assert_eq!(quality.post("/api/v1/reference-lenses", lens).status, 201);
    let wrong = quality.post("/api/v1/reference-lenses", &lens.replace("T-105", " "));
    assert!(wrong.status == 422 && wrong.body.contains("serial"), "{}", wrong.body);
}
