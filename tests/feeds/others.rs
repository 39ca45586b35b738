//! Files for each job, requests that are signed, and server-sent events.

use crate::common::wait_for;
use crate::lab::Lab;
use crate::proxy::Proxy;
use axum::Router;
use axum::body::Bytes;
use axum::http::{HeaderMap, Method, StatusCode, Uri};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use rcgen::{BasicConstraints, CertificateParams, IsCa, Issuer, KeyPair};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};

#[test]
fn each_job_has_its_files_written_whole() {
    let mut lab =
        Lab::new(|_| "[[feed]]\nname = \"files\"\nkinds = [\"verdict\"]\nfolder = \"out\"\n".to_owned());
    let mut station = lab.station();
    let out = lab.path().join("out");
    // A file where the folder should be: nothing can be written there.
    wait_for("the folder", || std::fs::remove_dir_all(&out).ok());
    std::fs::write(&out, "").expect("written");
    lab.measure(&mut station, 3);
    wait_for("a word on it", || station.log().contains("Not a directory").then_some(()));
    std::fs::remove_file(&out).expect("there");
    lab.complete_of("'verdict'", || {
        let Ok(folder) = std::fs::read_dir(&out) else { return Vec::new() };
        let mut names: Vec<_> = folder.map(|file| file.expect("readable").path()).collect();
        names.retain(|path| path.extension().is_some_and(|extension| extension == "json"));
        names.sort();
        // Whoever looks sees whole files only, at any moment.
        names
            .iter()
            .map(|path| serde_json::from_slice(&std::fs::read(path).expect("there")).expect("whole"))
            .collect()
    });
    for (seq, _) in lab.entries("'verdict'") {
        assert!(out.join(format!("4471-{seq:010}-verdict.json")).exists());
    }
    assert!(station.stop().success());
}

/// A request as it came in.
type Request = (Method, Uri, HeaderMap, Bytes);

const KEY: &[u8] = b"tarnvale-secret";

/// Takes each request once it has been refused twice, keeps it, over TLS with a certificate that
/// the lab has issued itself.
fn stubborn(at: TcpListener, certificate: &str, key: &str) -> Arc<Mutex<Vec<Request>>> {
    let got = Arc::new(Mutex::new(Vec::new()));
    let (kept, mut count) = (Arc::clone(&got), 0);
    let take = move |request: Request| {
        count += 1;
        if count % 3 != 0 {
            return (StatusCode::SERVICE_UNAVAILABLE, "not now\n");
        }
        kept.lock().expect("sound").push(request);
        (StatusCode::NO_CONTENT, "")
    };
    let take = Arc::new(Mutex::new(take));
    let router =
        Router::new().fallback(async move |method: Method, uri: Uri, headers: HeaderMap, content: Bytes| {
            (take.lock().expect("sound"))((method, uri, headers, content))
        });
    let (certificate, key) = (certificate.as_bytes().to_vec(), key.as_bytes().to_vec());
    at.set_nonblocking(true).expect("a socket");
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(async {
            // Another test may have been first.
            let _ = rustls::crypto::ring::default_provider().install_default();
            let tls = axum_server::tls_rustls::RustlsConfig::from_pem(certificate, key).await.expect("fits");
            axum_server::from_tcp_rustls(at, tls).expect("a socket").serve(router.into_make_service()).await
        })
    });
    got
}

#[test]
fn requests_are_signed_retried_and_in_order() {
    let authority_key = KeyPair::generate().expect("a key");
    let mut authority = CertificateParams::new(Vec::new()).expect("sound");
    authority.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let own = authority.self_signed(&authority_key).expect("signed").pem();
    let server_key = KeyPair::generate().expect("a key");
    let server = CertificateParams::new(vec!["localhost".to_owned()]).expect("sound");
    let issuer = Issuer::new(authority, authority_key);
    let server = server.signed_by(&server_key, &issuer).expect("signed").pem();

    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let at = listener.local_addr().expect("bound");
    let url = format!("https://localhost:{}/results?bench=1", at.port());
    let got = stubborn(listener, &server, &server_key.serialize_pem());
    let mut lab = Lab::new(|folder| {
        std::fs::write(folder.join("host.key"), [KEY, b"\n"].concat()).expect("written");
        std::fs::write(folder.join("ca.pem"), own).expect("written");
        format!("[[feed]]\nname = \"host\"\nto = \"{url}\"\nkey = \"host.key\"\nca = \"ca.pem\"\n")
    });
    let mut station = lab.station();
    lab.measure(&mut station, 2);
    lab.complete(|| {
        let got = got.lock().expect("sound");
        got.iter().map(|(.., content)| serde_json::from_slice(content).expect("JSON")).collect()
    });
    assert!(
        station.log().contains("was refused with 503") && station.log().contains("not now"),
        "{}",
        station.log()
    );
    for request in got.lock().expect("sound").iter() {
        is_signed(request, &url);
    }
    assert!(station.stop().success());
}

