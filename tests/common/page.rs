//! A station with a page, and what a browser or a program does with it.

use super::{Adapter, PATIENCE, Station, fociline, wait_for};
use serde_json::Value;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use tempfile::TempDir;
use ureq::Agent;
use ureq::http::{HeaderMap, Request};
use ureq::tls::{Certificate, RootCerts, TlsConfig};

/// The passphrase of everybody in these tests.
pub const WORDS: &str = "three dull lenses";
/// An order that `EYE=R S=-1.25 C=-0.50 A=95` fails (axis) and `A=90` passes.
pub const ORDER: &str = r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;
/// That frame.
pub const FAILS: &str = "EYE=R S=-1.25 C=-0.50 A=110\r\n";
pub const PASSES: &str = "EYE=R S=-1.25 C=-0.50 A=90\r\n";

/// A station with one focimeter, one scanner and a page.
pub struct Bench {
    pub folder: TempDir,
    pub focimeter: Adapter,
    pub scanner: Adapter,
    page: String,
}

impl Bench {
    /// `page` is what stands under `[page]`.
    pub fn new(page: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let adapter = |name: &str| Adapter::plugged(folder.path().join(name));
        Self {
            focimeter: adapter("focimeter-1"),
            scanner: adapter("scanner-1"),
            page: page.to_owned(),
            folder,
        }
    }

    /// On this computer alone, without sign-in.
    pub fn open() -> Self {
        Self::new("listen = \"127.0.0.1:0\"\nsign_in = false")
    }

    /// On this computer alone, with the accounts of three people, and a feed.
    pub fn with_people() -> Self {
        let feed = "[[feed]]\nname = \"files\"\nfolder = \"results\"";
        let bench = Self::new(&format!("listen = \"127.0.0.1:0\"\n{feed}"));
        for role in ["bench", "quality", "admin"] {
            bench.add(&format!("{role} person"), role);
        }
        bench
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn settings(&self) -> String {
        format!(
            "[station]\nname = \"bench-1\"\nledger = \"bench-1.ledger\"\nrules = \"ansi-z80.1-2015\"\n[page]\n{1}\n\
             [[instrument]]\nname = \"focimeter-1\"\nport = \"{0}/focimeter-1\"\nlayout = \"tagged\"\n\
             [[scanner]]\nname = \"scanner-1\"\nport = \"{0}/scanner-1\"\n",
            self.path().display(),
            self.page
        )
    }

    /// Adds an account as the station's keeper does.
    pub fn add(&self, name: &str, role: &str) {
        let file = self.path().join("station.toml");
        std::fs::write(&file, self.settings()).expect("written");
        let file = file.to_str().expect("text").to_owned();
        let mut command = fociline(&["people", "add", "--station", &file, "--role", role, "--stdin", name]);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::null()).spawn().expect("starts");
        writeln!(child.stdin.take().expect("piped"), "{WORDS}").expect("written");
        assert!(child.wait().expect("ends").success());
    }

    /// Starts it, and waits until its ports are open and its page is served.
    pub fn start(&self) -> (Station, String) {
        let station = Station::start(self.path(), &self.settings());
        self.started(station)
    }

    /// Starts it on a disk with room for so many blocks of 1024 bytes.
    pub fn start_on_a_small_disk(&self, blocks: u32) -> (Station, String) {
        std::fs::write(self.path().join("station.toml"), self.settings()).expect("written");
        let mut command = std::process::Command::new("bash");
        command.args(["-c", &format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" run --station \"$1\"")]);
        command.arg(env!("CARGO_BIN_EXE_fociline")).arg(self.path().join("station.toml"));
        self.started(Station::with(self.path(), command))
    }

    fn started(&self, mut station: Station) -> (Station, String) {
        let mut left = vec!["focimeter-1: port open", "scanner-1: port open"];
        while !left.is_empty() {
            let line = station.line(&[]);
            left.retain(|words| !line.contains(words));
        }
        let url = wait_for("the page", || {
            let log = station.log();
            let line = log.lines().find(|line| line.contains("the page is served"))?;
            let line: Value = serde_json::from_str(line).ok()?;
            Some(line["fields"]["url"].as_str()?.trim_end_matches('/').to_owned())
        });
        (station, url)
    }
}

/// Somebody who asks: a browser, or a program.
pub struct Visitor {
    agent: Agent,
    pub url: String,
    pub csrf: String,
}

