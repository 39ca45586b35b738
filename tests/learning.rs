//! From a port to a layout, as a technician does it: listen, learn, try, compare.

mod common;

use common::{Ran, fociline, ran, wait_for};
use fociline::station::pty::Pty;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::Stdio;

const SHOWN: &str = "capture,right_sphere,right_cylinder,right_axis,left_sphere,left_cylinder,left_axis\n\
    a.bin,-1.25,-0.50,91,,,\n\
    b.bin,,,,+2.75,-1.25,15\n\
    c.bin,-3.75,-0.75,170,,,\n\
    d.bin,,,,-0.50,-,-\n";

fn captures(folder: &Path) {
    for (name, bytes) in [
        ("a.bin", "R;-1.25;-0.50;91;ok\r\n"),
        ("b.bin", "L;+2.75;-1.25;15;ok\r\n"),
        ("c.bin", "R;-3.75;-0.75;170;ok\r\n"),
        ("d.bin", "L;-0.50;-.--;--;ok\r\n"),
    ] {
        std::fs::write(folder.join(name), bytes).expect("written");
    }
    std::fs::write(folder.join("shown.csv"), SHOWN).expect("written");
}

fn within(folder: &Path, args: &[&str]) -> Ran {
    let output = fociline(args).current_dir(folder).output().expect("starts");
    Ran {
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
        status: output.status.code().unwrap_or(-1),
    }
}

#[test]
fn a_layout_is_learnt_from_captures_and_reads_the_next_lens() {
    let folder = tempfile::tempdir().expect("a folder");
    captures(folder.path());
    let learnt = within(
        folder.path(),
        &["layout", "learn", "--shown", "shown.csv", "--name", "bench-7", "--out", "ours.toml"],
    );
    assert_eq!(learnt.status, 0, "{}", learnt.err);
    for said in [
        "The layout reads all 4 captures exactly as shown.",
        "    a.bin: read right\n    b.bin: read right\n    c.bin: read right\n    d.bin: refused: layout held-out, field cylinder",
        "Not seen yet",
        "anything but \"ok\" at field 5",
        "written to ours.toml",
    ] {
        assert!(learnt.err.contains(said), "{said}: {}", learnt.err);
    }
    assert!(!learnt.err.contains("UNDECIDED"), "{}", learnt.err);

    std::fs::write(folder.path().join("next.bin"), "L;+0.25;-2.00;5;ok\r\n").expect("written");
    let tried = within(folder.path(), &["layout", "try", "ours.toml", "next.bin"]);
    assert_eq!(tried.status, 0, "{}", tried.out);
    assert!(!tried.out.contains('\u{1b}'), "no colour where no terminal is");
    for said in [
        "frame 1, 20 bytes, by layout bench-7",
        "        0         10\n",
        "        L;+0.25;-2.00;5;ok\u{b7}\u{b7}\n        ^ ^^^^^ ^^^^^ ^ ====",
        "left.axis      5",
        "<CR><LF>  (0D 0A)",
    ] {
        assert!(tried.out.contains(said), "{said}: {}", tried.out);
    }

    // The same file is not written over, and a second name is.
    let again = within(folder.path(), &["layout", "learn", "--shown", "shown.csv", "--out", "ours.toml"]);
    assert_eq!(again.status, 3);
    assert!(again.err.contains("ours.toml") && again.err.contains("choose a new file"), "{}", again.err);
    let printed = within(
        folder.path(),
        &["layout", "learn", "d.bin", "a.bin", "b.bin", "c.bin", "--shown", "shown.csv"],
    );
    assert!(printed.out.contains("name  = \"ours\""), "{}", printed.out);
}

