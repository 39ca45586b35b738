//! Settings files: what loads, and what is said of those that do not.

mod common;

use common::ran;
use fociline::station::settings::Settings;
use std::path::Path;

const GOOD: &str = r#"[station]
name   = "bench-1"
ledger = "bench-1.ledger"
rules  = "ansi-z80.1-2015"

[[instrument]]
name   = "focimeter-1"
port   = "/dev/ttyUSB0"
layout = "tagged"
"#;

fn refused(text: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("station.toml");
    std::fs::write(&path, text).expect("written");
    let said = Settings::load(&path).expect_err("refused").to_string();
    said.replace(&path.display().to_string(), "station.toml")
}

#[test]
fn the_example_loads_and_says_what_is_the_default() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/station.example.toml");
    let example = Settings::load(&path).expect("loads");
    assert_eq!(example.instruments.len(), 2);
    assert_eq!(example.scanners.len(), 1);
    let folder = tempfile::tempdir().expect("a folder");
    let filled = std::fs::read_to_string(&path).expect("reads");
    let filled: String = filled
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(key) if key.contains(" = ") => format!("{key}\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    assert_ne!(filled.matches("\nbaud ").count(), 1, "the defaults are there to be uncommented");
    for secret in ["feed.key", "broker.password"] {
        std::fs::write(folder.path().join(secret), "tarnvale-secret\n").expect("written");
    }
    let with_defaults = folder.path().join("station.toml");
    std::fs::write(&with_defaults, filled).expect("written");
    let with_defaults = Settings::load(&with_defaults).expect("the keys that are commented out are sound");
    assert_eq!(with_defaults.instruments[0].port, example.instruments[0].port);
    assert_eq!(with_defaults.job_hold, example.job_hold);
    assert_eq!(with_defaults.feeds[0], example.feeds[0], "what is commented out is the default");
    assert_eq!(example.feeds.len(), 8, "seven feeds and a printer");
    assert_eq!(with_defaults.feeds[7], example.feeds[7]);
    let page = example.page.expect("a page");
    let filled = with_defaults.page.expect("a page");
    assert_eq!((page.sign_in, page.idle, &page.names), (filled.sign_in, filled.idle, &filled.names));
    assert_eq!(page.people.file_name(), filled.people.file_name());
    assert_eq!(page.tls, None, "on this computer alone");
    assert!(filled.tls.is_some_and(|tls| !tls.own && tls.key.ends_with("bench-1.key")));
}

#[test]
fn a_mistake_is_said_with_its_line_and_what_is_expected() {
    for (change, to, said) in [
        ("name   = \"bench-1\"", "nam = \"bench-1\"", "station.toml:2: unknown field `nam`"),
        (
            "layout = \"tagged\"",
            "layout = \"taged\"",
            "station.toml:9: no layout is called \"taged\": expected tagged",
        ),
        (
            "rules  = \"ansi-z80.1-2015\"",
            "rules = \"iso\"",
            "station.toml:4: no rule set is called \"iso\": expected ansi-z80.1-2015",
        ),
        (
            "layout = \"tagged\"",
            "layout = \"tagged\"\nbaud = 9",
            "station.toml:10: baud = 9: expected 50 to 4000000",
        ),
        (
            "layout = \"tagged\"",
            "layout = \"tagged\"\nparity = \"mark\"",
            "station.toml:10: parity = \"mark\": expected one of \"none\", \"odd\", \"even\"",
        ),
        (
            "layout = \"tagged\"",
            "layout = \"tagged\"\ndata_bits = 9",
            "station.toml:10: data_bits = 9: expected one of 5, 6, 7, 8",
        ),
        ("layout = \"tagged\"", "", "station.toml:7: this instrument has no layout"),
        (
            "layout = \"tagged\"",
            "layout = \"tagged\"\n[[scanner]]\nname = \"s\"\nport = \"/dev/ttyUSB0\"",
            "station.toml:12: port \"/dev/ttyUSB0\" is used on line 8 already",
        ),
        (
            "layout = \"tagged\"",
            "layout = \"tagged\"\n[[scanner]]\nname = \"focimeter-1\"\nport = \"/dev/ttyS0\"",
            "station.toml:11: name \"focimeter-1\" is used on line 7 already",
        ),
        ("[station]", "[station", "station.toml:1: "),
        ("layout = \"tagged\"", "layout = \"missing.toml\"", "station.toml:9: layout "),
    ] {
        assert!(GOOD.contains(change), "{change}");
        let found = refused(&GOOD.replacen(change, to, 1));
        assert!(found.contains(said), "{found}\nexpected: {said}");
        assert!(!found.contains('\n') || found.starts_with(said), "one message: {found}");
    }
}

