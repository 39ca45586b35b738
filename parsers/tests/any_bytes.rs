//! Whatever the bytes: no panic, and every byte accounted for exactly once.

use fociline_parsers::layout::{Layout, What};
use fociline_parsers::notation;
use fociline_parsers::reader::Reader;
use proptest::prelude::*;
use std::path::Path;
use std::sync::LazyLock;

/// Every recorded frame of every reader: what arbitrary bytes would take years to come near.
static RECORDED: LazyLock<Vec<(String, Vec<u8>)>> = LazyLock::new(|| {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/frames");
    let mut frames = Vec::new();
    for folder in std::fs::read_dir(root).unwrap() {
        let folder = folder.unwrap();
        for file in std::fs::read_dir(folder.path()).unwrap() {
            let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
            let file: serde_json::Value = serde_json::from_str(&text).unwrap();
            for case in file["cases"].as_array().unwrap() {
                for frame in case["frames"].as_array().unwrap() {
                    let bytes = notation::from_text(frame["bytes"].as_str().unwrap()).unwrap();
                    frames.push((folder.file_name().into_string().unwrap(), bytes));
                }
            }
        }
    }
    assert!(frames.len() > 100, "the recorded frames are found");
    frames
});

fn check(layout: &Layout, frame: &[u8]) {
    let account = layout.account(frame);
    assert_eq!(account.result, layout.read(frame), "account and read agree");
    let mut at = 0;
    for span in &account.spans {
        assert_eq!(span.range.start, at, "{:?}", account.spans);
        assert!(!span.range.is_empty());
        at = span.range.end;
    }
    assert_eq!(at, frame.len(), "{:?}", account.spans);
    let unread = |what: &What| matches!(what, What::Unread { .. });
    match &account.result {
        Ok(_) => assert!(!account.spans.iter().any(|span| unread(&span.what)), "{:?}", account.spans),
        Err(reject) => {
            assert!(reject.offset <= frame.len());
            let behind = |range: &std::ops::Range<usize>| range.end > reject.offset;
            let behind = account.spans.iter().filter(|span| behind(&span.range));
            assert!(behind.into_iter().all(|span| unread(&span.what)), "{:?}", account.spans);
        }
    }
}

fn check_all(frame: &[u8]) {
    for reader in Reader::all() {
        match &reader {
            Reader::Layout(layout) => check(layout, frame),
            Reader::AnyOf(_) => unreachable!("no several are built in"),
            // Not through the reader, which would contain a panic.
            Reader::Native(parser) => drop(parser.read(frame)),
        }
    }
}

#[test]
fn recorded_frames_are_accounted_for() {
    for (_, frame) in RECORDED.iter() {
        check_all(frame);
    }
}

#[test]
fn an_account_names_fields_tags_separators_and_ends() {
    let layout = Layout::built_in("tagged").unwrap();
    let account = layout.account(b"S=-1.25 C=--- X=1\r\n");
    let shown: Vec<String> =
        account.spans.iter().map(|span| format!("{:?} {:?}", span.range, span.what)).collect();
    assert_eq!(
        shown,
        [
            "0..2 Tag",
            r#"2..7 Field { name: "sphere", absent: false }"#,
            "7..8 Separator",
            "8..10 Tag",
            r#"10..13 Field { name: "cylinder", absent: true }"#,
            "13..14 Separator",
            "14..16 Tag",
            r#"16..17 Field { name: "X", absent: false }"#,
            "17..19 Terminator",
        ]
    );
    let account = layout.account(b"S=-1.25 C=x\r\n");
    let last = account.spans.last().unwrap();
    assert_eq!(last.range, 10..13);
    assert_eq!(last.what, What::Unread { why: "rejected at byte 10: expected a digit".to_owned() });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn arbitrary_bytes(frame: Vec<u8>) {
        check_all(&frame);
    }

    #[test]
    fn recorded_frames_with_bytes_changed_cut_and_doubled(
        which: prop::sample::Index,
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0_u8..4, any::<u8>()), 1..4),
    ) {
        let (name, frame) = which.get(&RECORDED);
        let mut frame = frame.clone();
        for (at, how, byte) in changes {
            if frame.is_empty() {
                break;
            }
            let at = at.index(frame.len());
            match how {
                0 => frame[at] = byte,
                1 => drop(frame.remove(at)),
                2 => frame.insert(at, byte),
                _ => frame.insert(at, frame[at]),
            }
        }
        match Reader::named(name).unwrap() {
            Reader::Layout(layout) => check(&layout, &frame),
            Reader::AnyOf(_) => unreachable!("no several are built in"),
            Reader::Native(parser) => drop(parser.read(&frame)),
        }
    }

    #[test]
    fn arbitrary_text_is_no_layout(text: String) {
        prop_assert!(Layout::from_toml(&text, "x").is_err());
    }

    /// Layouts with lines left out or doubled compile or are refused, and read or reject.
    #[test]
    fn damaged_layouts(which: prop::sample::Index, line: prop::sample::Index, double: bool, frame: prop::sample::Index) {
        let layouts = Layout::built_in_all();
        let text = which.get(&layouts).text();
        let mut lines: Vec<&str> = text.lines().collect();
        let at = line.index(lines.len());
        if double {
            lines.insert(at, lines[at]);
        } else {
            lines.remove(at);
        }
        if let Ok(layout) = Layout::from_toml(&lines.join("\n"), "x") {
            check(&layout, &frame.get(&RECORDED).1);
        }
    }
}