#[test]
fn what_is_undecided_or_contradicts_is_said_and_shows_in_the_exit_status() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("a.bin"), "R,1.25,91\r").expect("written");
    std::fs::write(folder.path().join("b.bin"), "L,2.75,15\r").expect("written");
    let learn = |csv: &str, more: &[&str]| {
        std::fs::write(folder.path().join("shown.csv"), csv).expect("written");
        within(folder.path(), &[&["layout", "learn", "--shown", "shown.csv"], more].concat())
    };
    let open = learn("capture;right_sphere;left_sphere\na.bin;1,25;\nb.bin;;2,75\n", &[]);
    assert_eq!(open.status, 1, "{}", open.err);
    assert!(
        open.err.contains("UNDECIDED") && open.err.contains("measure one lens with a minus sphere"),
        "{}",
        open.err
    );

    let wrong = learn("capture,right_sphere,left_sphere\na.bin,1.25,\nb.bin,,2.70\n", &[]);
    assert_eq!((wrong.status, wrong.out.as_str()), (2, ""), "{}", wrong.err);
    assert!(wrong.err.contains("no layout explains all samples"), "{}", wrong.err);

    for (csv, more, said) in [
        ("file,right_sphere\n", &[][..], "shown.csv:1: the first column is not called capture"),
        (
            "capture,right_spher\na.bin,1\n",
            &[],
            "shown.csv:2: right_spher = \"1\": expected one of the names",
        ),
        ("capture,right_sphere\nz.bin,1\n", &[], "z.bin: cannot be read"),
        ("capture,right_sphere\na.bin,1\n", &["a.bin", "b.bin"], "shown.csv: no line for the capture b.bin"),
        ("capture,right_sphere\na.bin,1\n", &["b.bin"], "shown.csv:2: a.bin is not among the captures given"),
        ("capture,right_sphere\na.bin,1\n", &["--name", "Bench 7"], "expected lower-case letters"),
        ("capture,right_sphere\na.bin,1.25\n", &[], "one measurement explains too much"),
    ] {
        let bad = learn(csv, more);
        assert_eq!(bad.status, 2, "{}", bad.err);
        assert!(bad.err.contains(said), "{said}: {}", bad.err);
    }
    let silent = within(folder.path(), &["layout", "learn", "a.bin", "b.bin"]);
    assert_eq!(silent.status, 2);
    assert!(silent.err.contains("Give --shown SHOWN.CSV"), "{}", silent.err);
}

#[test]
fn a_frame_that_is_not_read_shows_where_and_why() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("bad.txt"), "EYE=R S=-1.2x C=-0.50<CR><LF>\n").expect("written");
    let args = ["layout", "try", "tagged", "bad.txt", "--text"];
    let tried = within(folder.path(), &args);
    assert_eq!(tried.status, 1);
    let picture = "        EYE=R S=-1.2x C=-0.50\u{b7}\u{b7}\n        ::::^ ::!!!!X!!!!!!!!!!";
    assert!(tried.out.contains(picture), "{}", tried.out);
    assert!(tried.out.contains("NOT READ: layout tagged, field sphere, byte 12"), "{}", tried.out);

    let lines = within(folder.path(), &[&args[..], &["--json"]].concat()).out;
    let line: serde_json::Value = serde_json::from_str(&lines).expect("one line of JSON");
    assert_eq!(line["ended"], "complete");
    assert_eq!(
        line["spans"][1],
        serde_json::json!({"range": {"start": 4, "end": 5}, "what": "field", "name": "eye", "absent": false})
    );
    let last = line["spans"].as_array().and_then(|spans| spans.last()).expect("spans");
    assert_eq!(
        (&last["what"], &last["range"]["end"]),
        (&serde_json::json!("unread"), &serde_json::json!(23))
    );
    assert!(line["reject"].as_str().is_some_and(|why| why.contains("byte 12")));
}

/// A pseudo-terminal has no speed, so that the first try is heard right: what is tested is that
/// it is settled on, said, and that nothing of it is lost from the file. That other speeds are told
/// apart is tested on simulated lines.
#[test]
fn listening_without_settings_settles_says_why_and_saves() {
    let folder = tempfile::tempdir().expect("a folder");
    let pty = Pty::open().expect("a pseudo-terminal");
    let port = pty.path().to_str().expect("text").to_owned();
    let mut child = fociline(&["listen", &port])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    let said = BufReader::new(child.stderr.take().expect("piped"));
    let (send, lines) = std::sync::mpsc::channel();
    std::thread::spawn(move || said.lines().map_while(Result::ok).for_each(|line| drop(send.send(line))));
    let mut seen: Vec<String> = Vec::new();
    let mut until = |words: &str| {
        wait_for(words, || {
            seen.extend(lines.try_iter());
            seen.iter().find(|line| line.contains(words)).cloned()
        })
    };
    until("listening at 9600 8N1: measure a lens");
    let mut end = pty.end();
    end.write_all(b"R,-1.25,-0.50,91\r\n").expect("written");
    until("9600 8N1           18  100%      0%        2     100");
    until("Settled on 9600 8N1: 100 % is text");
    until("saving to capture-1.bin");
    let file = folder.path().join("capture-1.bin");
    let saved = || std::fs::read(&file).unwrap_or_default();
    wait_for("the first lens", || (saved() == b"R,-1.25,-0.50,91\r\n").then_some(()));
    until("open");
    end.write_all(b"L,+2.00,-0.75,5\r\n").expect("written");
    wait_for("the second lens", || (saved() == b"R,-1.25,-0.50,91\r\nL,+2.00,-0.75,5\r\n").then_some(()));
    drop(child.kill());
    drop(child.wait());
}

