//! A real MQTT 5 broker (Debian's mosquitto), killed, paused and restarted in the middle; its own
//! client listens.

use crate::common::wait_for;
use crate::lab::Lab;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

/// A broker that keeps sessions on disk at each change.
struct Broker {
    folder: PathBuf,
    port: u16,
    child: Option<Child>,
}

fn kill(child: &Child, signal: &str) {
    let status = Command::new("kill").args([&format!("-{signal}"), &child.id().to_string()]).status();
    assert!(status.expect("kill runs").success());
}

impl Broker {
    fn start(folder: &Path, more: &str) -> Self {
        let free = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = free.local_addr().expect("bound").port();
        drop(free);
        let data = folder.join("broker");
        std::fs::create_dir_all(&data).expect("a folder");
        let settings = format!(
            "listener {port} 127.0.0.1\npersistence true\npersistence_location {}/\n\
             autosave_on_changes true\nautosave_interval 1\nmax_queued_messages 0\nuser root\n{more}",
            data.display()
        );
        std::fs::write(data.join("mosquitto.conf"), settings).expect("written");
        let mut broker = Self { folder: data, port, child: None };
        broker.up();
        broker
    }

    fn up(&mut self) {
        let log = std::fs::OpenOptions::new().create(true).append(true).open(self.folder.join("log"));
        let child = Command::new("mosquitto")
            .arg("-c")
            .arg(self.folder.join("mosquitto.conf"))
            .stderr(log.expect("a log file"))
            .stdout(Stdio::null())
            .spawn()
            .expect("mosquitto is installed (contrib/check does it)");
        self.child = Some(child);
        wait_for("the broker", || TcpStream::connect(("127.0.0.1", self.port)).ok());
    }

    fn signal(&self, signal: &str) {
        kill(self.child.as_ref().expect("running"), signal);
    }

    fn down(&mut self, signal: &str) {
        self.signal(signal);
        self.child.take().expect("running").wait().expect("ends");
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// One message as the client prints it: topic, user properties, payload.
#[derive(Clone)]
struct Heard {
    topic: String,
    properties: String,
    payload: Value,
}

/// The broker's own client, with a session that outlives outages.
struct Client {
    child: Child,
    heard: Arc<Mutex<Vec<Heard>>>,
}

impl Client {
    fn listen(port: u16, topics: &[&str], more: &[&str]) -> Self {
        let mut command = Command::new("mosquitto_sub");
        command.args(["-V", "5", "-q", "1", "-p", &port.to_string(), "-F", "%t\t%P\t%p"]).args(more);
        for topic in topics {
            command.args(["-t", topic]);
        }
        let spawned = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut child = spawned.expect("mosquitto_sub is installed (contrib/check does it)");
        let (lines, heard) = (BufReader::new(child.stdout.take().expect("piped")).lines(), Arc::default());
        let keep: Arc<Mutex<Vec<Heard>>> = Arc::clone(&heard);
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let mut parts = line.splitn(3, '\t');
                let mut part = || parts.next().expect("three parts").to_owned();
                let (topic, properties) = (part(), part());
                let payload = serde_json::from_str(&part()).expect("JSON");
                keep.lock().expect("sound").push(Heard { topic, properties, payload });
            }
        });
        Self { child, heard }
    }

    fn all(&self) -> Vec<Heard> {
        self.heard.lock().expect("sound").clone()
    }

    fn messages(&self) -> Vec<Value> {
        self.all().into_iter().map(|heard| heard.payload).filter(|payload| payload["seq"].is_u64()).collect()
    }

    fn state(&self) -> Option<String> {
        let state =
            |heard: Heard| heard.topic.ends_with("/state").then(|| heard.payload["state"].to_string());
        self.all().into_iter().filter_map(state).next_back()
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const SESSION: [&str; 5] = ["-c", "-i", "host", "-x", "3600"];

fn lab(port: u16, more: &str) -> Lab {
    Lab::new(|_| {
        format!("[[feed]]\nname = \"broker\"\nto = \"mqtt://127.0.0.1:{port}/tarnvale/bench-1\"\n{more}")
    })
}

#[test]
fn a_broker_killed_paused_and_restarted_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut broker = Broker::start(folder.path(), "allow_anonymous true\n");
    let mut lab = lab(broker.port, "");
    let client = Client::listen(broker.port, &["tarnvale/#"], &SESSION);
    let mut station = lab.station();
    lab.measure(&mut station, 4);
    lab.complete(|| client.messages());

    broker.down("KILL");
    lab.measure(&mut station, 4);
    broker.up();
    lab.complete(|| client.messages());

    broker.signal("STOP");
    lab.measure(&mut station, 4);
    broker.signal("CONT");
    lab.measure(&mut station, 1);
    lab.complete(|| client.messages());

    // Also where the station itself ends while messages are under way that the broker never takes.
    broker.signal("STOP");
    lab.measure(&mut station, 2);
    assert!(station.stop().success());
    broker.down("KILL");
    let mut station = lab.station();
    lab.measure(&mut station, 2);
    broker.up();
    lab.complete(|| client.messages());

    for heard in client.all().iter().filter(|heard| heard.payload["seq"].is_u64()) {
        let expected = match heard.payload["kind"].as_str() {
            Some("reading") => "tarnvale/bench-1/reading/focimeter-1",
            _ => "tarnvale/bench-1/verdict/4471",
        };
        assert_eq!(heard.topic, expected);
        assert!(heard.properties.contains(&format!("id:{}", heard.payload["id"].as_str().expect("text"))));
    }
    assert!(station.stop().success(), "{}", station.log());
}

#[test]
fn the_state_is_retained_and_the_last_will_says_when_a_station_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let broker = Broker::start(folder.path(), "allow_anonymous true\n");
    let mut lab = lab(broker.port, "");
    // A client that comes later gets what was retained.
    let is = |state: &str| {
        let client = Client::listen(broker.port, &["tarnvale/bench-1/state"], &[]);
        wait_for(state, || (client.state()? == format!("\"{state}\"")).then_some(()));
    };
    let mut station = lab.station();
    is("running");
    assert!(station.stop().success());
    is("stopped");
    let station = lab.station();
    wait_for("the connection", || station.log().contains("\"connected\"").then_some(()));
    drop(station);
    is("lost");
}

#[test]
fn a_broker_that_asks_for_a_password_gets_it_and_a_refusal_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let passwords = folder.path().join("passwords");
    let status = Command::new("mosquitto_passwd")
        .args(["-b", "-c"])
        .arg(&passwords)
        .args(["bench", "rightly-so"])
        .status();
    assert!(status.expect("mosquitto_passwd runs").success());
    let more = format!("allow_anonymous false\npassword_file {}\n", passwords.display());
    let broker = Broker::start(folder.path(), &more);
    let password = folder.path().join("secret");
    std::fs::write(&password, "wrongly-so\n").expect("written");
    let mut lab =
        lab(broker.port, &format!("user = \"bench\"\npassword = {:?}\n", password.to_str().expect("text")));
    let mut station = lab.station();
    lab.measure(&mut station, 1);
    wait_for("the refusal", || {
        station.log().lines().any(|line| line.contains("refused the connection")).then_some(())
    });
    assert!(station.stop().success(), "{}", station.log());
    std::fs::write(&password, "rightly-so\n").expect("written");
    let client = Client::listen(broker.port, &["tarnvale/#"], &["-u", "bench", "-P", "rightly-so"]);
    let mut station = lab.station();
    wait_for("running", || client.state());
    lab.measure(&mut station, 1);
    lab.complete(|| client.messages());
    assert!(station.stop().success(), "{}", station.log());
}