#[test]
fn a_mistake_in_a_feed_is_said_with_its_line() {
    for (keys, said) in [
        ("", "station.toml:11: a feed goes one way: expected one of to ="),
        ("to = \"tcp://h:1\"\nfolder = \"out\"", "station.toml:11: a feed goes one way"),
        ("to = \"tcp://h\"", "station.toml:12: to: expected \"tcp://HOST:PORT\""),
        ("to = \"ftp://h/x\"", "station.toml:12: to: expected"),
        ("to = \"unix:\"", "station.toml:12: to: expected"),
        ("to = \"http://u:p@h/\"", "station.toml:12: to: secrets have no place here"),
        ("to = \"mqtt://h\"", "station.toml:12: to: expected what topics begin with"),
        ("to = \"mqtt://h/a/#\"", "station.toml:12: to: "),
        ("to = \"mqtt://h/a+b\"", "station.toml:12: to: expected what topics begin with"),
        (
            "at = \"tcp://0.0.0.0:9100\"",
            "station.toml:12: at: beyond this computer a receiver has to know a key",
        ),
        ("at = \"http://[::]:9100\"", "station.toml:12: at: beyond this computer"),
        ("at = \"tcp://localhost\"", "station.toml:12: at: expected \"tcp://ADDRESS:PORT\""),
        ("run = []", "station.toml:12: run: expected a program"),
        (
            "folder = \"o\"\nkinds = [\"reading\",\n\"verdicts\"]",
            "station.toml:14: kinds: expected some of frame, reading",
        ),
        ("folder = \"o\"\nfrom = \"then\"", "station.toml:13: from: expected \"start\""),
        ("folder = \"o\"\nkey = \"k\"", "station.toml:13: key has no meaning for a feed of this kind"),
        ("folder = \"o\"\nacknowledge = false", "station.toml:13: acknowledge has no meaning"),
        ("to = \"tcp://h:1\"\nca = \"k\"", "station.toml:13: ca has no meaning"),
        ("to = \"https://h/x\"\nuser = \"k\"", "station.toml:13: user has no meaning"),
        ("to = \"mqtt://h/x\"\nuser = \"k\"", "station.toml:13: user: expected password = \"FILE\" too"),
        ("to = \"https://h/x\"\nkey = \"missing\"", "missing cannot be read"),
        (
            "at = \"unix:s\"\n[[feed]]\nname = \"b\"\nat = \"unix:s\"",
            "station.toml:15: at \"unix:s\" is used on line 12 already",
        ),
    ] {
        let found = refused(&format!("{GOOD}[[feed]]\nname = \"host\"\n{keys}\n"));
        assert!(found.contains(said), "{found}\nexpected: {said}");
    }
    for (keys, said) in [
        ("", "station.toml:11: tickets go one way"),
        ("queue = \"a\"\nfolder = \"b\"", "station.toml:11: tickets go one way"),
        ("queue = \" \"", "station.toml:12: queue is empty"),
        ("queue = \"a\"\nas = \"ps\"", "station.toml:13: as: expected \"pdf\" or \"text\""),
        ("queue = \"a\"\nsize = \"9\"", "station.toml:13: size: expected a width"),
        ("queue = \"a\"\ncolumns = 32", "station.toml:13: columns are those of text"),
        ("queue = \"a\"\nas = \"text\"\nsize = \"80\"", "station.toml:14: size is that of a PDF"),
        ("queue = \"a\"\nas = \"text\"\ncolumns = 3", "station.toml:14: columns: expected"),
    ] {
        let found = refused(&format!("{GOOD}[[printer]]\nname = \"tickets\"\n{keys}\n"));
        assert!(found.contains(said), "{found}\nexpected: {said}");
    }
    let twice = format!("{GOOD}[[feed]]\nname = \"focimeter-1\"\nfolder = \"out\"\n");
    assert!(refused(&twice).contains("station.toml:11: name \"focimeter-1\" is used on line 7 already"));
}