/// RFC 9421, section 3.2: the signature base is built anew from what came in.
fn is_signed((method, _, headers, content): &Request, url: &str) {
    let field = |name: &str| headers.get(name).expect(name).to_str().expect("text");
    assert_eq!(field("content-digest"), format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(content))));
    let message: Value = serde_json::from_slice(content).expect("JSON");
    assert_eq!(field("idempotency-key"), message["id"]);
    let parameters = field("signature-input").strip_prefix("fociline=").expect("its label");
    let (names, rest) = parameters[1..].split_once(')').expect("a list");
    assert!(rest.ends_with(";keyid=\"bench-1\"") && rest.starts_with(";created="), "{rest}");
    let mut base = String::new();
    for name in names.split(' ').map(|name| name.trim_matches('"')) {
        let value = match name {
            "@method" => method.as_str(),
            "@target-uri" => url,
            field_name => field(field_name),
        };
        base += &format!("\"{name}\": {value}\n");
    }
    for needed in ["@method", "@target-uri", "content-digest"] {
        assert!(names.contains(needed), "{names}");
    }
    base += &format!("\"@signature-params\": {parameters}");
    let mut mac = Hmac::<Sha256>::new_from_slice(KEY).expect("any length");
    mac.update(base.as_bytes());
    let signature = STANDARD.encode(mac.finalize().into_bytes());
    assert_eq!(field("signature"), format!("fociline=:{signature}:"));
}

#[test]
fn events_go_on_after_the_last_one_that_was_seen() {
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound");
    let mut lab = Lab::new(|folder| {
        std::fs::write(folder.join("feed.key"), KEY).expect("written");
        format!("[[feed]]\nname = \"events\"\nat = \"http://{free}\"\nkey = \"feed.key\"\nfrom = \"start\"\n")
    });
    let mut station = lab.station();
    wait_for("the address", || TcpStream::connect(free).ok());
    assert!(
        stream(free, "", |line| line.starts_with("HTTP/1.1 401")).is_some(),
        "nobody reads without the key"
    );
    let proxy = Proxy::to(free, 5_000, 7);
    let got: Arc<Mutex<Vec<Value>>> = Arc::default();
    let kept = Arc::clone(&got);
    std::thread::spawn(move || {
        let mut last = String::new();
        let mut event = Value::Null;
        loop {
            let key = format!("Authorization: Bearer {}\r\n{last}", String::from_utf8_lossy(KEY));
            let _ = stream(proxy.at, &key, |line| {
                if let Some(data) = line.strip_prefix("data:") {
                    event = serde_json::from_str(data.trim()).unwrap_or(Value::Null);
                } else if line.is_empty() && !event.is_null() {
                    last = format!("Last-Event-ID: {}\r\n", event["seq"]);
                    kept.lock().expect("sound").push(event.take());
                }
                false
            });
            // Cut off in the middle of an event: it comes again.
            event = Value::Null;
        }
    });
    lab.measure(&mut station, 20);
    lab.complete(|| got.lock().expect("sound").clone());
    wait_for("the cursor", || lab.cursor("events").filter(|cursor| *cursor > 5));
    let say = |number: &str, key: &str| {
        let mut stream = TcpStream::connect(free).expect("it listens");
        let length = number.len();
        write!(stream, "POST / HTTP/1.1\r\nHost: {free}\r\nAuthorization: Bearer {key}\r\nContent-Type: text/plain\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{number}").expect("sent");
        BufReader::new(stream).lines().next().expect("an answer").expect("text")
    };
    let last = lab.entries("'verdict'").last().expect("judged").0;
    let key = String::from_utf8_lossy(KEY).into_owned();
    assert!(say("1", "open-barley").contains("401"));
    assert!(say("all", &key).contains("400") && say("99999999", &key).contains("400"));
    assert!(say(&last.to_string(), &key).contains("204"));
    wait_for("the cursor at the end", || lab.cursor("events").filter(|cursor| *cursor >= last));
    assert!(station.stop().success(), "{}", station.log());
}

