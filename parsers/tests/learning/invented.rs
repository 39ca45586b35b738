//! Forms that are no built-in layout's: what the next instrument might send.

use crate::lens::*;
use fociline_parsers::checksum::Algorithm;
use fociline_parsers::learn::{Proposal, Shown};
use proptest::prelude::*;

const POWER: &[&str] = &["sphere", "cylinder", "axis"];

fn show(lens: &Lens, shows: &[&str]) -> Shown {
    let mut shown = Shown::default();
    tell(&mut shown, lens, of_side(lens), shows);
    shown
}

fn show_pair(pair: &Pair, shows: &[&str]) -> Shown {
    let mut shown = Shown::default();
    pair.iter().for_each(|lens| tell(&mut shown, lens, of_side(lens), shows));
    shown
}

fn optional<T>(value: Option<T>, write: impl Fn(T) -> String, absent: &str) -> String {
    value.map_or_else(|| absent.to_owned(), write)
}

/// `OD;SPH -1.25;CYL -0.50;AX 91;ADD 2.00` with words in the fields.
fn worded(lens: &Lens) -> Vec<u8> {
    let word = if lens.right { "OD" } else { "OS" };
    let cylinder = optional(lens.cylinder, |(cylinder, _)| format!("CYL {}", hundredths(cylinder)), "---");
    let axis = optional(lens.cylinder, |(_, axis)| format!("AX {axis}"), "---");
    format!("{word};SPH {};{cylinder};{axis}\n", signed(lens.sphere)).into_bytes()
}

/// Plus cylinder on the wire, minus on the display; a checksum in decimal places of the frame.
fn transposed(lens: &Lens) -> Vec<u8> {
    let (sphere, cylinder, axis) = match lens.cylinder {
        Some((cylinder, axis)) => {
            (lens.sphere + cylinder, -cylinder, if axis > 90 { axis - 90 } else { axis + 90 })
        }
        None => (lens.sphere, 0, 0),
    };
    let axis = if lens.cylinder.is_some() { format!("{axis:>3}") } else { "   ".to_owned() };
    let cylinder = if lens.cylinder.is_some() { signed(cylinder) } else { "     ".to_owned() };
    format!("\x02{},{:>6},{cylinder},{axis}\x03", side(lens), signed(sphere)).into_bytes()
}

/// A value on each line, in order, ended by ETX; eyes by the numbers 1 and 2.
fn stacked(lens: &Lens) -> Vec<u8> {
    let cylinder = optional(lens.cylinder, |(cylinder, _)| hundredths(cylinder), "NA");
    let axis = optional(lens.cylinder, |(_, axis)| axis.to_string(), "NA");
    let eye = if lens.right { 1 } else { 2 };
    format!("\x02EYE {eye} S {} C {cylinder} A {axis}\r\n\x03", hundredths(lens.sphere)).into_bytes()
}

/// Both eyes in fixed columns without any blank, zero padded, with a checksum in hex.
fn packed(pair: &Pair) -> Vec<u8> {
    let mut text = String::from("M");
    for lens in pair {
        let (cylinder, axis) = lens.cylinder.unwrap_or((0, 180));
        let sign = if lens.sphere < 0 { '-' } else { '+' };
        text += &format!("{}{sign}{:04}-{:04}{axis:03}", side(lens), lens.sphere.abs(), -cylinder);
    }
    format!("{text}{:02x}\r", Algorithm::Sum8.of(text.as_bytes())).into_bytes()
}

fn show_packed(pair: &Pair) -> Shown {
    let mut shown = Shown::default();
    for lens in pair {
        let (cylinder, axis) = lens.cylinder.unwrap_or((0, 180));
        tell(&mut shown, &Lens { cylinder: Some((cylinder, axis)), ..*lens }, of_side(lens), POWER);
    }
    shown
}

/// Two lines for a pair, each a frame of its own; decimal comma; tags with colons.
fn two_lines(pair: &Pair) -> Vec<u8> {
    let line = |lens: &Lens| {
        let mut line =
            format!("side:{};s:{}", if lens.right { "right" } else { "left" }, signed(lens.sphere));
        if let Some((cylinder, axis)) = lens.cylinder {
            line += &format!(";c:{};a:{axis}", signed(cylinder));
        }
        line += &format!(";pd:{}\r\n", tenths(lens.pd));
        line.replace('.', ",")
    };
    pair.iter().map(line).collect::<String>().into_bytes()
}

