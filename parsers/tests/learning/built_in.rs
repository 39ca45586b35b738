//! The wire forms of the built-in layouts, learnt without looking at them.

use crate::lens::*;
use fociline_parsers::checksum::Algorithm;
use fociline_parsers::learn::Shown;
use proptest::prelude::*;

fn show_lens(shows: &'static [&'static str]) -> impl Fn(&Lens) -> Shown {
    move |lens| {
        let mut shown = Shown::default();
        tell(&mut shown, lens, of_side(lens), shows);
        shown
    }
}

fn show_pair(shows: &'static [&'static str]) -> impl Fn(&Pair) -> Shown {
    move |pair| {
        let mut shown = Shown::default();
        pair.iter().for_each(|lens| tell(&mut shown, lens, of_side(lens), shows));
        shown
    }
}

fn or<T>(value: Option<T>, write: impl Fn(T) -> String, absent: &str) -> String {
    value.map_or_else(|| absent.to_owned(), write)
}

fn tagged(lens: &Lens) -> Vec<u8> {
    let mut line = format!("JOB={} EYE={} S={}", lens.job, side(lens), hundredths(lens.sphere));
    if let Some((cylinder, axis)) = lens.cylinder {
        line += &format!(" C={} A={axis}", hundredths(cylinder));
    }
    if let Some(addition) = lens.addition {
        line += &format!(" N={}", signed(addition as i32));
    }
    line += &format!(" PX={} PY={} PD={}", signed(lens.horizontal), signed(lens.vertical), tenths(lens.pd));
    line += if lens.near { " MODE=N" } else { " MODE=D" };
    (line + "\r\n").into_bytes()
}

fn comma(text: String) -> String {
    text.replace('.', ",")
}

fn delimited(pair: &Pair) -> Vec<u8> {
    let [right, left] = pair;
    let base = |value: i32, positive: char, negative: char| match value {
        0 => "0,00".to_owned(),
        1.. => format!("{}{positive}", comma(hundredths(value))),
        _ => format!("{}{negative}", comma(hundredths(-value))),
    };
    let mut line = format!("PAIR|{}", right.job);
    for lens in [right, left] {
        line += &format!(
            "|{}|{}|{}|{}|{}|{}",
            comma(hundredths(lens.sphere)),
            or(lens.cylinder, |(cylinder, _)| comma(hundredths(cylinder)), ""),
            or(lens.cylinder, |(_, axis)| axis.to_string(), ""),
            base(lens.horizontal, 'I', 'O'),
            base(lens.vertical, 'U', 'D'),
            or(lens.addition, |addition| comma(hundredths(addition as i32)), ""),
        );
    }
    line += &format!("|{}|{}|{}", comma(tenths(right.pd)), comma(tenths(left.pd)), right.job * 7 % 1000);
    format!("{line}*{:02X}\r\n", Algorithm::Xor8.of(line.as_bytes())).into_bytes()
}

fn columns(lens: &Lens) -> Vec<u8> {
    let sign = if lens.sphere < 0 { '-' } else { '+' };
    let sphere = lens.sphere.abs();
    let sphere = if sphere < 1000 { format!("{sign} {sphere:03}") } else { format!("{sign}{sphere:04}") };
    let line = format!(
        "{}{:<8}{sphere} {} {} {}  {:04} {:03} {:03}\r",
        side(lens),
        lens.job,
        or(lens.cylinder, |(cylinder, _)| format!("{:03}", -cylinder), "---"),
        or(lens.cylinder, |(_, axis)| format!("{axis:03}"), "   "),
        or(lens.addition, |addition| format!("{addition:03}"), "---"),
        lens.horizontal.abs(),
        lens.vertical.abs(),
        lens.pd,
    );
    line.into_bytes()
}

fn block(pair: &Pair) -> Vec<u8> {
    let mut text = format!(
        "\x02H {} K7 FM-0031 2026-03-02 07:41:10 e {}\r",
        pair[0].job,
        if pair[0].near { 'N' } else { 'D' }
    );
    for lens in pair {
        let base = match lens.horizontal {
            0 => '-',
            1.. => 'I',
            _ => 'O',
        };
        text += &format!(
            "{} {:>6} {:>6} {:>3} {} P{} {base} {} 18.0 ----\r",
            side(lens),
            hundredths(lens.sphere),
            or(lens.cylinder, |(cylinder, _)| hundredths(cylinder), "----"),
            or(lens.cylinder, |(_, axis)| axis.to_string(), "--"),
            or(lens.addition, |addition| format!("A{}", signed(addition as i32)), "----"),
            hundredths(lens.horizontal.abs()),
            tenths(lens.pd),
        );
    }
    text.push('\x03');
    format!("{text}{:04X}\r", Algorithm::Crc16CcittFalse.of(text.as_bytes())).into_bytes()
}

fn strip(lens: &Lens) -> Vec<u8> {
    let whole = |value: i32| if value < 0 { format!("-{:04}", -value) } else { format!(" {value:04}") };
    let base = if lens.horizontal < 0 { 'O' } else { 'I' };
    let text = format!(
        "\x01{}/{} {} {} {base}{:04}{}.{:02}.{:02} {}.",
        side(lens),
        whole(lens.sphere),
        or(lens.cylinder, |(cylinder, _)| whole(cylinder), "     "),
        or(lens.cylinder, |(_, axis)| format!("{axis:03}"), "   "),
        lens.horizontal.abs(),
        lens.pd / 100,
        lens.pd % 100,
        lens.transmittance / 10,
        if lens.near { "NE" } else { "FA" },
    );
    let mut bytes = text.into_bytes();
    bytes.push(Algorithm::Sum8.of(&bytes) as u8);
    bytes
}

