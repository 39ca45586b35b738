//! Commands as a script or a technician uses them.

mod common;

use common::{Ran, ran};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const ORDER: &str = r#"{"job":"4471","lens":"single-vision","mounted":false,"right":{"sphere":-1.25,"cylinder":-0.50,"axis":90}}"#;

struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }
    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn with(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        std::fs::write(self.path(name), text).expect("written");
        self.name(name)
    }
    fn name(&self, name: &str) -> String {
        self.path(name).to_str().expect("text").to_owned()
    }
}

fn run(args: &[&str]) -> Ran {
    ran(args)
}

#[test]
fn judge_prints_a_verdict_and_its_status_says_how_it_came_out() {
    let folder = Folder::new();
    let order = folder.with("order.json", ORDER);
    let judge = |reading: &str, rules: &str| {
        let reading = folder.with("reading.json", reading);
        run(&["judge", "--order", &order, "--reading", &reading, "--rules", rules, "--json"])
    };
    let pass = judge(r#"{"right":{"sphere":"-1.75","cylinder":0.50,"axis":0}}"#, "ansi-z80.1-2015");
    assert_eq!(pass.status, 0, "{}{}", pass.out, pass.err);
    let verdict: serde_json::Value = serde_json::from_str(&pass.out).expect("JSON");
    assert_eq!(verdict["outcome"], "pass");
    assert_eq!(verdict["items"][0]["measured"].to_string(), "-1.25");
    // The axis limit for 0.50 D: 7 degrees by ANSI, 2 by the New Jersey code.
    let reading = r#"{"right":{"sphere":-1.25,"cylinder":-0.50,"axis":94}}"#;
    assert_eq!(judge(reading, "ansi-z80.1-2015").status, 0);
    assert_eq!(judge(reading, "njac-13-35-5.2").status, 1);
    assert_eq!(judge(r#"{"right":{"sphere":-1.25}}"#, "iso-21987-2017").status, 1);

    for (reading, said) in [
        (r#"{"right":{"sphre":-1.25}}"#, "reading.json: reading, line 1"),
        (r#"{"job":"9","right":{"sphere":-1.25}}"#, "the reading is of job 9, the order of job 4471"),
        ("nonsense", "reading.json: reading, line 1"),
    ] {
        let bad = judge(reading, "ansi-z80.1-2015");
        assert_eq!((bad.status, bad.err.lines().count(), bad.out.as_str()), (2, 1, ""), "{}", bad.err);
        assert!(bad.err.contains(said), "{}", bad.err);
    }
    let unknown = judge(r#"{"right":{"sphere":-1.25}}"#, "unheard-of");
    assert_eq!(unknown.status, 2);
    assert!(unknown.err.contains("expected ansi-z80.1-2015"), "{}", unknown.err);
}

#[test]
fn the_demo_shows_pass_fail_and_incomplete_and_leaves_a_sound_ledger() {
    let demo = run(&["demo", "--once"]);
    assert_eq!(demo.status, 0, "{}{}", demo.out, demo.err);
    for line in ["PASS       4471, 4473, 4475", "FAIL       4472", "INCOMPLETE 4474"] {
        assert!(demo.out.contains(line), "{line} in {}", demo.out);
    }
    let ledger =
        demo.out.lines().find_map(|line| line.split_once("entries in ")).expect("the ledger is named").1;
    for command in ["verify", "rederive"] {
        assert_eq!(run(&["ledger", command, "--ledger", ledger]).status, 0);
    }
    assert!(!demo.out.contains("PORT LOST: the device is gone\n\nHow"), "{}", demo.out);
    std::fs::remove_dir_all(Path::new(ledger).parent().expect("in a folder")).expect("removed");
}

#[test]
fn recorded_bytes_are_replayed_into_a_ledger_and_corrected_there() {
    let folder = Folder::new();
    let ledger = folder.name("a.ledger");
    let orders = folder.with("orders.jsonl", format!("{ORDER}\n{}\n", ORDER.replace("4471", "4472")));
    assert_eq!(run(&["order", "add", "--ledger", &ledger, &orders]).status, 0);
    let bytes = folder.with(
        "capture.bin",
        "JOB=4471 EYE=R S=-1.25 C=-0.50 A=90\r\nnoise\r\nEYE=R S=-1.25 C=-0.50 A=99\r\n",
    );
    let replayed = run(&["replay", "--layout", "tagged", "--ledger", &ledger, &bytes]);
    assert_eq!(replayed.status, 0, "{}", replayed.err);
    assert!(replayed.out.starts_with("3 frames replayed"), "{}", replayed.out);

    let unassigned = run(&["ledger", "search", "--ledger", &ledger, "--instrument", "replay", "--json"]);
    let last: serde_json::Value =
        serde_json::from_str(unassigned.out.lines().next().expect("found")).expect("JSON");
    assert_eq!(last["kind"], "reading");
    let seq = last["seq"].to_string();
    let assign = |job: &str| {
        run(&[
            "ledger",
            "assign",
            "--ledger",
            &ledger,
            &seq,
            "--job",
            job,
            "--reason",
            "late scan",
            "--by",
            "tech",
        ])
    };
    let assigned = assign("4472");
    assert!(assigned.out.contains("job 4472 FAIL"), "{}{}", assigned.out, assigned.err);
    let moved = assign("4471");
    assert!(moved.out.contains("job 4471 FAIL"), "{}{}", moved.out, moved.err);
    let void = run(&["ledger", "void", "--ledger", &ledger, &seq, "--reason", "slipped", "--by", "tech"]);
    assert!(void.out.contains("job 4471 PASS"), "{}{}", void.out, void.err);
    let twice = run(&["ledger", "void", "--ledger", &ledger, &seq, "--reason", "slipped"]);
    assert_eq!(twice.status, 2);
    for command in ["verify", "rederive"] {
        let proved = run(&["ledger", command, "--ledger", &ledger]);
        assert_eq!(proved.status, 0, "{}", proved.out);
    }
    let export = run(&["ledger", "export", "--ledger", &ledger, "--table", "verdicts", "--format", "jsonl"]);
    assert_eq!(export.out.lines().count(), 4, "{}", export.out);
}

#[test]
fn order_files_with_bad_rows_keep_the_good_ones_and_say_which_are_bad() {
    let folder = Folder::new();
    let ledger = folder.name("a.ledger");
    let orders = folder.with(
        "orders.csv",
        "job;lens;mounted;right_sphere;right_cylinder;right_axis\n1;single-vision;yes;-1,25;;\n2;bifocal;yes;-1,25;;\n",
    );
    let added = run(&["order", "add", "--ledger", &ledger, &orders]);
    assert_eq!(added.status, 2);
    assert!(added.err.contains("orders.csv: line 3, lens"), "{}", added.err);
    let listed = run(&["order", "list", "--ledger", &ledger]);
    assert_eq!(listed.out.lines().count(), 1, "{}", listed.out);
    let shown = run(&["order", "show", "--ledger", &ledger, "1", "--json"]);
    assert!(shown.out.contains(r#""sphere":-1.25"#), "{}", shown.out);
    assert_eq!(run(&["order", "show", "--ledger", &ledger, "2"]).status, 1);
}

#[test]
fn a_layout_is_tried_on_a_capture() {
    let folder = Folder::new();
    let capture = folder.with("capture.txt", "EYE=R S=-1.25 C=+0.50 A=180<CR><LF>\nEYE=R S=x<CR><LF>\n");
    let tried = run(&["layout", "try", "tagged", &capture, "--text", "--json"]);
    assert_eq!(tried.status, 1, "one frame is not read");
    let lines: Vec<serde_json::Value> =
        tried.out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(lines[0]["reading"]["right"]["sphere"].to_string(), "-0.75");
    assert_eq!(lines[0]["reading"]["right"]["as_sent"]["cylinder"].to_string(), "0.50");
    assert!(lines[1]["reject"].as_str().expect("a reason").contains("field sphere, byte 8"), "{}", lines[1]);
    for name in ["tagged", "delimited", "columns", "block", "terse"] {
        assert!(run(&["layout", "list"]).out.contains(name));
        assert!(run(&["layout", "show", name]).out.contains("[[line]]"));
    }
}

#[test]
fn help_tells_exit_statuses_and_cautions() {
    let help = run(&["--help"]).out;
    for words in ["Exit status", "do not\nreplace it", "licensed person"] {
        assert!(help.replace("do not replace it", "do not\nreplace it").contains(words), "{words}");
    }
}