#[test]
fn a_bad_file_ends_with_status_2_and_leaves_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("station.toml");
    std::fs::write(&path, GOOD.replace("tagged", "taged")).expect("written");
    let run = ran(&["run", "--station", path.to_str().expect("text")]);
    assert_eq!(run.status, 2);
    assert_eq!(run.err.lines().count(), 1, "{}", run.err);
    assert!(!folder.path().join("bench-1.ledger").exists());
}

#[test]
fn a_lab_s_own_layout_and_rule_set_are_files_beside_the_settings() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("written");
    write(
        "ours.toml",
        "name = \"ours\"\ntitle = \"Ours\"\n[frame]\nend = \"any newline\"\n[[line]]\nform = \"delimited\"\nseparator = \",\"\n\
         [[line.field]]\nis = \"job\"\n[[line.field]]\nis = \"sphere\"\neye = \"right\"\n",
    );
    write(
        "tight.toml",
        &std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/rules/tarnvale.toml"))
            .expect("reads"),
    );
    write(
        "station.toml",
        &GOOD.replace("\"tagged\"", "\"ours.toml\"").replace("\"ansi-z80.1-2015\"", "\"./tight.toml\""),
    );
    let settings = Settings::load(&folder.path().join("station.toml")).expect("loads");
    let reading = settings.instruments[0].reader.read(b"4471,-1.25\r\n").expect("reads");
    assert_eq!(reading.right.expect("right").sphere.expect("sphere").to_string(), "-1.25");
    assert_eq!(settings.ledger, folder.path().join("bench-1.ledger"));
}

#[test]
fn several_layouts_on_one_port_need_the_same_frames() {
    let folder = tempfile::tempdir().expect("a folder");
    let tagged = fociline::parsers::reader::Reader::named("tagged").expect("built in");
    let own = tagged.text().replace("name  = \"tagged\"", "name  = \"own\"");
    std::fs::write(folder.path().join("own.toml"), own).expect("written");
    let path = folder.path().join("station.toml");
    let with = |layout: &str| {
        std::fs::write(&path, GOOD.replace("\"tagged\"", layout)).expect("written");
        Settings::load(&path).map(|settings| settings.instruments[0].reader.name().to_owned())
    };
    assert_eq!(with("[\"tagged\", \"own.toml\"]").expect("loads"), "tagged or own");
    assert_eq!(with("[\"tagged\"]").expect("loads"), "tagged");
    let said = |layout: &str| with(layout).expect_err("refused").to_string();
    assert!(
        said("[\"tagged\", \"block\"]")
            .contains("station.toml:9: layouts tagged and block cut frames differently")
    );
    assert!(said("[\n\"tagged\",\n\"taged\"]").contains("station.toml:11: no layout is called \"taged\""));
    assert!(said("[\"tagged\", \"tagged\"]").contains("tagged is named twice"));
    assert!(said("[]").contains("no layout is named"));
    assert!(said("7").contains("expected a layout's name, or a list of them"), "{}", said("7"));
}