#[test]
fn comparing_layouts_names_past_frames_and_changes_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    captures(folder.path());
    let tagged = ran(&["layout", "show", "tagged"]).out;
    let tight = tagged
        .replace("tag = \"C\"\nis  = \"cylinder\"", "tag = \"C\"\nis  = \"cylinder\"\nunit = \"0.1 D\"");
    assert_ne!(tight, tagged);
    std::fs::write(folder.path().join("tight.toml"), tight).expect("written");
    let lines = "JOB=1 EYE=R S=-1.25 C=-0.50 A=91\r\nJOB=1 EYE=L S=-1.00\r\n";
    std::fs::write(folder.path().join("past.bin"), lines).expect("written");
    let replayed =
        within(folder.path(), &["replay", "past.bin", "--layout", "tagged", "--ledger", "l.ledger"]);
    assert_eq!(replayed.status, 0, "{}", replayed.err);

    let compare = |old: &str, new: &str| {
        within(folder.path(), &["layout", "compare", old, new, "--ledger", "l.ledger"])
    };
    let found = compare("tagged", "tight.toml");
    assert_eq!(found.status, 1, "{}", found.err);
    assert!(found.out.contains("    right.cylinder: -0.50 -> -0.050"), "{}", found.out);
    assert!(
        found.out.contains("1 frames would read otherwise, 1 alike, 0 are read by neither"),
        "{}",
        found.out
    );
    assert!(found.out.contains("Nothing was changed"), "{}", found.out);
    assert_eq!(compare("tagged", "tagged").status, 0);
    let never = compare("tight.toml", "tagged");
    assert_eq!(never.status, 2);
    assert!(never.err.contains("was never in force here. In force were: tagged ("), "{}", never.err);
    let verified = within(folder.path(), &["ledger", "verify", "--ledger", "l.ledger"]);
    assert_eq!(verified.status, 0, "{}", verified.out);
}

/// A technician at a terminal: measures three lenses and is asked what the display showed.
#[test]
fn without_a_file_a_technician_is_asked_one_by_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let (desk, line) = (Pty::open().expect("a pseudo-terminal"), Pty::open().expect("another"));
    let terminal = std::fs::OpenOptions::new().read(true).write(true).open(desk.path()).expect("opens");
    let port = line.path().to_str().expect("text");
    let mut child = fociline(&["layout", "learn", "--port", port, "--out", "ours.toml"])
        .current_dir(folder.path())
        .stdin(terminal)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    let mut said = child.stderr.take().expect("piped");
    let (send, pieces) = std::sync::mpsc::channel::<u8>();
    std::thread::spawn(move || {
        let mut byte = [0];
        while std::io::Read::read(&mut said, &mut byte).is_ok_and(|count| count == 1) {
            if send.send(byte[0]).is_err() {
                break;
            }
        }
    });
    let mut seen = String::new();
    // Waits for the prompt, which is taken off, and answers it.
    let mut answer = |prompt: &str, mut to: &std::fs::File, text: &str| {
        wait_for(prompt, || {
            seen.extend(pieces.try_iter().map(char::from));
            seen.find(prompt).map(|at| seen.drain(..at + prompt.len()).for_each(drop))
        });
        to.write_all(text.as_bytes()).expect("written");
    };
    let lenses = [
        ("R,-1.25,-0.50,91\r\n", "r", ["-1.25", "-0.50", "91"]),
        ("L,+2.75,-1.25,15\r\n", "l", ["2.75", "-1,25", "15"]),
        ("R,-0.50,--,--\r\n", "r", ["-0.5", "-", "-"]),
    ];
    for (number, (bytes, eye, values)) in lenses.into_iter().enumerate() {
        answer("Measure a lens now", line.end(), bytes);
        answer("For which lens", desk.end(), &format!("{eye}\n"));
        let side = if eye == "r" { "right" } else { "left" };
        if number == 0 {
            answer("right sphere: ", desk.end(), "banana\n");
            answer("expected a number such as -1.25", desk.end(), "");
        }
        for (name, value) in ["sphere", "cylinder", "axis"].into_iter().zip(values) {
            answer(&format!("{side} {name}: "), desk.end(), &format!("{value}\n"));
        }
        if number == 0 {
            // Everything is asked once; what had no answer is not asked again.
            for name in fociline::parsers::learn::Shown::names() {
                let bare = name.strip_prefix("right_").unwrap_or_default();
                if !matches!(bare, "" | "sphere" | "cylinder" | "axis") {
                    answer(&format!("right {bare}: "), desk.end(), "\n");
                }
            }
            answer("job: ", desk.end(), "\n");
            answer("mode: ", desk.end(), "\n");
        }
        if number > 0 {
            answer("Measure another lens?", desk.end(), if number == 2 { "n\n" } else { "y\n" });
        }
    }
    answer("written to ours.toml", desk.end(), "");
    drop(child.wait());
    let layout = std::fs::read_to_string(folder.path().join("ours.toml")).expect("written");
    assert!(layout.contains("missing  = [\"--\"]"), "{layout}");
    assert_eq!(std::fs::read(folder.path().join("ours-3.bin")).expect("kept"), b"R,-0.50,--,--\r\n");
}
