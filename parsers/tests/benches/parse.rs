//! How fast a compiled layout reads a line, beside the same line read by nom written by hand, and
//! how fast the framer cuts, all in MB/s.
//!
//! The hand-written parser checks less: no ranges, no tag given twice, no blanks or dashes.
//!
//! `cargo bench -p fociline-parsers --bench parse`

use fociline_parsers::frame::Framer;
use fociline_parsers::layout::Layout;
use fociline_parsers::reading::{Base, Lens, PrismPart, Reading};
use fociline_parsers::units::{Degree, Dioptre, Millimetre, PrismDioptre};
use nom::bytes::complete::{take_till, take_while, take_while1};
use nom::character::complete::{char, one_of};
use nom::combinator::opt;
use nom::{IResult, Parser};
use std::hint::black_box;
use std::time::Instant;
/// A signed decimal number.
fn num(i: &[u8]) -> IResult<&[u8], rust_decimal::Decimal> {
    let (i, neg) = opt(one_of("+-")).parse(i)?;
    let (i, w) = take_while(|b: u8| b.is_ascii_digit()).parse(i)?;
    let (i, f) = opt((char('.'), take_while1(|b: u8| b.is_ascii_digit()))).parse(i)?;
    let f = f.map_or(&b""[..], |f| f.1);
    let m = w.iter().chain(f).fold(0i64, |v, d| v * 10 + i64::from(d - b'0'));
    Ok((
        i,
        rust_decimal::Decimal::new(
            if neg == Some('-') { -m } else { m },
            u32::try_from(f.len()).unwrap_or(0),
        ),
    ))
}
/// The line of the layout `tagged`, by hand.
fn hand(frame: &[u8]) -> Option<Reading> {
    let mut reading = Reading::default();
    let mut lens = Lens::default();
    let mut eye = None;
    let mut rest = frame.strip_suffix(b"\r\n")?;
    let mut prism = Vec::new();
    loop {
        let (i, t): (_, &[u8]) =
            take_till::<_, _, nom::error::Error<&[u8]>>(|b| b == b'=').parse(rest).ok()?;
        let i = i.get(1..)?;
        let i = match t {
            b"JOB" => {
                let (i, v): (_, &[u8]) =
                    take_till::<_, _, nom::error::Error<&[u8]>>(|b| b == b' ').parse(i).ok()?;
                reading.job = Some(std::str::from_utf8(v).ok()?.parse().ok()?);
                i
            }
            b"EYE" => {
                eye = Some(*i.first()?);
                &i[1..]
            }
            b"S" => {
                let (i, v) = num(i).ok()?;
                lens.sphere = Some(Dioptre::new(v));
                i
            }
            b"C" => {
                let (i, v) = num(i).ok()?;
                lens.cylinder = Some(Dioptre::new(v));
                i
            }
            b"A" => {
                let (i, v) = num(i).ok()?;
                lens.axis = Some(Degree::new(v));
                i
            }
            b"N" => {
                let (i, v) = num(i).ok()?;
                lens.addition = Some(Dioptre::new(v));
                i
            }
            b"PX" => {
                let (i, v) = num(i).ok()?;
                prism.push(PrismPart {
                    amount: PrismDioptre::new(v).abs(),
                    base: if v.is_sign_negative() { Base::Out } else { Base::In },
                });
                i
            }
            b"PY" => {
                let (i, v) = num(i).ok()?;
                prism.push(PrismPart {
                    amount: PrismDioptre::new(v).abs(),
                    base: if v.is_sign_negative() { Base::Down } else { Base::Up },
                });
                i
            }
            b"PD" => {
                let (i, v) = num(i).ok()?;
                lens.pd = Some(Millimetre::new(v));
                i
            }
            _ => return None,
        };
        if i.is_empty() {
            break;
        }
        rest = i.strip_prefix(b" ")?;
    }
    if !prism.is_empty() {
        lens.prism = Some(prism)
    }
    match eye {
        Some(b'R') => reading.right = Some(lens),
        Some(b'L') => reading.left = Some(lens),
        _ => return None,
    }
    Some(reading)
}
/// The best of several batches: what else runs on the machine only ever slows one down.
fn time(name: &str, bytes: usize, mut work: impl FnMut()) -> f64 {
    let batch = 20_000;
    let best = (0..40)
        .map(|_| {
            let start = Instant::now();
            (0..batch).for_each(|_| work());
            start.elapsed().as_secs_f64() / f64::from(batch)
        })
        .fold(f64::INFINITY, f64::min);
    println!("{name:<28} {:>7.0} ns {:>8.1} MB/s", best * 1e9, bytes as f64 / best / 1e6);
    best
}

fn main() {
    let frame = b"JOB=4471 EYE=R S=-1.25 C=-0.50 A=91 N=+2.00 PX=+0.40 PY=-0.25 PD=31.5\r\n";
    let layout = Layout::built_in("tagged").expect("built in");
    assert_eq!(layout.read(frame).ok(), hand(frame), "both read the same");
    let by_hand = time("nom by hand", frame.len(), || {
        black_box(hand(black_box(frame)));
    });
    let compiled = time("compiled layout", frame.len(), || {
        black_box(layout.read(black_box(frame))).ok();
    });
    let mut framer = Framer::new(layout.framing().clone());
    time("framer", frame.len(), || framer.push(black_box(frame), |frame| drop(black_box(frame))));
    println!("the layout reads at {:.0} % of the rate of nom by hand", 100.0 * by_hand / compiled);
}