/// Asks for events and looks at each line of the answer until one is what was looked for.
fn stream(at: SocketAddr, fields: &str, mut look: impl FnMut(&str) -> bool) -> Option<()> {
    let mut stream = TcpStream::connect(at).ok()?;
    write!(stream, "GET / HTTP/1.1\r\nHost: {at}\r\nAccept: text/event-stream\r\n{fields}\r\n").ok()?;
    BufReader::new(stream).lines().map_while(Result::ok).any(|line| look(line.trim_end())).then_some(())
}

#[test]
fn each_decided_job_has_its_ticket_in_the_folder_and_at_the_queue() {
    use std::os::unix::fs::PermissionsExt;
    let mut lab = Lab::new(|folder| {
        // A printing system that takes nothing at first; what it takes it keeps. The real one is tested
        // with `hand_over` itself.
        let lp = folder.join("lp");
        std::fs::write(&lp, "#!/bin/sh\n[ -e open ] || { echo 'lp: the queue is closed' >&2; exit 1; }\ncp \"$6\" printed/\necho \"$@\" >> lp.log\n")
            .expect("written");
        std::fs::set_permissions(&lp, std::fs::Permissions::from_mode(0o755)).expect("ours");
        std::fs::create_dir(folder.join("printed")).expect("a folder");
        "[[printer]]\nname = \"slips\"\nfolder = \"slips\"\nas = \"text\"\n\
         [[printer]]\nname = \"labels\"\nqueue = \"labels\"\n"
            .to_owned()
    });
    let order = r#"{"job":"4472","lens":"single-vision","mounted":true,"right":{"sphere":-1.25},"left":{"sphere":-1.25}}"#;
    std::fs::write(lab.path().join("orders/pair.jsonl"), order).expect("written");
    let mut station = lab.station();
    lab.send("JOB=4472 EYE=R S=-1.25 C=+0.00\r\n");
    station.line(&["4472", "INCOMPLETE"]);
    lab.measure(&mut station, 2);
    wait_for("a word on the queue", || station.log().contains("the queue is closed").then_some(()));
    std::fs::write(lab.path().join("open"), "").expect("written");

    let verdicts = lab.entries("'verdict'");
    let decided: Vec<u64> = verdicts
        .iter()
        .filter(|(_, verdict)| verdict["outcome"] != "incomplete")
        .map(|(seq, _)| *seq)
        .collect();
    assert_eq!((decided.len(), verdicts.len()), (2, 3));
    let names = |folder: &str, extension: &str| {
        let wanted: Vec<_> = decided.iter().map(|seq| format!("4471-{seq:010}.{extension}")).collect();
        let folder = lab.path().join(folder);
        wait_for("the tickets", || {
            let mut found: Vec<String> = std::fs::read_dir(&folder)
                .ok()?
                .map(|file| file.expect("readable").file_name().into_string().expect("text"))
                .filter(|name| !name.starts_with('.'))
                .collect();
            found.sort();
            (found == wanted).then_some(())
        });
        wanted.into_iter().map(|name| std::fs::read(folder.join(name)).expect("readable")).collect::<Vec<_>>()
    };
    for (ticket, seq) in names("slips", "txt").into_iter().zip(&decided) {
        let text = String::from_utf8(ticket).expect("text");
        assert!(
            text.contains("4471") && text.contains("FAIL") && text.contains(&format!(" {seq} of the ledger")),
            "{text}"
        );
    }
    assert!(names("printed", "pdf").iter().all(|pdf| pdf.starts_with(b"%PDF-")));
    let log = std::fs::read_to_string(lab.path().join("lp.log")).expect("printed");
    assert!(log.lines().all(|line| line.starts_with("-d labels -t 4471 -- /")), "{log}");
    assert!(station.stop().success());
}
