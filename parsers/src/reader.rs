//! A layout, a native parser, or several of them on one port, by name.

use crate::frame::FrameSpec;
use crate::layout::{Account, Layout, LayoutError, Span, What};
use crate::native::{self, FrameParser};
use crate::reading::Reading;
use crate::reject::Reject;
use crate::talk::Talk;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// What reads the frames of one instrument.
#[derive(Clone)]
pub enum Reader {
    /// A layout, built in or the lab's own.
    Layout(Arc<Layout>),
    /// A parser written in Rust.
    Native(&'static dyn FrameParser),
    /// Several, for an instrument that switches between forms: whichever reads a frame.
    AnyOf(Arc<Several>),
}

/// Several readers that cut frames in the same way.
#[derive(Debug)]
pub struct Several {
    name: String,
    title: String,
    readers: Vec<Reader>,
}

/// Why readers cannot share a port.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CannotShare {
    /// They end frames in different ways.
    #[error(
        "layouts {0} and {1} cut frames differently: expected the same [frame] and the same place of a checksum in both"
    )]
    Framing(String, String),
    /// They answer the instrument in different ways.
    #[error("layouts {0} and {1} answer the instrument differently: expected the same [talk] in both")]
    Talk(String, String),
    /// The same name twice.
    #[error("layout {0} is named twice: expected different layouts")]
    Twice(String),
    /// None at all.
    #[error("no layout is named: expected at least one")]
    None,
}

/// Several layouts as the ledger records them to be in force.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SeveralText {
    any_of: Vec<OneText>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct OneText {
    name: String,
    text: String,
}

impl Reader {
    /// The built-in layout or native parser of this name.
    pub fn named(name: &str) -> Option<Self> {
        Layout::built_in(name).map(Self::Layout).or_else(|| native::named(name).map(Self::Native))
    }

    /// Every built-in layout, then every native parser.
    pub fn all() -> Vec<Self> {
        let layouts = Layout::built_in_all().into_iter().map(Self::Layout);
        layouts.chain(native::ALL.iter().copied().map(Self::Native)).collect()
    }

    /// A reader of frames that any of `readers` reads.
    ///
    /// # Errors
    /// When they cut frames differently, or one comes twice.
    pub fn any_of(mut readers: Vec<Self>) -> Result<Self, CannotShare> {
        for (index, reader) in readers.iter().enumerate() {
            if reader.framing() != readers[0].framing() {
                return Err(CannotShare::Framing(readers[0].name().to_owned(), reader.name().to_owned()));
            }
            if reader.talk() != readers[0].talk() {
                return Err(CannotShare::Talk(readers[0].name().to_owned(), reader.name().to_owned()));
            }
            if readers[..index].iter().any(|before| before.name() == reader.name()) {
                return Err(CannotShare::Twice(reader.name().to_owned()));
            }
        }
        match readers.len() {
            0 => Err(CannotShare::None),
            1 => Ok(readers.remove(0)),
            _ => {
                let names: Vec<&str> = readers.iter().map(Self::name).collect();
                let (name, title) = (names.join(" or "), format!("Any of {}", names.join(", ")));
                Ok(Self::AnyOf(Arc::new(Several { name, title, readers })))
            }
        }
    }

    /// The reader that was recorded to be in force under `name` as `text`: what [`Self::text`]
    /// gave.
    ///
    /// # Errors
    /// When this version cannot use it.
    pub fn from_record(name: &str, text: &str) -> Result<Self, LayoutError> {
        if let Some(reader) = Self::named(name).filter(|reader| reader.text() == text) {
            return Ok(reader);
        }
        let several = toml::from_str::<SeveralText>(text).ok().and_then(|several| {
            let readers = several.any_of.iter().map(|one| Self::from_record(&one.name, &one.text));
            Self::any_of(readers.collect::<Result<_, _>>().ok()?).ok()
        });
        match several {
            Some(reader) => Ok(reader),
            None => Layout::from_toml(text, name).map(|layout| Self::Layout(Arc::new(layout))),
        }
    }

    /// This reader, and those that it is made of.
    pub fn parts(&self) -> Vec<&Self> {
        match self {
            Self::AnyOf(several) => std::iter::once(self).chain(&several.readers).collect(),
            Self::Layout(_) | Self::Native(_) => vec![self],
        }
    }

    /// The name by which a station's settings choose it.
    pub fn name(&self) -> &str {
        match self {
            Self::Layout(layout) => layout.name(),
            Self::Native(parser) => parser.name(),
            Self::AnyOf(several) => &several.name,
        }
    }

    /// What it is, in one line for people.
    pub fn title(&self) -> &str {
        match self {
            Self::Layout(layout) => layout.title(),
            Self::Native(parser) => parser.title(),
            Self::AnyOf(several) => &several.title,
        }
    }