fn cells(lens: &Lens) -> Vec<u8> {
    let mut text =
        format!("\tw{}\tm{}\ts{}", side(lens), if lens.near { 'n' } else { 'f' }, signed(lens.sphere));
    if let Some((cylinder, axis)) = lens.cylinder {
        text += &format!("\tc{}\tx{axis}", signed(cylinder));
    }
    let base = if lens.vertical < 0 { 'D' } else { 'U' };
    text += &format!("\th{base}{}\tt{}%\x04", hundredths(lens.vertical.abs()), tenths(lens.transmittance));
    let sum = Algorithm::Crc16Xmodem.of(text.as_bytes());
    [b"\x02#".as_slice(), text.as_bytes(), &sum.to_le_bytes()].concat()
}

/// One value of a lens in a frame of its own.
#[derive(Debug, Clone, Copy)]
struct One(Lens, char);

fn terse(One(lens, what): &One) -> Vec<u8> {
    let number = |value: i32| {
        let sign = if value < 0 { '-' } else { '+' };
        format!("{:02}.{:02}{sign}", value.abs() / 100, value.abs() % 100)
    };
    let (cylinder, axis) = lens.cylinder.unwrap_or((-25, 90));
    let text = match what {
        'S' => number(lens.sphere),
        'C' => number(cylinder),
        'A' => format!("{axis:03}"),
        _ => number(lens.addition.unwrap_or(100) as i32),
    };
    format!("{what}{}{text}", side(lens)).into_bytes()
}

fn show_one(One(lens, what): &One) -> Shown {
    let (cylinder, axis) = lens.cylinder.unwrap_or((-25, 90));
    let (name, value) = match what {
        'S' => ("sphere", hundredths(lens.sphere)),
        'C' => ("cylinder", hundredths(cylinder)),
        'A' => ("axis", axis.to_string()),
        _ => ("addition", hundredths(lens.addition.unwrap_or(100) as i32)),
    };
    let mut shown = Shown::default();
    shown.tell(&format!("{}{name}", of_side(lens)), &value).unwrap();
    shown
}

const POWER_AND_MORE: &[&str] =
    &["sphere", "cylinder", "axis", "addition", "prism_horizontal", "prism_vertical", "pd", "mode", "job"];
const PAIR: &[&str] =
    &["sphere", "cylinder", "axis", "addition", "prism_horizontal", "prism_vertical", "pd", "job"];
const COLUMNS: &[&str] = &["sphere", "cylinder", "axis", "addition", "prism_degrees", "pd", "job"];
const BLOCK: &[&str] = &["sphere", "cylinder", "axis", "addition", "prism", "pd", "job"];
const STRIP: &[&str] =
    &["sphere", "cylinder", "axis", "prism_horizontal", "pd", "transmittance_whole", "mode"];
const CELLS: &[&str] = &["sphere", "cylinder", "axis", "prism_vertical", "transmittance", "mode"];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn a_tagged_line(unseen in prop::collection::vec(lens(), 8)) {
        check(&telling(), &unseen, tagged, show_lens(POWER_AND_MORE));
    }

    #[test]
    fn a_delimited_pair(unseen in prop::collection::vec(pair(), 8)) {
        check(&telling_pairs(), &unseen, delimited, show_pair(PAIR));
    }

    #[test]
    fn columns_with_implied_decimals(unseen in prop::collection::vec(lens(), 8)) {
        check(&telling(), &unseen, columns, show_lens(COLUMNS));
    }

    #[test]
    fn a_block_of_lines(unseen in prop::collection::vec(pair(), 8)) {
        check(&telling_pairs(), &unseen, block, show_pair(BLOCK));
    }

    #[test]
    fn a_strip_of_fixed_length(unseen in prop::collection::vec(lens(), 8)) {
        check(&telling(), &unseen, strip, show_lens(STRIP));
    }

    #[test]
    fn cells_with_letters_for_tags(unseen in prop::collection::vec(lens(), 8)) {
        check(&telling(), &unseen, cells, show_lens(CELLS));
    }

    #[test]
    fn one_value_at_a_time(unseen in prop::collection::vec(lens(), 8)) {
        let each = |lenses: &[Lens]| -> Vec<One> {
            let of = |lens: &Lens| ['S', 'C', 'A', 'N'].map(|what| One(*lens, what));
            lenses.iter().flat_map(of).collect()
        };
        check(&each(&telling()), &each(&unseen), terse, show_one);
    }
}

#[test]
fn held_out_samples_are_never_read_wrong() {
    none_wrong(&samples(&telling(), tagged, show_lens(POWER_AND_MORE)));
    none_wrong(&samples(&telling(), columns, show_lens(COLUMNS)));
    none_wrong(&samples(&telling(), strip, show_lens(STRIP)));
    none_wrong(&samples(&telling(), cells, show_lens(CELLS)));
    none_wrong(&samples(&telling_pairs(), delimited, show_pair(PAIR)));
    none_wrong(&samples(&telling_pairs(), block, show_pair(BLOCK)));
}
