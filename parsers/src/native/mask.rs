//! `mask`: a presence mask says which values follow, so that a value's position depends on the
//! values in front of it. A layout cannot say that.
//!
//! The wire format, one line for each lens:
//!
//! ```text
//!     @R04F/-125/-50/91/200/315*4471<CR>
//!     |||  |                   ||   |
//!     |||  |                   ||   6 end
//!     |||  |                   |5 job number, 1 to 16 letters, digits or hyphens
//!     |||  |                   4 star; left out, with the job number, where there is none
//!     |||  3 a slash and a value for every bit that is set in the mask, lowest bit first
//!     ||2 mask, three hex digits
//!     |1 side: R or L
//!     0 start
//! ```
//!
//! | bit | value | unit |
//! |---|---|---|
//! | 0 | sphere | 0.01 D |
//! | 1 | cylinder | 0.01 D |
//! | 2 | axis | deg |
//! | 3 | addition | 0.01 D |
//! | 4 | prism, horizontal, positive in | 0.01 prism-D |
//! | 5 | prism, vertical, positive up | 0.01 prism-D |
//! | 6 | PD | 0.1 mm |
//!
//! The other bits are kept for later and must be 0.
//!
//! ```
//! use fociline_parsers::reader::Reader;
//! let reader = Reader::named("mask").unwrap();
//! let reading = reader.read(b"@R04F/-125/-50/91/200/315*4471\r").unwrap();
//! let right = reading.right.unwrap();
//! assert_eq!(right.sphere.unwrap().to_string(), "-1.25");
//! assert_eq!(right.axis.unwrap().to_string(), "91");
//! assert_eq!(right.addition.unwrap().to_string(), "2.00");
//! assert_eq!(right.pd.unwrap().to_string(), "31.5");
//! assert_eq!(right.prism, None);
//! assert_eq!(reading.job.unwrap().as_str(), "4471");
//! ```

use super::FrameParser;
use crate::frame::{End, FrameSpec};
use crate::reading::{Base, Lens, PrismPart, Reading};
use crate::reject::Reject;
use crate::units::{Degree, Dioptre, Millimetre, PrismDioptre};
use nom::branch::alt;
use nom::bytes::complete::{tag, take_while_m_n};
use nom::character::complete::{char, one_of};
use nom::combinator::{opt, recognize};
use nom::{IResult, Offset, Parser};
use std::sync::LazyLock;

/// The parser; see the module's documentation for the format.
pub struct Mask;

static FRAMING: LazyLock<FrameSpec> = LazyLock::new(|| FrameSpec {
    start: Some(b"@".to_vec()),
    max: 80,
    ..FrameSpec::ended_by(End::Bytes(vec![b"\r".to_vec()]))
});

/// What each bit of the mask stands for: name, greatest magnitude, how its value is set.
type Value = (&'static str, i64, fn(&mut Lens, i64));

const VALUES: [Value; 7] = [
    ("sphere", 4000, |lens, value| lens.sphere = Some(Dioptre::from_scaled(value, 2))),
    ("cylinder", 2000, |lens, value| lens.cylinder = Some(Dioptre::from_scaled(value, 2))),
    ("axis", 180, |lens, value| lens.axis = Some(Degree::from_scaled(value, 0))),
    ("addition", 1000, |lens, value| lens.addition = Some(Dioptre::from_scaled(value, 2))),
    ("prism_horizontal", 3000, |lens, value| add_prism(lens, value, Base::In, Base::Out)),
    ("prism_vertical", 3000, |lens, value| add_prism(lens, value, Base::Up, Base::Down)),
    ("pd", 600, |lens, value| lens.pd = Some(Millimetre::from_scaled(value, 1))),
];

/// Values that cannot be negative, by their bit.
const UNSIGNED: [usize; 3] = [2, 3, 6];

fn add_prism(lens: &mut Lens, value: i64, positive: Base, negative: Base) {
    let base = if value < 0 { negative } else { positive };
    let amount = PrismDioptre::from_scaled(value, 2).abs();
    lens.prism.get_or_insert_default().push(PrismPart { amount, base });
}

impl FrameParser for Mask {
    fn name(&self) -> &'static str {
        "mask"
    }

    fn title(&self) -> &'static str {
        "A presence mask, then the values it names"
    }

    fn framing(&self) -> &FrameSpec {
        &FRAMING
    }

    fn read(&self, frame: &[u8]) -> Result<Reading, Reject> {
        let reject = |at: &[u8], field: Option<&str>, expected: &str| {
            Reject::at(frame, frame.offset(at), self.name(), field.map(str::to_owned), expected)
        };
        let (at, _) = char('@').parse(frame).map_err(|_: Failed<'_>| reject(frame, None, "\"@\""))?;
        let (at, side) = one_of("RL").parse(at).map_err(|_: Failed<'_>| reject(at, Some("eye"), "R or L"))?;
        let (mut rest, mask) =
            mask(at).map_err(|_| reject(at, Some("mask"), "three hex digits from 000 to 07F"))?;

        let mut lens = Lens::default();
        for (bit, (name, most, set)) in VALUES.into_iter().enumerate() {
            if mask & 1 << bit == 0 {
                continue;
            }
            let (next, value) =
                value(rest).map_err(|_| reject(rest, Some(name), "\"/\" and a whole number"))?;
            let least = if UNSIGNED.contains(&bit) { 0 } else { -most };
            if !(least..=most).contains(&value) {
                return Err(reject(&rest[1..], Some(name), &format!("a number from {least} to {most}")));
            }
            set(&mut lens, value);
            rest = next;
        }
        let mut reading = Reading::default();
        let (rest, job) =
            opt(job).parse(rest).map_err(|_: Failed<'_>| reject(rest, Some("job"), "a job number"))?;
        reading.job = job.and_then(|job| std::str::from_utf8(job).ok()).and_then(|job| job.parse().ok());
        if rest != b"\r" {
            return Err(reject(rest, None, "<CR> after the last value that the mask names"));
        }
        let lens = Some(lens).filter(|_| mask != 0);
        if side == 'R' {
            reading.right = lens
        } else {
            reading.left = lens
        }
        Ok(reading)
    }
}

type Failed<'a> = nom::Err<nom::error::Error<&'a [u8]>>;

fn mask(input: &[u8]) -> IResult<&[u8], u16> {
    let hex = take_while_m_n(3, 3, |byte: u8| byte.is_ascii_hexdigit());
    hex.map_opt(|digits| {
        u16::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok().filter(|mask| *mask < 0x80)
    })
    .parse(input)
}

fn value(input: &[u8]) -> IResult<&[u8], i64> {
    let digits = take_while_m_n(1, 6, |byte: u8| byte.is_ascii_digit());
    let number = recognize((opt(alt((tag("-"), tag("+")))), digits));
    (char('/'), number).map_opt(|(_, number)| std::str::from_utf8(number).ok()?.parse().ok()).parse(input)
}

fn job(input: &[u8]) -> IResult<&[u8], &[u8]> {
    let letters = take_while_m_n(1, 16, |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-');
    (char('*'), letters).map(|(_, job)| job).parse(input)
}
