//! JSON Lines over TCP, sockets and a program's standard input.

use crate::common::{ran, wait_for};
use crate::lab::Lab;
use crate::proxy::Proxy;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::os::unix::net::UnixStream;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};

type Got = Arc<Mutex<Vec<Value>>>;

/// Keeps each line, and answers it, until the stream ends.
fn keep(stream: impl Read, mut answer: impl Write, got: &Got) {
    for line in BufReader::new(stream).lines() {
        let Ok(line) = line else { return };
        // A line that was cut off is no message.
        let Ok(message) = serde_json::from_str::<Value>(&line) else { return };
        let seq = message["seq"].as_u64().expect("a number");
        got.lock().expect("sound").push(message);
        if writeln!(answer, "{seq}").is_err() {
            return;
        }
    }
}

fn receiver() -> (SocketAddr, Got) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let (at, got) = (listener.local_addr().expect("bound"), Got::default());
    let kept = Arc::clone(&got);
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let stream = stream.expect("a connection");
            let answer = stream.try_clone().expect("a socket");
            keep(stream, answer, &kept);
        }
    });
    (at, got)
}

fn all(got: &Got) -> Vec<Value> {
    got.lock().expect("sound").clone()
}

#[test]
fn a_proxy_that_drops_connections_at_random_loses_nothing() {
    let (at, got) = receiver();
    let proxy = Proxy::to(at, 6_000, 20_260_302);
    let mut lab = Lab::new(|_| format!("[[feed]]\nname = \"host\"\nto = \"tcp://{}\"\n", proxy.at));
    let mut station = lab.station();
    lab.measure(&mut station, 40);
    wait_for("some dropped connections", || (proxy.dropped.load(Ordering::Relaxed) > 2).then_some(()));
    proxy.calm();
    lab.measure(&mut station, 5);
    lab.complete(|| all(&got));
    assert!(station.stop().success(), "{}", station.log());
}

#[test]
fn a_feed_goes_on_where_it_was_after_outages_and_restarts() {
    let (at, got) = receiver();
    let mut lab = Lab::new(|_| format!("[[feed]]\nname = \"host\"\nto = \"tcp://{at}\"\nfrom = \"start\"\n"));
    let mut station = lab.station();
    lab.measure(&mut station, 3);
    lab.complete(|| all(&got));
    let kept = lab.entries("'verdict'").last().expect("judged").0;
    wait_for("the cursor in the ledger", || lab.cursor("host").filter(|cursor| *cursor >= kept));
    // Killed: nothing is said to the receiver.
    drop(station);
    let before = all(&got).len();
    let mut station = lab.station();
    lab.measure(&mut station, 3);
    lab.complete(|| all(&got));
    assert!(station.stop().success());
    assert_eq!(all(&got).len(), before + 6, "what was kept and is on record as kept is not sent again");
    // A cursor is no tampering, and rebuilding leaves it.
    let ledger = lab.ledger();
    for command in ["verify", "rebuild", "verify"] {
        let ran = ran(&["ledger", command, "--ledger", ledger.to_str().expect("text")]);
        assert_eq!(ran.status, 0, "{command}: {}{}", ran.out, ran.err);
    }
    assert!(lab.cursor("host").is_some());
}

