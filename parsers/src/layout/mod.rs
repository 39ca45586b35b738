//! The text format that says how an instrument writes its frames.
//!
//! A layout is one TOML file. It is compiled when the program starts, and refused with its line
//! and a suggestion where it cannot work. The built-in layouts under `parsers/layouts/` are
//! meant to be copied; this is the reference of every key.
//!
//! ```
//! use fociline_parsers::layout::Layout;
//! let layout = Layout::from_toml(r#"
//! name  = "bench-7"
//! title = "The focimeter at the window"
//!
//! [frame]
//! end = "<CR>"
//!
//! [numbers.axis]
//! point = "none"
//!
//! [[line]]
//! form      = "delimited"
//! separator = ","
//!
//! [[line.field]]
//! is     = "eye"
//! values = { R = "right", L = "left" }
//!
//! [[line.field]]
//! is = "sphere"
//!
//! [[line.field]]
//! is      = "cylinder"
//! missing = ["--"]
//!
//! [[line.field]]
//! is      = "axis"
//! missing = ["--"]
//! "#, "bench-7.toml").unwrap();
//!
//! let right = layout.read(b"R,-1.25,-0.50,91\r").unwrap().right.unwrap();
//! assert_eq!(right.cylinder.unwrap().to_string(), "-0.50");
//!
//! let left = layout.read(b"L,-1.25,--,--\r").unwrap().left.unwrap();
//! assert_eq!(left.cylinder, None);
//!
//! let reject = layout.read(b"R,-1.25,-0.5O,91\r").unwrap_err();
//! assert_eq!(
//!     reject.to_string(),
//!     "layout bench-7, field cylinder, byte 12: expected the end of the number, found O,91<CR>"
//! );
//! ```
//!
//! # How bytes are written
//! Wherever a key takes bytes, printable characters stand for themselves, control bytes are
//! written by name (`<CR>`, `<LF>`, `<HT>`, `<STX>`, `<ETX>`) and any other byte in hex
//! (`<3C>` is `<` itself). See [`crate::notation`].
//!
//! # The layout
//! | key | meaning |
//! |---|---|
//! | `name` | how a station's settings call it: lower-case letters, digits, hyphens |
//! | `title` | one line for people |
//!
//! # `[frame]`: where a frame starts and ends
//! | key | meaning |
//! |---|---|
//! | `start` | bytes that every frame starts with; bytes outside of frames are kept as stray |
//! | `end` | bytes that end a frame, a list of such, or `"any newline"` (CR, LF or CR LF) |
//! | `length` | instead of `end`: every frame has so many bytes, start and checksum included |
//! | `idle_ms` | milliseconds of silence that end a frame. Without `end` and `length` they end every frame; beside them they give up one that stopped in the middle |
//! | `max` | the most bytes of a frame, 4096 unless said |
//!
//! # `[talk]`: what is said back
//! Left out for an instrument that only sends. Flow control is a setting of the port, in the
//! station's settings.
//!
//! | key | meaning |
//! |---|---|
//! | `on_open` | bytes sent when the port opens |
//! | `ask` | bytes that ask the instrument for a measurement |
//! | `ask_when` | `"ready"` (default): when the port opens and after each frame, and again every `ask_every_ms` without an answer; `"timer"`: every `ask_every_ms`, whatever comes |
//! | `ask_every_ms` | milliseconds, 1000 unless said |
//! | `ask_tries` | after so many askings without an answer it is said that the instrument does not answer, 5 unless said |
//! | `acknowledge` | bytes sent once a frame that was read is on record |
//! | `refuse` | bytes sent when a frame could not be read; the instrument is to send it again |
//! | `retries` | so many frames in a row are refused, 3 unless said; the next is acknowledged although it was not read, so that the instrument can go on |
//! | `dtr`, `rts` | `true` or `false`: the level that the line is to have while the port is open |
//!
//! # `[checksum]`
//! Left out where there is none. A frame whose checksum is wrong is kept and not read.
//!
//! | key | meaning |
//! |---|---|
//! | `kind` | `xor-8`, `sum-8`, `crc-16-ccitt-false` (start value FFFF) or `crc-16-xmodem` (start value 0) |
//! | `written` | `hex` (default), `raw` (high byte first) or `raw-low-first` |
//! | `stands` | `before-end` (default): last in front of the frame's end bytes; `after-end`: behind them |
//! | `before`, `after` | bytes directly in front of the checksum and behind it, such as a star |
//! | `covers_start` | `true`: the start bytes count (default: not) |
//! | `covers_before` | `true`: `before` counts and, with `after-end`, the end bytes too (default: not) |
//!
//! It always covers everything between the start bytes and `before` or the end bytes.
//!
//! # `[always]`: what the instrument never says
//! `eye`, `mode`, `vertex`, `reference_line`: what holds for every frame that does not say
//! otherwise. Values as in the line's keys below; `reference_line` is `d` or `e`.
//!
//! # `[lines]`: several lines in one frame
//! | key | meaning |
//! |---|---|
//! | `end` | what ends a line within the frame, as in `[frame]`; the last line's may be left out. Without this key a frame is one line |
//! | `order` | `listed` (default): lines come in the order of the file; `any` |
//! | `blank` | `refuse` (default) or `skip` empty lines. A frame of blank lines only is then an empty reading |
//!
//! # `[numbers]`: how numbers are written
//! These keys hold for all numbers, in `[numbers.sphere]` (or any quantity's name) for that
//! quantity, and in a field for that field; the nearest holds.
//!
//! | key | meaning |
//! |---|---|
//! | `point` | `"."` (default), `","`, `"either"`, `"implied"` (no point is sent, the last `decimals` digits are decimals) or `"none"` (whole numbers) |
//! | `whole` | exact number of digits in front of the point |
//! | `decimals` | exact number of digits behind the point; a point is then required. Say both where frames end by silence: a number cut short is then refused |
//! | `sign` | `optional` (default), `required`, `minus-only`, `never` |
//! | `sign_at` | `before` the digits (default) or `after` them |
//! | `blanks` | `around` the number (default), `within` (also between sign and digits), `nowhere` |
//! | `missing` | texts that mean "not measured"; `""` is a blank or empty field. Blanks around them do not matter. None unless said |
//!
//! Only in `[numbers.QUANTITY]` and in fields:
//!
//! | key | meaning |
//! |---|---|
//! | `unit` | the unit sent, with a power of ten in front of it if need be: `"0.01 D"`, `"cm"`, `"0.1 mm"`, `"fraction"` |
//! | `before`, `after` | bytes in front of the number and behind it, such as `"D"` |
//! | `convention` | of a cylinder: `as-sent` (default), `minus` or `plus`: the magnitude comes without a sign and is meant so |
//! | `positive` | of `prism_horizontal` `"in"` or `"out"`, of `prism_vertical` `"up"` or `"down"`: the base of a positive amount |
//!
//! # `[[line]]`: one kind of line
//! | key | meaning |
//! |---|---|
//! | `name` | for messages |
//! | `starts` | bytes the line starts with; they tell the kinds apart, unless every kind comes exactly once in the order listed |
//! | `ends` | bytes in front of the line's end, such as a last separator |
//! | `times` | `once` (default), `optional`, `repeated` (once or more), `any` (also never) |
//! | `eye` | `right` or `left`: for whom the line's values are |
//! | `mode` | `distance`, `near` or `progressive` |
//! | `vertex` | `back` or `front` |
//! | `form` | `tagged`, `delimited` or `columns` |
//! | `separator` | bytes between two fields (`tagged`, `delimited`) |
//! | `separator_repeats` | `true`: several separators in a row count as one |
//! | `assign` | bytes between a tag and its value (`tagged`); `""` where none stand |
//! | `unknown` | what becomes of a tag that no field has (`tagged`): `refuse` (default), `keep` under its name, `ignore` |
//!
//! # `[[line.field]]`: one value
//! | key | meaning |
//! |---|---|
//! | `is` | what it is; see below |
//! | `tag` | the name in front of it (`tagged`) |
//! | `columns` | `"first-last"` or `"only"`, counted from 1 at the line's first byte, the line's `starts` included (`columns`). Columns of no field must be blank |
//! | `optional` | `true`: the frame may leave it out. Of `delimited` and `columns` only the last fields |
//! | `eye` | for whom it is, where that differs within the line |
//!
//! In a `delimited` line the fields stand in the order of the file, and every one is listed.
//!
//! | `is` | unit | range | keys |
//! |---|---|---|---|
//! | `sphere` | D | -40 to 40 | those of numbers |
//! | `cylinder` | D | -20 to 20 | likewise, `convention` |
//! | `axis` | deg | 0 to 180 | likewise |
//! | `addition`, `second_addition` | D | 0 to 10 | likewise |
//! | `prism_horizontal`, `prism_vertical` | prism-D | -30 to 30 | likewise, `positive`, or `bases` and `base_at` |
//! | `prism` | prism-D | 0 to 30 | likewise, `bases` and `base_at` |
//! | `prism_base` | deg | 0 to 360 | likewise, or `values` |
//! | `prism_horizontal_base`, `prism_vertical_base` | | | `values`, `missing` |
//! | `pd`, `near_pd` | mm | 0 to 60 | those of numbers; of one eye |
//! | `segment_height`, `reference_height` | mm | 0 to 80 | those of numbers |
//! | `transmittance` | % | 0 to 100 | those of numbers |
//! | `eye`, `mode`, `vertex`, `reference_line` | | | `values`, `missing` |
//! | `job`, `operator`, `serial`, `instrument_time` | | | `missing`; texts are printable ASCII. Several `instrument_time` are put together |
//! | `fault` | | | `missing`, `split`: the bytes between two codes in one field |
//! | `keep` | | | `name`: kept as sent under this name; `missing` |
//! | `ignore` | | | `name`, for messages |
//! | `literal` | | | `text`: bytes that must stand there |
//!
//! The ranges are wider than any spectacle lens: a number outside of them is damaged, and the
//! frame is refused.
//!
//! `values` says what the codes mean: `values = { R = "right", L = "left" }`. `bases` does so for
//! letters that stand with an amount of prism in the same field, `base_at` says whether `before`
//! or `after` it (default). An amount of prism always has a base: by its sign (`positive`), by
//! its letters (`bases`) or in a field of its own (`prism_base` and its like). An amount of zero
//! may come without one.
//!
//! # For whom a value is
//! The field's `eye` holds, else an eye mark among the line's fields, else the line's `eye`, else
//! what an earlier line has announced, else `[always]`; else the lens is of an unspecified eye. A
//! line announces eye, mode and vertex for those behind it only if it says nothing of a lens
//! itself. Nothing is carried from one frame to the next. An instrument that sends the near power
//! of a lens sends it in a frame or line of mode near.
//!
//! # What is refused
//! Anything that the layout does not say: an unknown line or tag, a value twice, rubbish behind
//! the last field, a number in another form. What is absent stays absent.

