//! Recorded frames with their full expected readings, found by walking `fixtures/frames`.
//!
//! `fixtures/frames/NAME/CLASS.json` belongs to the built-in layout or native parser NAME. Its
//! cases are pushed through the framer, then the line is silent, then the port closes. To
//! rewrite the expectations after a change, then review the difference:
//!
//! ```sh
//! FOCILINE_BLESS=1 cargo test -p fociline-parsers --test fixtures
//! ```

use fociline_parsers::frame::{Ended, Frame, Framer};
use fociline_parsers::notation;
use fociline_parsers::reader::Reader;
use fociline_parsers::reading::{Lens, Reading};
use fociline_parsers::reject::Reject;
use fociline_parsers::units::{Degree, Dioptre, PrismDioptre};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// A class of frames, and the check of what they show.
type Class = (&'static str, fn(&Reader, &[Expected]));

/// What every reader must have frames of, and what those frames must show.
const CLASSES: [Class; 9] = [
    ("good", good),
    ("truncated", truncated),
    ("damaged", damaged),
    ("noise", noise),
    ("checksum", checksum),
    ("sides", sides),
    ("extremes", extremes),
    ("blanks", blanks),
    ("comma", comma),
];

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    about: String,
    cases: Vec<Case>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    /// What the case shows.
    shows: String,
    /// What arrives, in the notation.
    bytes: String,
    /// Every frame that comes of it; only a blessing may leave it out.
    #[serde(default)]
    frames: Vec<Expected>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    bytes: String,
    ended: Ended,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reading: Option<Reading>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reject: Option<Reject>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/frames")
}

