//! A layout or a native parser, by its name.

use crate::frame::FrameSpec;
use crate::layout::Layout;
use crate::native::{self, FrameParser};
use crate::reading::Reading;
use crate::reject::Reject;
use crate::talk::Talk;
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

    /// The name by which a station's settings choose it.
    pub fn name(&self) -> &str {
        match self {
            Self::Layout(layout) => layout.name(),
            Self::Native(parser) => parser.name(),
        }
    }

    /// What it is, in one line for people.
    pub fn title(&self) -> &str {
        match self {
            Self::Layout(layout) => layout.title(),
            Self::Native(parser) => parser.title(),
        }
    }

    /// How frames are told apart.
    pub fn framing(&self) -> &FrameSpec {
        match self {
            Self::Layout(layout) => layout.framing(),
            Self::Native(parser) => parser.framing(),
        }
    }

    /// What is said back to the instrument. A native parser only listens.
    pub fn talk(&self) -> Talk {
        match self {
            Self::Layout(layout) => layout.talk().clone(),
            Self::Native(_) => Talk::default(),
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
        }
    }

    /// What a complete frame says, as sent.
    ///
    /// # Errors
    /// The first byte that was not as expected. A native parser's panic becomes a reject too.
    pub fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
        match self {
            Self::Layout(layout) => layout.read(frame),
            Self::Native(parser) => contained(*parser, frame),
        }
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