mod account;
mod built_in;
mod compile;
mod compile_field;
mod compile_line;
mod compile_talk;
mod conflicts;
mod draft;
mod error;
mod field;
mod miss;
mod number;
mod program;
mod quantity;
mod run;
mod split;
mod style;
mod text;

pub use crate::reject::Reject;
pub use account::{Account, Span, What};
pub use error::LayoutError;
pub(crate) use quantity::{Component, Quantity};

use crate::frame::FrameSpec;
use crate::reading::Reading;
use crate::talk::Talk;
use std::sync::Arc;

/// A layout, compiled and ready to read frames.
#[derive(Debug)]
pub struct Layout {
    name: String,
    title: String,
    text: String,
    framing: FrameSpec,
    program: program::Program,
    talk: Talk,
}

impl Layout {
    /// Compiles a layout. `origin` is the file or other place it came from, for messages.
    ///
    /// # Errors
    /// One message with origin, line, what is wrong and what was expected.
    pub fn from_toml(text: &str, origin: &str) -> Result<Self, LayoutError> {
        let compiled = compile::compile(text::Source { text, origin })?;
        Ok(Self {
            name: compiled.name,
            title: compiled.title,
            text: text.to_owned(),
            framing: compiled.framing,
            program: compiled.program,
            talk: compiled.talk,
        })
    }

    /// The built-in layout of this name.
    pub fn built_in(name: &str) -> Option<Arc<Self>> {
        built_in::ALL.iter().find(|layout| layout.name() == name).cloned()
    }

    /// Every built-in layout.
    pub fn built_in_all() -> Vec<Arc<Self>> {
        built_in::ALL.clone()
    }

    /// The name by which a station's settings choose it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it is, in one line for people.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The whole layout as it was given.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// How frames are told apart.
    pub fn framing(&self) -> &FrameSpec {
        &self.framing
    }

    /// What is said back to the instrument.
    pub fn talk(&self) -> &Talk {
        &self.talk
    }

    /// What `frame` says, as sent.
    ///
    /// # Errors
    /// The first byte that was not as the layout says.
    pub fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
        run::run(&self.program, frame, &mut account::Silent)
            .map_err(|miss| miss.into_reject(&self.name, frame))
    }

    /// The same as [`Self::read`], and what became of every byte.
    pub fn account(&self, frame: &[u8]) -> Account {
        account::account(&self.program, &self.name, frame)
    }
}