#[test]
fn receivers_come_to_a_socket_and_to_an_address_with_a_key() {
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound");
    let mut lab = Lab::new(|folder| {
        std::fs::write(folder.join("feed.key"), "open-sesame\n").expect("written");
        format!(
            "[[feed]]\nname = \"a\"\nat = \"unix:results.sock\"\n\
             [[feed]]\nname = \"b\"\nat = \"tcp://{free}\"\nkey = \"feed.key\"\n"
        )
    });
    // Left by a station that was killed.
    drop(std::os::unix::net::UnixListener::bind(lab.path().join("results.sock")).expect("bound"));
    let mut station = lab.station();
    let socket = lab.path().join("results.sock");
    let by_socket = Got::default();
    let stream = wait_for("the socket", || UnixStream::connect(&socket).ok());
    let (kept, answer) = (Arc::clone(&by_socket), stream.try_clone().expect("a socket"));
    std::thread::spawn(move || keep(stream, answer, &kept));

    let mut stranger = wait_for("the address", || TcpStream::connect(free).ok());
    stranger.write_all(b"open-barley\n").expect("sent");
    let mut nothing = Vec::new();
    // The connection ends, and nothing was said.
    let _ = stranger.read_to_end(&mut nothing);
    assert!(nothing.is_empty());
    let by_key = Got::default();
    let mut stream = TcpStream::connect(free).expect("it listens");
    stream.write_all(b"open-sesame\n").expect("sent");
    let (kept, answer) = (Arc::clone(&by_key), stream.try_clone().expect("a socket"));
    std::thread::spawn(move || keep(stream, answer, &kept));

    lab.measure(&mut station, 3);
    lab.complete(|| all(&by_socket));
    lab.complete(|| all(&by_key));
    assert!(station.stop().success());
    assert!(!socket.exists());
}

#[test]
fn a_program_is_fed_and_started_again_when_it_ends() {
    // It ends by itself after each fourth line.
    let mut lab = Lab::new(|_| {
        "[[feed]]\nname = \"program\"\nrun = [\"sh\", \"-c\", \"for n in 1 2 3 4; do read -r line || exit; echo \\\"$line\\\" >> got.jsonl; echo \\\"$line\\\" | sed 's/.*\\\\\\\"seq\\\\\\\":\\\\([0-9]*\\\\).*/\\\\1/'; done\"]\n".to_owned()
    });
    let mut station = lab.station();
    lab.measure(&mut station, 6);
    let file = lab.path().join("got.jsonl");
    lab.complete(|| {
        let text = std::fs::read_to_string(&file).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).expect("a whole message")).collect()
    });
    assert!(station.stop().success());
}

/// What a program does with its output is its own affair, and at the end it may finish its work.
#[test]
fn a_program_that_never_answers_is_fed_all_once_and_may_end_by_itself() {
    let fed = |name: &str, command: &str| {
        format!("[[feed]]\nname = \"{name}\"\nacknowledge = false\nrun = [\"sh\", \"-c\", \"{command}\"]\n")
    };
    let mut lab = Lab::new(|_| {
        [
            fed("silent", "exec cat >> silent.jsonl"),
            fed("slow", "cat > kept; sleep 0.3; mv kept slow.jsonl"),
            fed("loud", "tee -a loud.jsonl"),
        ]
        .concat()
    });
    let mut station = lab.station();
    lab.measure(&mut station, 6);
    let got = |name: &str| -> Vec<serde_json::Value> {
        let text = std::fs::read_to_string(lab.path().join(name)).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).expect("a whole message")).collect()
    };
    lab.complete(|| got("silent.jsonl"));
    lab.complete(|| got("loud.jsonl"));
    let log = station.log();
    assert!(!log.contains("closed the connection"), "each is started once: {log}");
    assert!(station.stop().success());
    let wanted = got("loud.jsonl").len();
    assert_eq!(got("silent.jsonl").len(), wanted, "each came once");
    assert_eq!(got("slow.jsonl").len(), wanted, "it was given the time to end");
}

/// Takes connections and does this to each.
fn misbehaving(does: impl Fn(TcpStream) + Send + 'static) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = listener.local_addr().expect("bound");
    std::thread::spawn(move || listener.incoming().for_each(|stream| does(stream.expect("a connection"))));
    at
}

