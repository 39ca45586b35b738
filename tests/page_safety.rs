//! Who is let in, and what every answer carries, on a real station.

mod common;

use common::page::{Bench, FAILS, ORDER, Visitor, WORDS};
use common::{fociline, ran};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;

const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");

/// The entries of a kind, as they stand in the ledger.
fn entries(bench: &Bench, kind: &str) -> Vec<Value> {
    let ledger = rusqlite::Connection::open(bench.path().join("bench-1.ledger")).expect("opens");
    let mut statement =
        ledger.prepare("SELECT payload FROM entries WHERE kind = ?1 ORDER BY seq").expect("sound");
    let rows = statement.query_map([kind], |row| row.get::<_, String>(0)).expect("runs");
    rows.map(|payload| serde_json::from_str(&payload.expect("reads")).expect("JSON")).collect()
}

#[test]
fn a_person_signs_in_with_the_form_and_out_again() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let browser = Visitor::new(&url);
    let sent = browser.get("/?x=1");
    assert_eq!((sent.status, sent.header("location")), (303, "/sign-in?next=%2F%3Fx%3D1"));
    let page = browser.get(sent.header("location"));
    assert!(page.body.contains("value=\"/?x=1\""), "{}", page.body);
    let fields = |token: &str, words: &str| {
        let fields = [("csrf", token), ("name", "bench person"), ("passphrase", words), ("next", "/?x=1")];
        browser.submit("/sign-in", &fields)
    };
    let wrong = fields(&page.token(), "three dull lens");
    assert_eq!(wrong.status, 401);
    assert!(wrong.body.contains("the name or the passphrase is wrong"), "{}", wrong.body);
    let right = fields(&wrong.token(), WORDS);
    assert_eq!((right.status, right.header("location")), (303, "/?x=1"), "{}", right.body);
    let cookie = right.header("set-cookie").to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let start = browser.get("/");
    assert_eq!(start.status, 200);
    assert!(start.body.contains("bench person") && start.body.contains("focimeter-1"), "{}", start.body);
    assert_ne!(start.token(), wrong.token(), "a new session has a new token");
    assert_eq!(browser.submit("/sign-out", &[("csrf", &start.token())]).status, 303);
    assert_eq!(browser.get("/").status, 303, "signed out");
    let did: Vec<Value> =
        entries(&bench, "person").into_iter().map(|entry| json!([entry["did"], entry["by"]])).collect();
    let by_hand = json!(["account-added", "the people command"]);
    let person = |did: &str, by: &str| json!([did, by]);
    let expected = [
        by_hand.clone(),
        by_hand.clone(),
        by_hand,
        person("refused", "not signed in"),
        person("signed-in", "bench person"),
        person("signed-out", "bench person"),
    ];
    assert_eq!(did, expected);
    let everything = format!("{did:?}{:?}", entries(&bench, "person"));
    assert!(!everything.contains("argon2") && !everything.contains("dull"));
}

#[test]
fn guessing_ends_after_some_tries_also_for_the_right_passphrase() {
    let bench = Bench::with_people();
    let (station, url) = bench.start();
    let mut visitor = Visitor::new(&url);
    for _ in 0..5 {
        assert_eq!(visitor.sign_in("quality person", "three dull guesses").status, 401);
    }
    let closed = visitor.sign_in("quality person", WORDS);
    assert_eq!(closed.status, 429);
    assert!(closed.header("retry-after").parse::<u32>().expect("seconds") > 200);
    assert_eq!(visitor.sign_in("bench person", WORDS).status, 200, "others are let in");
    let typed_into_the_wrong_field = Visitor::new(&url).sign_in("my dull passphrase", "x");
    assert_eq!(typed_into_the_wrong_field.status, 401);
    assert!(!format!("{:?}", entries(&bench, "person")).contains("my dull passphrase"));
    let log = station.log();
    assert!(!log.contains("dull") && !log.contains("argon2"), "{log}");
}

