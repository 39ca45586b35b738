//! Tickets handed to a queue: to a real CUPS of the test's own, and to a stand-in that shows what
//! it is given.

use super::cases::named;
use fociline::ticket::queue::{QueueError, hand_over_with};
use std::io::Read;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// How long anything may take before the test gives up. Nothing is measured against it.
const PATIENCE: Duration = Duration::from_secs(30);

fn script(path: &Path, text: &str) {
    std::fs::write(path, format!("#!/bin/sh\n{text}\n")).expect("written");
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).expect("executable");
}

fn ticket_in(folder: &Path) -> PathBuf {
    let file = folder.join("ticket.pdf");
    std::fs::write(&file, named("fail").ticket().pdf("80".parse().expect("a size")).expect("fits"))
        .expect("written");
    file
}

/// CUPS on a socket of its own, with one raw queue `labels` for a printer at a TCP port.
struct Cups {
    daemon: Child,
    folder: TempDir,
}

impl Cups {
    fn start(printer: u16) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let at = folder.path();
        // Its helpers run as another user.
        std::fs::set_permissions(at, std::fs::Permissions::from_mode(0o755)).expect("readable");
        for inside in ["root/ppd", "run/certs", "spool/tmp", "cache", "log"] {
            std::fs::create_dir_all(at.join(inside)).expect("a folder");
        }
        let place = at.display();
        let files = format!(
            "ServerRoot {place}/root\nStateDir {place}/run\nRequestRoot {place}/spool\nTempDir {place}/spool/tmp\n\
             CacheDir {place}/cache\nAccessLog {place}/log/access\nErrorLog {place}/log/error\nPageLog {place}/log/page\n"
        );
        std::fs::write(at.join("files.conf"), files).expect("written");
        let settings = format!(
            "Listen {place}/cups.sock\nBrowsing Off\nDefaultAuthType None\n\
             <Location />\n  Order allow,deny\n  Allow all\n</Location>\n\
             <Policy default>\n  <Limit All>\n    Order deny,allow\n  </Limit>\n</Policy>\n"
        );
        std::fs::write(at.join("cupsd.conf"), settings).expect("written");
        script(&at.join("lp"), &format!("CUPS_SERVER={place}/cups.sock exec lp \"$@\""));
        let cupsd = if Path::new("/usr/sbin/cupsd").exists() { "/usr/sbin/cupsd" } else { "cupsd" };
        let daemon = Command::new(cupsd)
            .args(["-f", "-c"])
            .arg(at.join("cupsd.conf"))
            .arg("-s")
            .arg(at.join("files.conf"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("cupsd is there: contrib/check installs it");
        let cups = Self { daemon, folder };
        let since = Instant::now();
        let uri = format!("socket://127.0.0.1:{printer}");
        while !cups.runs("lpadmin", &["-p", "labels", "-E", "-v", &uri, "-m", "raw"]) {
            let log = std::fs::read_to_string(cups.folder.path().join("log/error")).unwrap_or_default();
            assert!(since.elapsed() < PATIENCE, "no queue could be made:\n{log}");
            std::thread::sleep(Duration::from_millis(50));
        }
        cups
    }

    fn runs(&self, program: &str, args: &[&str]) -> bool {
        let done = Command::new(program)
            .args(args)
            .env("CUPS_SERVER", self.folder.path().join("cups.sock"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
        done.expect("it is there: contrib/check installs it").success()
    }
}

impl Drop for Cups {
    fn drop(&mut self) {
        let _ = self.daemon.kill();
        let _ = self.daemon.wait();
    }
}

#[test]
fn a_printer_behind_cups_gets_the_very_file() {
    let printer = TcpListener::bind("127.0.0.1:0").expect("a port");
    let cups = Cups::start(printer.local_addr().expect("bound").port());
    let printing = std::thread::spawn(move || {
        let (mut line, _) = printer.accept().expect("CUPS connects");
        let mut bytes = Vec::new();
        line.read_to_end(&mut bytes).expect("read");
        bytes
    });
    let file = ticket_in(cups.folder.path());
    let lp = cups.folder.path().join("lp");
    let said = hand_over_with(&lp, "labels", "Job 4471: FAIL", &file).expect("taken");
    assert!(said.starts_with("request id is labels-1"), "{said}");
    let since = Instant::now();
    while !printing.is_finished() {
        let log = std::fs::read_to_string(cups.folder.path().join("log/error")).unwrap_or_default();
        assert!(since.elapsed() < PATIENCE, "nothing came to the printer:\n{log}");
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(printing.join().expect("read") == std::fs::read(&file).expect("read"));

    let refused = hand_over_with(&lp, "nowhere", "Job 4471: FAIL", &file).expect_err("no such queue");
    let words = refused.to_string();
    assert!(words.contains("\"nowhere\"") && words.contains("does not exist"), "{words}");
}

#[test]
fn every_argument_is_given_as_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let program = folder.path().join("lp");
    script(&program, "for argument in \"$@\"; do printf '[%s]' \"$argument\"; done");
    let file = ticket_in(folder.path());
    let said = hand_over_with(&program, "labels", "Job $(id) `id` \"'; -d other", &file).expect("taken");
    let path = file.display();
    assert_eq!(said, format!("[-d][labels][-t][Job $(id) `id` \"'; -d other][--][{path}]"));
}

#[test]
fn what_the_program_says_is_in_the_error() {
    let folder = tempfile::tempdir().expect("a folder");
    let program = folder.path().join("lp");
    script(&program, "echo 'out of labels' >&2; exit 3");
    let file = ticket_in(folder.path());
    let refused = hand_over_with(&program, "labels", "Job 4471", &file).expect_err("refused");
    assert!(matches!(&refused, QueueError::Refused { said, .. } if said == "out of labels"), "{refused}");
    assert!(refused.to_string().contains("exit status: 3"), "{refused}");
    let none = hand_over_with(&folder.path().join("none"), "labels", "Job 4471", &file).expect_err("no such");
    assert!(matches!(none, QueueError::Start { .. }), "{none}");
}