#[test]
fn receivers_that_misbehave_delay_nobody_and_are_named() {
    let hangs = misbehaving(std::mem::forget);
    let closes = misbehaving(drop);
    let babbles = misbehaving(|mut stream| {
        let _ = stream.write_all(b"HTTP/1.1 400 Bad Request\r\n\r\n");
        std::mem::forget(stream);
    });
    let runs_ahead = misbehaving(|mut stream| {
        let _ = stream.write_all(b"99999999\n");
        std::mem::forget(stream);
    });
    let nobody = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound");
    let (good, got) = receiver();
    let mut lab = Lab::new(|_| {
        [
            ("hangs", hangs),
            ("closes", closes),
            ("babbles", babbles),
            ("runs-ahead", runs_ahead),
            ("nobody", nobody),
            ("good", good),
        ]
        .map(|(name, at)| format!("[[feed]]\nname = \"{name}\"\nto = \"tcp://{at}\"\n"))
        .concat()
    });
    let mut station = lab.station();
    lab.measure(&mut station, 30);
    lab.complete(|| all(&got));
    for words in [
        &["closes", "it closed the connection"][..],
        &["babbles", "it answered", "expected a line with the number"],
        &["runs-ahead", "99999999, which was not sent yet"],
        &["nobody", "nobody listens there"],
    ] {
        wait_for(words[0], || {
            station.log().lines().any(|line| words.iter().all(|word| line.contains(word))).then_some(())
        });
    }
    let first = lab.entries("'reading'")[0].0;
    for name in ["hangs", "closes", "babbles", "runs-ahead", "nobody"] {
        assert!(lab.cursor(name).is_none_or(|cursor| cursor < first), "{name} has kept nothing");
    }
    // The one that hangs does not hold up the end either.
    assert!(station.stop().success(), "{}", station.log());
}

#[test]
fn what_waits_for_a_receiver_that_is_away_is_shown() {
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound");
    let mut lab = Lab::new(|_| {
        format!(
            "[page]\nlisten = \"127.0.0.1:0\"\nsign_in = false\n[[feed]]\nname = \"host\"\nto = \"tcp://{free}\"\n"
        )
    });
    let mut station = lab.station();
    let url = served(&station);
    lab.measure(&mut station, 3);
    let feeds = |done: &dyn Fn(&Value) -> bool| {
        wait_for("the feed as the page has it", || {
            let answer =
                ureq::get(format!("{url}/api/v1/feeds")).call().ok()?.body_mut().read_to_string().ok()?;
            let feeds: Value = serde_json::from_str(&answer).expect("JSON");
            done(&feeds[0]).then(|| feeds[0].clone())
        })
    };
    let away = feeds(&|feed| feed["waiting"] == 6);
    assert_eq!((&away["name"], &away["connected"]), (&"host".into(), &false.into()));
    assert!(away["why"].as_str().expect("text").contains("nobody listens there"));
    let first = &lab.entries("'reading'")[0];
    let ledger = rusqlite::Connection::open(lab.ledger()).expect("opens");
    let committed: String = ledger
        .query_row("SELECT time FROM entries WHERE seq = ?1", [first.0 as i64], |row| row.get(0))
        .expect("there");
    let same = |time: &Value| time.as_str().map(|time| time.parse::<jiff::Timestamp>().expect("a time"));
    assert_eq!(same(&away["oldest"]), Some(committed.parse().expect("a time")));
    let page = ureq::get(format!("{url}/instruments"))
        .call()
        .expect("a page")
        .body_mut()
        .read_to_string()
        .expect("text");
    for words in ["Feeds to other programs and printers", "NOT THERE", "6 messages, the first since"] {
        assert!(page.contains(words), "{words}: {page}");
    }

    let got = Got::default();
    let (kept, listener) = (Arc::clone(&got), TcpListener::bind(free).expect("free again"));
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let stream = stream.expect("a connection");
            let answer = stream.try_clone().expect("a socket");
            keep(stream, answer, &kept);
        }
    });
    let there = feeds(&|feed| feed["waiting"] == 0);
    assert_eq!((&there["connected"], &there["kept"]), (&true.into(), &6.into()));
    assert!(there.get("oldest").is_none() && there.get("why").is_none());
    lab.complete(|| all(&got));
    assert!(station.stop().success());
}

fn served(station: &crate::common::Station) -> String {
    wait_for("the page", || {
        let log = station.log();
        let line = log.lines().find(|line| line.contains("the page is served"))?;
        let line: Value = serde_json::from_str(line).ok()?;
        Some(line["fields"]["url"].as_str()?.trim_end_matches('/').to_owned())
    })
}