#[test]
fn what_changes_something_needs_the_token_and_comes_from_this_station() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let visitor = Visitor::signed_in(&url, "bench person");
    let choice = r#"{"job":"4471"}"#;
    let json = ("content-type", "application/json");
    let post = |headers: &[(&str, &str)]| visitor.send("POST", "/api/v1/current-job", headers, choice).status;
    let token = ("x-csrf-token", visitor.csrf.as_str());
    assert_eq!(post(&[json]), 403, "no token");
    assert_eq!(post(&[json, ("x-csrf-token", &"0".repeat(64))]), 403, "another token");
    assert_eq!(post(&[("content-type", "text/plain")]), 403, "what a form of another site could send");
    assert_eq!(post(&[json, token, ("origin", "http://elsewhere.example")]), 403);
    assert_eq!(post(&[json, token, ("origin", "null")]), 403);
    assert_eq!(post(&[json, token, ("sec-fetch-site", "cross-site")]), 403);
    assert_eq!(post(&[json, token, ("origin", &url), ("sec-fetch-site", "same-origin")]), 201);
    assert_eq!(post(&[json, token, ("origin", "null"), ("sec-fetch-site", "same-origin")]), 201);
    let form = |body: &str| visitor.send("POST", "/sign-out", &[FORM], body);
    assert_eq!(form("").status, 403);
    assert_eq!(form("csrf=").status, 403);
    assert_eq!(visitor.get("/api/v1/station").status, 200, "still signed in");
    assert_eq!(form(&format!("csrf={}", visitor.csrf)).status, 303);
}

#[test]
fn a_request_that_is_too_large_is_refused_before_it_is_sent() {
    let bench = Bench::open();
    let (_station, url) = bench.start();
    let mut connection =
        std::net::TcpStream::connect(url.strip_prefix("http://").expect("no TLS")).expect("open");
    let head = "POST /api/v1/orders HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\ncontent-length: 2000000\r\n\r\n";
    connection.write_all(head.as_bytes()).expect("sent");
    let mut status = String::new();
    BufReader::new(connection).read_line(&mut status).expect("answered");
    assert_eq!(status.trim(), "HTTP/1.1 413 Payload Too Large");
}

#[test]
fn a_name_that_is_not_the_stations_is_not_answered() {
    let bench = Bench::new("listen = \"127.0.0.1:0\"\nsign_in = false\nnames = [\"bench-1.lab.example\"]");
    let (_station, url) = bench.start();
    let visitor = Visitor::new(&url);
    let asked = |host: &str| visitor.send("GET", "/api/v1/station", &[("host", host)], "");
    assert_eq!(asked("elsewhere.example").status, 421);
    assert!(asked("elsewhere.example").json()["detail"].as_str().expect("why").contains("names"));
    for host in ["localhost:1", "127.0.0.1", "Bench-1.Lab.Example:8765"] {
        assert_eq!(asked(host).status, 200, "{host}");
    }
}

#[test]
fn every_answer_carries_what_keeps_it_safe() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let (nobody, somebody) = (Visitor::new(&url), Visitor::signed_in(&url, "admin person"));
    let pages =
        ["/", "/sign-in", "/assets/style.css", "/assets/none", "/none", "/api/v1/station", "/api/v1/none"];
    for visitor in [&nobody, &somebody] {
        for page in pages {
            let answer = visitor.get(page);
            let policy = answer.header("content-security-policy");
            for part in
                ["default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "form-action 'self'"]
            {
                assert!(policy.contains(part), "{page}: {policy:?}");
            }
            assert!(!policy.contains("unsafe"), "{policy}");
            assert_eq!(answer.header("x-content-type-options"), "nosniff", "{page}");
            assert_eq!(answer.header("referrer-policy"), "no-referrer", "{page}");
            assert!(page.starts_with("/assets/") || answer.header("cache-control") == "no-store", "{page}");
            if answer.header("content-type").starts_with("text/html") {
                let body = &answer.body;
                assert!(
                    !body.contains("<script>") && !body.contains("style="),
                    "{page} has code of its own: {body}"
                );
                assert!(body.contains("the responsible licensed person decides"), "{page}");
            }
        }
    }
    assert_eq!(somebody.get("/none").status, 404);
    assert_eq!(somebody.send("PUT", "/api/v1/station", &[("x-csrf-token", &somebody.csrf)], "").status, 405);
}