    /// How frames are told apart.
    pub fn framing(&self) -> &FrameSpec {
        match self {
            Self::Layout(layout) => layout.framing(),
            Self::Native(parser) => parser.framing(),
            Self::AnyOf(several) => several.readers[0].framing(),
        }
    }

    /// What is said back to the instrument. A native parser only listens.
    pub fn talk(&self) -> Talk {
        match self {
            Self::Layout(layout) => layout.talk().clone(),
            Self::Native(_) => Talk::default(),
            Self::AnyOf(several) => several.readers.first().map(Self::talk).unwrap_or_default(),
        }
    }

    /// What the ledger records as being in force: a layout's whole text, or a native parser's
    /// name and the version of this crate.
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            Self::Layout(layout) => Cow::Borrowed(layout.text()),
            Self::Native(parser) => Cow::Owned(format!(
                "native parser {} of {} {}",
                parser.name(),
                env!("CARGO_PKG_NAME"),
                env!("CARGO_PKG_VERSION")
            )),
            Self::AnyOf(several) => {
                let one = |reader: &Self| OneText {
                    name: reader.name().to_owned(),
                    text: reader.text().into_owned(),
                };
                let several = SeveralText { any_of: several.readers.iter().map(one).collect() };
                Cow::Owned(toml::to_string(&several).expect("texts are TOML values"))
            }
        }
    }

    /// What a complete frame says, as sent.
    ///
    /// # Errors
    /// The first byte that was not as expected. A native parser's panic becomes a reject too.
    pub fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
        self.read_by(frame).0
    }

    /// The same as [`Self::read`], and the reader that decided: of several, the one that read the
    /// frame, or that came furthest; all of them where they disagree.
    pub fn read_by(&self, frame: &[u8]) -> (Result<Reading, Reject>, &Self) {
        match self {
            Self::Layout(layout) => (layout.read(frame), self),
            Self::Native(parser) => (contained(*parser, frame), self),
            Self::AnyOf(several) => self.one_of(several, frame),
        }
    }

    fn one_of<'r>(&'r self, several: &'r Several, frame: &[u8]) -> (Result<Reading, Reject>, &'r Self) {
        let mut read: Option<(Reading, &Self)> = None;
        let mut refused: Option<(Reject, &Self)> = None;
        for reader in &several.readers {
            match reader.read(frame) {
                Ok(reading) => match &read {
                    None => read = Some((reading, reader)),
                    Some((first, _)) if *first == reading => {}
                    Some((_, first)) => {
                        let expected = format!(
                            "one reading, but it is ambiguous: layouts {} and {} both read it, differently",
                            first.name(),
                            reader.name()
                        );
                        return (Err(Reject::at(frame, 0, &several.name, None, expected)), self);
                    }
                },
                Err(reject) => {
                    if refused.as_ref().is_none_or(|(before, _)| before.offset < reject.offset) {
                        refused = Some((reject, reader));
                    }
                }
            }
        }
        match (read, refused) {
            (Some((reading, reader)), _) => (Ok(reading), reader),
            (None, Some((reject, reader))) => (Err(reject), reader),
            (None, None) => {
                let expected = "a layout to read it by";
                (Err(Reject::at(frame, 0, &several.name, None, expected)), self)
            }
        }
    }

    /// The same as [`Self::read`], and what became of every byte, as far as the reader can say: a
    /// native parser cannot.
    pub fn account(&self, frame: &[u8]) -> Account {
        let (result, by) = self.read_by(frame);
        if let Self::Layout(layout) = by {
            return layout.account(frame);
        }
        let what = match &result {
            Ok(_) => {
                What::Skipped { why: format!("read by the parser {}, which does not say how", by.name()) }
            }
            Err(reject) => What::Unread { why: reject.to_string() },
        };
        let spans = vec![Span { range: 0..frame.len(), what }];
        Account { spans: if frame.is_empty() { Vec::new() } else { spans }, result }
    }
}

impl fmt::Debug for Reader {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Reader({})", self.name())
    }
}

