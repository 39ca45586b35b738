//! The fuzzers' corpus, replayed: what was found once stays mended.

mod fuzzed;

use std::path::Path;

fn replay(target: &str, run: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/fuzz").join(target);
    let mut replayed = 0;
    for entry in std::fs::read_dir(&folder).unwrap_or_else(|why| panic!("{}: {why}", folder.display())) {
        let path = entry.expect("readable").path();
        println!("{}", path.display());
        run(&std::fs::read(&path).expect("readable"));
        replayed += 1;
    }
    assert!(replayed >= 10, "{target}: the corpus is there");
}

#[test]
fn framer() {
    replay("framer", fuzzed::framer);
}

#[test]
fn layout_text() {
    replay("layout_text", fuzzed::layout_text);
}

#[test]
fn readers() {
    replay("readers", fuzzed::readers);
}