#[test]
fn each_role_may_what_it_may() {
    let bench = Bench::with_people();
    let (mut station, url) = bench.start();
    bench.focimeter.send("EYE=R S=-1.25\r\n");
    station.line(&["belongs to no job"]);
    let [works, quality, admin] =
        ["bench person", "quality person", "admin person"].map(|name| Visitor::signed_in(&url, name));
    assert_eq!(works.post("/api/v1/orders", ORDER).status, 201);
    assert_eq!(works.post("/api/v1/current-job", r#"{"job":"4471"}"#).status, 201);
    bench.focimeter.send(FAILS);
    station.line(&["4471", "FAIL"]);
    let found = works.get("/api/v1/jobs/4471").json();
    let (own, verdict) = (&found["readings"][0]["seq"], &found["verdict"]["seq"]);
    let earlier = works.get("/api/v1/station").json()["waiting"][0]["seq"].clone();
    let void = |visitor: &Visitor, about: &Value| {
        let note = json!({ "about": about, "says": "void", "reason": "laid on askew" });
        visitor.post("/api/v1/notes", &note.to_string()).status
    };
    let signature = |visitor: &Visitor, name: &str, words: &str, meaning: &str| {
        let signature = json!({ "about": verdict, "name": name, "passphrase": words, "meaning": meaning, "reason": "trial pair" });
        visitor.post("/api/v1/overrides", &signature.to_string()).status
    };
    assert_eq!(works.get("/api/v1/export").status, 403);
    assert_eq!(works.get("/api/v1/people").status, 403);
    assert_eq!(quality.get("/api/v1/people").status, 403);
    assert_eq!(quality.get("/api/v1/export").status, 200);
    assert_eq!(admin.get("/api/v1/people").status, 200);
    assert_eq!(void(&works, &earlier), 403, "it came in before they signed in");
    let by_hand = |visitor: &Visitor| {
        let read = json!({ "job": "4471", "eye": "right", "start": { "eyepiece_focused": true, "zero": 0 },
            "read": { "sphere": 12.50, "cylinder": -0.50, "axis": 110 } });
        visitor.post("/api/v1/manual-readings", &read.to_string()).json()["entries"][0]["seq"].clone()
    };
    // The first one puts the limits on record before it.
    by_hand(&works);
    let (mine, anothers) = (by_hand(&works), by_hand(&quality));
    assert_eq!(void(&works, &anothers), 403, "one read by hand since they signed in is not their own so");
    assert!(works.get(&format!("/ledger/{mine}")).body.contains("value=\"void\""), "the page offers it");
    assert_eq!(void(&works, &mine), 201);
    assert!(!works.get(&format!("/ledger/{mine}")).body.contains("value=\"void\""), "once is enough");
    assert_eq!(void(&works, &mine), 422);
    let page = works.get(&format!("/jobs/4471/manual/{mine}")).body;
    assert!(page.contains("<strong>void</strong>") && !page.contains("class=\"stand"), "{page}");
    assert!(
        works.get("/jobs/4471").body.contains("is-void\"><th scope=\"row\"><a href=\"/jobs/4471/manual/")
    );
    assert_eq!(void(&quality, &anothers), 201);
    assert_eq!(signature(&works, "bench person", WORDS, "release"), 403);
    assert_eq!(signature(&works, "quality person", WORDS, "release"), 403, "another's name");
    assert_eq!(signature(&quality, "quality person", "three dull guesses", "release"), 401);
    assert_eq!(signature(&quality, "quality person", WORDS, " "), 422, "no meaning");
    assert_eq!(signature(&quality, "quality person", WORDS, &"m".repeat(501)), 422, "too long");
    assert_eq!(entries(&bench, "override"), Vec::<Value>::new());
    assert_eq!(signature(&quality, "quality person", WORDS, "release"), 201);
    assert_eq!(signature(&admin, "admin person", WORDS, "release"), 422, "it is overridden already");
    let signed = &entries(&bench, "override")[0];
    assert_eq!(
        *signed,
        json!({ "about": verdict, "job": "4471", "by": "quality person", "role": "quality", "meaning": "release", "reason": "trial pair" })
    );
    assert_eq!(void(&works, own), 201, "their own");
    assert_eq!(void(&quality, &earlier), 201);
    assert!(station.stop().success(), "{}", station.log());
    let ledger = bench.path().join("bench-1.ledger");
    for command in ["verify", "rederive"] {
        let ran = ran(&["ledger", command, "--ledger", ledger.to_str().expect("text")]);
        assert_eq!(ran.status, 0, "{command}: {}{}", ran.out, ran.err);
    }
}

#[test]
fn a_removed_account_is_signed_out_while_the_station_runs() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let visitor = Visitor::signed_in(&url, "quality person");
    assert_eq!(visitor.get("/api/v1/station").status, 200);
    let file = bench.path().join("station.toml");
    let removed = ran(&["people", "remove", "--station", file.to_str().expect("text"), "quality person"]);
    assert_eq!(removed.status, 0, "{}", removed.err);
    common::wait_for("the end of the session", || {
        (visitor.get("/api/v1/station").status == 401).then_some(())
    });
    let last = common::wait_for("the record", || {
        entries(&bench, "person").pop().filter(|entry| entry["did"] == "account-removed")
    });
    assert_eq!(
        last,
        json!({ "did": "account-removed", "name": "quality person", "by": "the file of accounts" })
    );
}

#[test]
fn beyond_this_computer_there_is_tls_with_a_certificate_of_its_own() {
    let bench = Bench::new("listen = \"0.0.0.0:0\"\nnames = [\"bench-1.lab.example\"]");
    bench.add("bench person", "bench");
    let (mut station, url) = bench.start();
    let port = url.strip_prefix("https://0.0.0.0:").expect("TLS").to_owned();
    let certificate = std::fs::read(bench.path().join("bench-1.ledger.certificate.pem")).expect("made");
    let key = std::fs::metadata(bench.path().join("bench-1.ledger.key.pem")).expect("made");
    assert_eq!(key.permissions().mode() & 0o777, 0o600);
    let mut visitor = Visitor::trusting(&format!("https://localhost:{port}"), Some(&certificate));
    assert_eq!(visitor.get("/api/v1/station").status, 401, "people have to sign in");
    let answer = visitor.sign_in("bench person", WORDS);
    let cookie = answer.header("set-cookie");
    assert!(cookie.starts_with("__Host-") && cookie.contains("; Secure"), "{cookie}");
    assert_eq!(visitor.get("/api/v1/station").status, 200);
    assert!(station.stop().success(), "{}", station.log());
    let (_station, _) = bench.start();
    assert_eq!(
        std::fs::read(bench.path().join("bench-1.ledger.certificate.pem")).expect("kept"),
        certificate
    );
}

#[test]
fn settings_that_let_in_more_than_they_should_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("station.toml");
    let refused = |page: &str| {
        let settings = format!(
            "[station]\nname = \"b\"\nledger = \"b.ledger\"\nrules = \"ansi-z80.1-2015\"\n[page]\n{page}\n"
        );
        std::fs::write(&file, settings).expect("written");
        let ran = ran(&["run", "--station", file.to_str().expect("text")]);
        assert_eq!(ran.status, 2, "{page}: {}", ran.err);
        assert!(!folder.path().join("b.ledger").exists(), "nothing is half applied");
        ran.err
    };
    let open = refused("listen = \"0.0.0.0:8765\"\nsign_in = false");
    assert!(open.contains("station.toml:7: sign_in = false: beyond this computer"), "{open}");
    assert!(
        refused("listen = \"127.0.0.1:0\"\ncertificate = \"c.pem\"")
            .contains(":7: certificate: expected its key")
    );
    assert!(refused("listen = \"127.0.0.1:0\"\ncertificate = \"c.pem\"\nkey = \"k.pem\"").contains("c.pem"));
    assert!(refused("listen = \"127.0.0.1:0\"\nnames = [\"http://x\"]").contains(":7: names"));
    std::fs::write(folder.path().join("people.toml"), "[[person]]\nname = 1\n").expect("written");
    assert!(refused("listen = \"127.0.0.1:0\"").contains("people.toml: line 2"));
}

#[test]
fn the_people_command_keeps_the_accounts() {
    let bench = Bench::with_people();
    let file = bench.path().join("station.toml");
    let file = file.to_str().expect("text");
    let listed = ran(&["people", "list", "--station", file, "--json"]);
    assert_eq!(listed.out.lines().count(), 3);
    assert_eq!(listed.out.lines().next(), Some(r#"{"name":"bench person","role":"bench"}"#));
    let short = fociline(&["people", "passphrase", "--station", file, "--stdin", "bench person"])
        .stdin(std::fs::File::open("/dev/null").expect("there"))
        .output()
        .expect("runs");
    assert_eq!(short.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&short.stderr).contains("expected 10 characters or more"));
    assert_eq!(ran(&["people", "remove", "--station", file, "nobody"]).status, 2);
    assert_eq!(entries(&bench, "person").len(), 3);
}