fn contained(parser: &dyn FrameParser, frame: &[u8]) -> Result<Reading, Reject> {
    // Parsers take `&self` and keep nothing between frames, so nothing half-done is seen again.
    catch_unwind(AssertUnwindSafe(|| parser.read(frame))).unwrap_or_else(|panic| {
        let said = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
        let said = said.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_default();
        let expected = format!("no panic in the parser itself, but it said {said:?}: report this frame");
        Err(Reject::at(frame, 0, parser.name(), None, expected))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::End;
    use std::sync::LazyLock;

    struct Faulty;

    static FRAMING: LazyLock<FrameSpec> = LazyLock::new(|| FrameSpec::ended_by(End::any_newline()));

    impl FrameParser for Faulty {
        fn name(&self) -> &'static str {
            "faulty"
        }
        fn title(&self) -> &'static str {
            "A parser with a mistake in it"
        }
        fn framing(&self) -> &FrameSpec {
            &FRAMING
        }
        fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
            panic!("{} bytes were too many", frame.len())
        }
    }

    #[test]
    fn a_panic_in_a_native_parser_becomes_a_reject() {
        let reject = Reader::Native(&Faulty).read(b"abc").unwrap_err();
        assert_eq!(
            reject.to_string(),
            "layout faulty, byte 0: expected no panic in the parser itself, but it said \
             \"3 bytes were too many\": report this frame, found abc"
        );
    }

    #[test]
    fn readers_go_between_threads() {
        fn is_sendable<T: Send + Sync + 'static>() {}
        is_sendable::<Reader>();
    }

    fn layout(name: &str, first: &str, second: &str, end: &str) -> Reader {
        let text = format!(
            "name = {name:?}\ntitle = \"x\"\n[frame]\nend = {end:?}\n[[line]]\nform = \"delimited\"\n\
             separator = \",\"\n[[line.field]]\nis = {first:?}\n[[line.field]]\nis = {second:?}\n"
        );
        Reader::Layout(Arc::new(Layout::from_toml(&text, name).unwrap()))
    }

    #[test]
    fn of_several_layouts_the_one_that_reads_a_frame_is_named() {
        let power = layout("power", "sphere", "cylinder", "<CR>");
        let heights = layout("heights", "sphere", "pd", "<CR>");
        let both = Reader::any_of(vec![power.clone(), heights.clone()]).unwrap();
        assert_eq!(both.name(), "power or heights");

        let (read, by) = both.read_by(b"-1.25,-0.50\r");
        assert_eq!((read.is_ok(), by.name()), (true, "power"));
        let (read, by) = both.read_by(b"-1.25,31.5\r");
        assert_eq!((read.is_ok(), by.name()), (true, "heights"));

        let (read, by) = both.read_by(b"-1.25,15.5\r");
        assert_eq!(by.name(), "power or heights");
        let said = read.unwrap_err().to_string();
        assert!(said.contains("ambiguous: layouts power and heights both read it, differently"), "{said}");

        // Nobody reads it: the reason is that of the one that came furthest.
        let (read, by) = both.read_by(b"-1.25,x\r");
        assert_eq!((read.unwrap_err().offset, by.name()), (6, "power"));
        assert!(
            matches!(both.account(b"-1.25,31.5\r").spans[2].what, What::Field { ref name, .. } if name == "pd")
        );

        // Layouts that agree do not disturb each other.
        let same = Reader::any_of(vec![power, layout("twin", "sphere", "cylinder", "<CR>")]).unwrap();
        let (read, by) = same.read_by(b"-1.25,-0.50\r");
        assert_eq!((read.is_ok(), by.name()), (true, "power"));
    }

    #[test]
    fn several_layouts_come_back_from_the_record() {
        let readers =
            vec![layout("power", "sphere", "cylinder", "<CR>"), layout("heights", "sphere", "pd", "<CR>")];
        let both = Reader::any_of(readers).unwrap();
        let again = Reader::from_record(both.name(), &both.text()).unwrap();
        assert_eq!((again.name(), again.text()), (both.name(), both.text()));
        for frame in [&b"-1.25,15.5\r"[..], b"-1.25,31.5\r", b"x"] {
            assert_eq!(again.read(frame), both.read(frame));
        }
        for reader in Reader::all() {
            let again = Reader::from_record(reader.name(), &reader.text()).unwrap();
            assert_eq!(again.text(), reader.text());
        }
        assert!(Reader::from_record("x", "nonsense").is_err());
    }

    #[test]
    fn layouts_that_cut_differently_cannot_share_a_port() {
        let one = layout("one", "sphere", "cylinder", "<CR>");
        let why = Reader::any_of(vec![one.clone(), layout("other", "sphere", "pd", "<LF>")]).unwrap_err();
        assert_eq!(why, CannotShare::Framing("one".into(), "other".into()));
        assert_eq!(
            Reader::any_of(vec![one.clone(), one.clone()]).unwrap_err(),
            CannotShare::Twice("one".into())
        );
        assert_eq!(Reader::any_of(Vec::new()).unwrap_err(), CannotShare::None);
        assert_eq!(Reader::any_of(vec![one]).unwrap().name(), "one");
    }

    #[test]
    fn names_are_unique_and_texts_say_what_is_in_force() {
        let readers = Reader::all();
        for reader in &readers {
            assert_eq!(readers.iter().filter(|other| other.name() == reader.name()).count(), 1, "{reader:?}");
            assert!(Reader::named(reader.name()).is_some_and(|found| found.title() == reader.title()));
            assert!(reader.text().contains(reader.name()));
        }
        assert!(Reader::named("no such reader").is_none());
    }
}