/// Columns padded with blanks and no eye at all, sign behind the number.
fn eyeless(lens: &Lens) -> Vec<u8> {
    let behind = |value: i32| format!("{}{}", hundredths(value.abs()), if value < 0 { '-' } else { '+' });
    let cylinder = optional(lens.cylinder, |(cylinder, _)| behind(cylinder), "");
    let axis = optional(lens.cylinder, |(_, axis)| axis.to_string(), "");
    format!("LENS{:>8}{cylinder:>7}{axis:>4}\r\n", behind(lens.sphere)).into_bytes()
}

/// Prism by base letters behind the amounts; whole degrees; bars; a serial number that counts up.
fn counted(lens: &Lens) -> Vec<u8> {
    let base = |value: i32, positive: &str, negative: &str| {
        format!("{}{}", hundredths(value.abs()), if value < 0 { negative } else { positive })
    };
    let cylinder = optional(lens.cylinder, |(cylinder, _)| hundredths(cylinder), "");
    let axis = optional(lens.cylinder, |(_, axis)| axis.to_string(), "");
    let line = format!(
        "#{}|{}|{}|{cylinder}|{axis}|{}|{}",
        lens.job,
        if lens.right { "RE" } else { "LE" },
        hundredths(lens.sphere),
        base(lens.horizontal, "BI", "BO"),
        base(lens.vertical, "BU", "BD"),
    );
    format!("{line}|{:04X}\r", Algorithm::Crc16Xmodem.of(line.as_bytes())).into_bytes()
}

fn undecided(proposal: &Proposal) -> Vec<&str> {
    let open = proposal.questions.iter().filter(|question| question.undecided);
    open.map(|question| question.open.as_str()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]

    #[test]
    fn words_in_the_fields(unseen in prop::collection::vec(lens(), 8)) {
        let proposal = check(&telling(), &unseen, worded, |lens| show(lens, POWER));
        prop_assert_eq!(undecided(&proposal), Vec::<&str>::new());
    }

    #[test]
    fn a_display_that_transposes(unseen in prop::collection::vec(lens(), 8)) {
        let shown = |lens: &Lens| show(lens, POWER);
        let samples = samples(&telling(), transposed, shown);
        let proposal = fociline_parsers::learn::learn(&samples, "x").unwrap();
        prop_assert!(proposal.remarks.iter().any(|remark| remark.contains("transposed")), "{:?}", proposal.remarks);
        for lens in &unseen {
            let reading = fociline_parsers::learn::read(&proposal.layout, &transposed(lens)).unwrap();
            let read = if lens.right { reading.right } else { reading.left }.unwrap();
            let sum = lens.sphere + lens.cylinder.map_or(0, |(cylinder, _)| cylinder);
            prop_assert_eq!(read.sphere.unwrap().value(), rust_decimal::Decimal::new(sum.into(), 2));
            prop_assert_eq!(read.cylinder.is_some(), lens.cylinder.is_some());
        }
    }

    #[test]
    fn eyes_by_number_between_words(unseen in prop::collection::vec(lens(), 8)) {
        let proposal = check(&telling(), &unseen, stacked, |lens| show(lens, POWER));
        prop_assert_eq!(undecided(&proposal), Vec::<&str>::new());
    }

    #[test]
    fn columns_without_blanks(unseen in prop::collection::vec(pair(), 8)) {
        check(&telling_pairs(), &unseen, packed, show_packed);
    }

    #[test]
    fn a_frame_for_each_eye(unseen in prop::collection::vec(pair(), 8)) {
        check(&telling_pairs(), &unseen, two_lines, |pair| show_pair(pair, &["sphere", "cylinder", "axis", "pd"]));
    }

    #[test]
    fn a_counter_and_a_checksum_in_the_last_field(unseen in prop::collection::vec(lens(), 8)) {
        let shows = &["sphere", "cylinder", "axis", "prism_horizontal", "prism_vertical"];
        check(&telling(), &unseen, counted, |lens| show(lens, shows));
    }

    #[test]
    fn no_eye_in_the_bytes(unseen in prop::collection::vec(lens(), 8)) {
        let shown = |lens: &Lens| show(lens, POWER);
        let proposal = fociline_parsers::learn::learn(&samples(&telling(), eyeless, shown), "x").unwrap();
        prop_assert_eq!(undecided(&proposal).len(), 1);
        prop_assert!(undecided(&proposal)[0].contains("for which eye"), "{:?}", undecided(&proposal));
        for lens in &unseen {
            let reading = fociline_parsers::learn::read(&proposal.layout, &eyeless(lens)).unwrap();
            let mut unspecified = Shown::default();
            tell(&mut unspecified, lens, "", POWER);
            prop_assert_eq!(unspecified.disagreements(&reading), Vec::<String>::new());
        }
    }
}