/// What was answered.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub headers: HeaderMap,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|why| panic!("{why}: {}", self.body))
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().expect("text"))
    }

    /// The token of the page's forms.
    pub fn token(&self) -> String {
        let marker = "name=\"csrf-token\" content=\"";
        let from = self.body.find(marker).expect("a page has a token") + marker.len();
        self.body[from..].split('"').next().expect("it ends").to_owned()
    }
}

impl Visitor {
    pub fn new(url: &str) -> Self {
        Self::trusting(url, None)
    }

    /// One that trusts this certificate alone.
    pub fn trusting(url: &str, certificate: Option<&[u8]>) -> Self {
        // Another test of this process may have installed it.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let certificates: Vec<_> =
            certificate.into_iter().map(|pem| Certificate::from_pem(pem).expect("a certificate")).collect();
        let tls = TlsConfig::builder().root_certs(RootCerts::Specific(Arc::new(certificates))).build();
        let config = Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .timeout_global(Some(PATIENCE))
            .tls_config(tls);
        Self { agent: config.build().new_agent(), url: url.to_owned(), csrf: String::new() }
    }

    /// Somebody who has signed in.
    pub fn signed_in(url: &str, name: &str) -> Self {
        let mut visitor = Self::new(url);
        let answer = visitor.sign_in(name, WORDS);
        assert_eq!(answer.status, 200, "{}", answer.body);
        visitor
    }

    /// Signs in as a program does.
    pub fn sign_in(&mut self, name: &str, passphrase: &str) -> Answer {
        let given = serde_json::json!({ "name": name, "passphrase": passphrase });
        let answer = self.post("/api/v1/session", &given.to_string());
        if answer.status == 200 {
            self.csrf = answer.json()["csrf"].as_str().expect("a token").to_owned();
        }
        answer
    }

    pub fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], "")
    }

    /// Posts JSON with the session's token.
    pub fn post(&self, path: &str, json: &str) -> Answer {
        let mut headers = vec![("content-type", "application/json")];
        if !self.csrf.is_empty() {
            headers.push(("x-csrf-token", &self.csrf));
        }
        self.send("POST", path, &headers, json)
    }

    /// Posts a form.
    pub fn submit(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body = serde_urlencoded::to_string(fields).expect("fields");
        self.send("POST", path, &[("content-type", "application/x-www-form-urlencoded")], &body)
    }

    pub fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut request = Request::builder().method(method).uri(format!("{}{path}", self.url));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let config = self.agent.configure_request(request.body(body.to_owned()).expect("a request"));
        let request = config.allow_non_standard_methods(true).build();
        let mut response = self.agent.run(request).unwrap_or_else(|why| panic!("{method} {path}: {why}"));
        let body = response.body_mut().read_to_string().expect("text");
        Answer { status: response.status().as_u16(), headers: response.headers().clone(), body }
    }

    /// Opens the live stream; after `last` where it is given.
    pub fn events(&self, last: Option<&str>) -> Events {
        let mut request = Request::builder().uri(format!("{}/api/v1/events", self.url));
        if let Some(last) = last {
            request = request.header("last-event-id", last);
        }
        let response = self.agent.run(request.body(()).expect("a request")).expect("an answer");
        assert_eq!(response.status(), 200);
        Events { lines: BufReader::new(response.into_body().into_reader()) }
    }
}

/// A live stream.
pub struct Events {
    lines: BufReader<ureq::BodyReader<'static>>,
}

/// One event of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    pub name: String,
    pub id: String,
    pub data: Value,
}

impl Iterator for Events {
    type Item = Event;

    /// The next one; nothing when the stream has ended.
    fn next(&mut self) -> Option<Event> {
        let mut event = Event { name: String::new(), id: String::new(), data: Value::Null };
        loop {
            let mut line = String::new();
            if self.lines.read_line(&mut line).ok()? == 0 {
                return None;
            }
            match line.trim_end().split_once(": ") {
                Some(("event", name)) => event.name = name.to_owned(),
                Some(("id", id)) => event.id = id.to_owned(),
                Some(("data", data)) => event.data = serde_json::from_str(data).expect("JSON"),
                None if line.trim().is_empty() && !event.name.is_empty() => return Some(event),
                _ => {}
            }
        }
    }
}

impl Events {
    /// The next entry of this kind.
    pub fn entry(&mut self, kind: &str) -> Event {
        let found = self.find(|event| event.name == "entry" && event.data["kind"] == kind);
        found.unwrap_or_else(|| panic!("the stream ended without a {kind}"))
    }
}
