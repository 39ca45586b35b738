//! The directions of use that DEVELOPERS.md promises, read from the code itself.

use std::path::{Path, PathBuf};

/// Each place and the places it may use, in the order in which data passes.
const MAY_USE: &[(&str, &[&str])] = &[
    ("optics", &["parsers"]),
    ("order", &["parsers", "optics"]),
    ("judge", &["parsers", "optics", "order"]),
    ("check", &["parsers", "optics", "order", "judge"]),
    ("evidence", &[]),
    ("bench", &["parsers", "optics", "order", "judge", "check", "evidence"]),
    ("ledger", &["parsers", "optics", "order", "judge", "check", "bench"]),
    ("ticket", &["parsers", "order", "judge", "bench", "ledger"]),
    ("report", &["parsers", "optics", "order", "judge", "check", "evidence", "bench", "ledger"]),
    ("station", &["parsers", "optics", "order", "judge", "check", "bench", "ledger", "ticket"]),
    ("bridge", &["parsers", "optics", "order", "judge", "check", "bench", "ledger", "ticket", "station"]),
    (
        "page",
        &[
            "parsers", "optics", "order", "judge", "check", "evidence", "bench", "ledger", "report",
            "station", "bridge",
        ],
    ),
    (
        "cli",
        &[
            "parsers", "optics", "order", "judge", "check", "evidence", "bench", "ledger", "ticket",
            "report", "station", "bridge", "page",
        ],
    ),
];

/// Places that know nothing of the world outside.
const PURE: &[&str] = &["optics", "order", "judge", "check", "bench", "evidence"];

/// What a pure place never names: disks, sockets, clocks, chance, the database and the runtime.
const WORLD: &[&str] = &[
    "std::fs",
    "std::net",
    "std::io",
    "std::env",
    "std::process",
    "std::thread",
    "std::time",
    "tokio",
    "rusqlite",
    "serialport",
    "tracing",
    "Timestamp::now",
    "ZonedDateTime::now",
    "rand::",
];

fn sources(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap_or_else(|why| panic!("{}: {why}", folder.display())) {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            let text = std::fs::read_to_string(&path).expect("readable");
            let code: String = text
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .map(|line| format!("{line}\n"))
                .collect();
            found.push((path, code));
        }
    }
    found
}

fn src(place: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(place)
}

/// The places that a code names: `crate::place` and, inside braces, `place::`.
fn named(code: &str) -> Vec<String> {
    code.match_indices("crate::")
        .map(|(at, found)| {
            code[at + found.len()..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
        })
        .collect()
}

#[test]
fn every_place_uses_only_what_stands_before_it() {
    for (place, allowed) in MAY_USE {
        for (path, code) in sources(&src(place)) {
            assert!(!code.contains("crate::{"), "{}: name each place in a `use` of its own", path.display());
            for used in named(&code) {
                let fine = used == *place || allowed.contains(&used.as_str());
                assert!(fine, "{}: {place} must not use crate::{used}", path.display());
            }
        }
    }
}

#[test]
fn every_place_is_under_the_rule() {
    for entry in std::fs::read_dir(src("")).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            let name = path.file_name().expect("named").to_string_lossy().into_owned();
            assert!(
                MAY_USE.iter().any(|(place, _)| *place == name),
                "src/{name} stands under no rule of use"
            );
        }
    }
}

#[test]
fn the_core_knows_nothing_of_the_world() {
    let parsers = Path::new(env!("CARGO_MANIFEST_DIR")).join("parsers/src");
    let pure = PURE.iter().map(|place| src(place)).chain([parsers]);
    for (path, code) in pure.flat_map(|folder| sources(&folder)) {
        for word in WORLD {
            assert!(!code.contains(word), "{}: {word} has no place here", path.display());
        }
    }
}

/// Fractions on record come back to the last bit. The tests' own libraries turn this on too, so
/// that no test of a reading could see it missing from the program.
#[test]
fn the_program_itself_reads_fractions_exactly() {
    let tree = std::process::Command::new(env!("CARGO"))
        .args(["tree", "--offline", "--edges", "normal,features", "--invert", "serde_json"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(tree.status.success(), "{}", String::from_utf8_lossy(&tree.stderr));
    assert!(String::from_utf8_lossy(&tree.stdout).contains("float_roundtrip"), "see Cargo.toml");
}