fn names(folder: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

fn frames(reader: &Reader, stream: &[u8]) -> Vec<Frame> {
    let mut framer = Framer::new(reader.framing().clone());
    let mut frames = Vec::new();
    framer.push(stream, |frame| frames.push(frame));
    if reader.framing().silence().is_some() {
        frames.extend(framer.idle());
    }
    frames.extend(framer.finish());
    frames
}

/// What the reader really makes of a stream.
fn made(reader: &Reader, stream: &[u8]) -> Vec<Expected> {
    let made = frames(reader, stream).into_iter().map(|frame| {
        let read = (frame.ended == Ended::Complete).then(|| reader.read(&frame.bytes));
        let (reading, reject) = match read {
            None => (None, None),
            Some(Ok(reading)) => (Some(reading), None),
            Some(Err(reject)) => (None, Some(reject)),
        };
        Expected { bytes: notation::to_text(&frame.bytes), ended: frame.ended, reading, reject }
    });
    made.collect()
}

#[test]
fn every_reader_reads_its_recorded_frames_as_expected() {
    let bless = std::env::var_os("FOCILINE_BLESS").is_some();
    let readers = Reader::all();
    let registered: BTreeSet<String> = readers.iter().map(|reader| reader.name().to_owned()).collect();
    assert_eq!(names(&root()), registered, "folders of fixtures/frames, and what is registered");
    let classes: BTreeSet<String> = CLASSES.iter().map(|(class, _)| format!("{class}.json")).collect();

    for reader in &readers {
        let folder = root().join(reader.name());
        let mut expected = classes.clone();
        if !checks_a_sum(reader) {
            expected.remove("checksum.json");
        }
        assert!(
            bless || names(&folder) == expected,
            "{} has {:?}, not {expected:?}",
            folder.display(),
            names(&folder)
        );
        for (class, shows) in CLASSES {
            let path = folder.join(format!("{class}.json"));
            let Ok(text) = fs::read_to_string(&path) else { continue };
            let mut file: File =
                serde_json::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            assert!(!file.about.is_empty() && !file.cases.is_empty(), "{} is empty", path.display());
            for case in &mut file.cases {
                let place = format!("{}, case {:?}", path.display(), case.shows);
                let stream =
                    notation::from_text(&case.bytes).unwrap_or_else(|error| panic!("{place}: {error}"));
                let made = made(reader, &stream);
                if bless {
                    case.frames = made;
                } else {
                    assert!(!case.frames.is_empty(), "{place} has no expectation");
                    assert_eq!(case.frames, made, "{place}");
                }
            }
            if bless {
                // The next run without blessing checks what the frames must show.
                let text = serde_json::to_string_pretty(&file).unwrap();
                fs::write(&path, text + "\n").unwrap();
                continue;
            }
            let all: Vec<Expected> = file.cases.into_iter().flat_map(|case| case.frames).collect();
            shows(reader, &all);
        }
    }
}

/// Whether frames of this reader carry a checksum, by its first good frame.
fn checks_a_sum(reader: &Reader) -> bool {
    let text = fs::read_to_string(root().join(reader.name()).join("good.json")).unwrap();
    let file: File = serde_json::from_str(&text).unwrap();
    let stream = notation::from_text(&file.cases[0].bytes).unwrap();
    made(reader, &stream)
        .iter()
        .any(|made| made.reading.as_ref().is_some_and(|reading| reading.checksum_verified))
}

fn readings(all: &[Expected]) -> impl Iterator<Item = &Reading> {
    all.iter().filter_map(|expected| expected.reading.as_ref())
}

fn rejects(all: &[Expected]) -> impl Iterator<Item = &Reject> {
    all.iter().filter_map(|expected| expected.reject.as_ref())
}

fn lenses(all: &[Expected]) -> Vec<Lens> {
    let lenses = readings(all).flat_map(|reading| [&reading.right, &reading.left, &reading.unspecified]);
    lenses.flatten().cloned().collect()
}

fn good(reader: &Reader, all: &[Expected]) {
    assert!(all.iter().all(|expected| expected.reading.is_some()), "{}: good frames are read", reader.name());
    assert!(lenses(all).len() >= 2, "{}: at least two lenses", reader.name());
}

fn truncated(reader: &Reader, all: &[Expected]) {
    assert!(readings(all).next().is_none(), "{}: no truncated frame is read", reader.name());
}

fn damaged(reader: &Reader, all: &[Expected]) {
    assert!(rejects(all).count() >= 3, "{}: three ways to be damaged", reader.name());
}

fn noise(reader: &Reader, all: &[Expected]) {
    let noisy = |expected: &&Expected| expected.ended != Ended::Complete || expected.reject.is_some();
    assert!(all.iter().any(|expected| noisy(&expected)), "{}: noise is not read", reader.name());
    assert!(readings(all).next().is_some(), "{}: the good frame behind the noise is read", reader.name());
}

fn checksum(reader: &Reader, all: &[Expected]) {
    let about = |reject: &Reject| reject.field.as_deref() == Some("checksum");
    assert!(rejects(all).any(about), "{}: a wrong checksum is refused as such", reader.name());
    assert!(readings(all).next().is_none(), "{}: a wrong checksum is not read", reader.name());
}

fn sides(reader: &Reader, all: &[Expected]) {
    assert!(readings(all).any(|reading| reading.right.is_some()), "{}: a right lens", reader.name());
    assert!(readings(all).any(|reading| reading.left.is_some()), "{}: a left lens", reader.name());
}

fn extremes(reader: &Reader, all: &[Expected]) {
    let lenses = lenses(all);
    for wanted in ["30", "-30"] {
        let wanted: Dioptre = wanted.parse().unwrap();
        assert!(lenses.iter().any(|lens| lens.sphere == Some(wanted)), "{}: sphere {wanted}", reader.name());
    }
    let axis = Degree::from_scaled(180, 0);
    assert!(lenses.iter().any(|lens| lens.axis == Some(axis)), "{}: axis 180", reader.name());
    let prism = PrismDioptre::from_scaled(20, 0);
    let has = |lens: &Lens| lens.prism.iter().flatten().any(|part| part.amount == prism);
    assert!(lenses.iter().any(has), "{}: prism 20", reader.name());
    assert!(
        rejects(all).any(|reject| reject.expected.contains(" to ")),
        "{}: beyond the range",
        reader.name()
    );
}

fn blanks(reader: &Reader, all: &[Expected]) {
    let lenses = lenses(all);
    assert!(
        lenses.iter().any(|lens| lens.cylinder.is_none()),
        "{}: a blank cylinder is absent",
        reader.name()
    );
}

fn comma(reader: &Reader, all: &[Expected]) {
    // Either the instrument writes commas, or a comma is refused: it is never read past.
    let point = |text: &str| text.contains(',');
    for expected in all.iter().filter(|expected| point(&expected.bytes)) {
        let read = expected.reading.is_some();
        let refused = expected.reject.is_some();
        assert!(read != refused, "{}: {} is read or refused", reader.name(), expected.bytes);
    }
    assert!(all.iter().any(|expected| point(&expected.bytes)), "{}: a decimal comma", reader.name());
}
