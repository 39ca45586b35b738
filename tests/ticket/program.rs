//! `fociline ticket`, as it is called.

use super::cases::named;
use fociline::bench::entry::*;
use fociline::ledger::{Ledger, Reader};
use fociline::ticket::{self, TicketError};
use jiff::tz::TimeZone;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn with_settings(folder: &Path) -> String {
    let settings = "[station]\nname = \"tarnvale-2\"\nledger = \"bench.ledger\"\nrules = \"ansi-z80.1-2015\"\n\
                    [[instrument]]\nname = \"focimeter-1\"\nport = \"/dev/null\"\nlayout = \"tagged\"\n";
    let file = folder.join("station.toml");
    std::fs::write(&file, settings).expect("written");
    file.to_str().expect("text").to_owned()
}

fn ran(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fociline"));
    command.arg("ticket").args(args).env("TZ", "UTC").stdin(Stdio::null()).output().expect("it starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

#[test]
fn a_ticket_is_printed_or_written() {
    let case = named("fail");
    let (folder, ..) = case.recorded();
    let station = with_settings(folder.path());
    let out = ran(&["4471", "--station", &station]);
    assert_eq!((out.status.code(), text(&out.stdout)), (Some(0), case.ticket().text(32)));
    let narrow = ran(&["4471", "--station", &station, "--columns", "20"]);
    assert_eq!(text(&narrow.stdout), case.ticket().text(20));
    let file = folder.path().join("ticket.pdf");
    let as_file = ["4471", "--station", &station, "--as", "pdf", "--size", "62x29", "--out"];
    let out = ran(&[&as_file[..], &[file.to_str().expect("text")]].concat());
    assert!(out.status.success() && out.stdout.is_empty(), "{}", text(&out.stderr));
    let wanted = case.ticket().pdf("62x29".parse().expect("a size")).expect("it fits");
    assert!(std::fs::read(&file).expect("written") == wanted);
    assert!(wanted.starts_with(b"%PDF-"));
}

#[test]
fn what_cannot_be_is_said() {
    let (folder, ..) = named("fail-many").recorded();
    let station = with_settings(folder.path());
    for (args, said) in [
        (&["4712"][..], "there is no job 4712 in the ledger"),
        (
            &["TL-2026-004471", "--as", "pdf", "--size", "62x29"],
            "does not fit on 62x29 mm: it needs a height of",
        ),
        (&["TL-2026-004471", "--size", "8"], "expected a width from 40 to 210 mm"),
        (&["TL-2026-004471", "--columns", "15"], "16..=200"),
    ] {
        let out = ran(&[args, &["--station", &station]].concat());
        assert_eq!((out.status.code(), text(&out.stdout)), (Some(2), String::new()), "{args:?}");
        assert!(text(&out.stderr).contains(said), "{args:?}: {}", text(&out.stderr));
    }
}

#[test]
fn a_verdict_that_does_not_count_any_more_has_no_ticket() {
    let (folder, record, verdict) = named("pass").recorded();
    let job = "4471".parse().expect("a job");
    assert!(ticket::of_job(&record, &job, "tarnvale-2", &TimeZone::UTC).is_ok());
    let note = NoteEntry {
        about: Seq(2),
        says: Says::Void,
        reason: "the lens slipped".to_owned(),
        by: "A. Technician".to_owned(),
        job: Some(job.clone()),
        eye: None,
        job_before: None,
    };
    let time = "2026-11-25T08:20:00Z".parse().expect("a time");
    let path = folder.path().join("bench.ledger");
    let next = Numbered { seq: verdict.next(), time, entry: Entry::Note(note) };
    Ledger::open(&path).expect("opens").append(&[next]).expect("written");
    let record = Reader::open(&path).expect("opens");
    let of_job = ticket::of_job(&record, &job, "tarnvale-2", &TimeZone::UTC);
    assert!(matches!(of_job, Err(TicketError::NotJudged(_))), "{of_job:?}");
    for other in [Seq(1), Seq(99)] {
        let of = ticket::of(&record, other, "tarnvale-2", &TimeZone::UTC);
        assert!(matches!(of, Err(TicketError::NotAVerdict(seq)) if seq == other), "{of:?}");
    }
}
