//! Speed and format are found from what a UART at the wrong settings makes of a line.

use fociline::station::sense::{Line, SPEEDS, Score, Search};
use fociline::station::settings::{DataBits, Parity};

/// What instruments of four kinds send of one lens (invented).
const STREAMS: [&[u8]; 4] = [
    b"JOB=4471 EYE=R S=-1.25 C=-0.50 A=91 PX=+0.40 PD=31.5\r\n",
    b"PAIR|4471|-1,25|-0,50|91|0,40I|0,25U|2,00|-1,00|||0,00|0,00||31,5|30,5|92*4C\r\n",
    b"R4471    - 125 050 091 200  050 270 315\r",
    b"\x02H 4471 K7 FM-0031 07:41:10 e P\rR  -1.25  -0.50  91 A+2.00 P0.40 I 31.5\r\x03A1B2\r",
];

/// The levels of a line while `bytes` are sent, a bit at a time: idle, start, data, parity, stop.
fn levels(bytes: &[u8], line: Line) -> Vec<bool> {
    let mut levels = vec![true; 20];
    for byte in bytes {
        let count = if line.data_bits == DataBits::Seven { 7 } else { 8 };
        let data: Vec<bool> = (0..count).map(|bit| byte >> bit & 1 == 1).collect();
        let odd = data.iter().filter(|bit| **bit).count() % 2 == 1;
        levels.push(false);
        levels.extend(data);
        match line.parity {
            Parity::None => {}
            Parity::Even => levels.push(odd),
            Parity::Odd => levels.push(!odd),
        }
        levels.push(true);
    }
    levels.extend([true; 40]);
    levels
}

/// What a UART set to `rx` hears of levels sent at `baud`: it waits for the line to fall, then
/// looks at the middle of each bit. A character with a wrong parity or no stop bit becomes NUL,
/// as the system hands it on.
fn heard(levels: &[bool], baud: u32, rx: Line) -> Vec<u8> {
    let bit = f64::from(baud) / f64::from(rx.baud);
    let level = |at: f64| levels.get(at as usize).copied().unwrap_or(true);
    // The receiver looks sixteen times a bit.
    let step = bit / 16.0;
    let (mut at, mut bytes) = (0.0, Vec::new());
    while at < levels.len() as f64 {
        if level(at) || !level(at - step) {
            at += step;
            continue;
        }
        let middle = |index: u32| level(at + (f64::from(index) + 0.5) * bit);
        if middle(0) {
            at += step;
            continue;
        }
        let count = if rx.data_bits == DataBits::Seven { 7 } else { 8 };
        let byte = (0..count).fold(0_u8, |byte, index| byte | u8::from(middle(index + 1)) << index);
        let odd = byte.count_ones() % 2 == 1;
        let (parity_right, stop) = match rx.parity {
            Parity::None => (true, count + 1),
            Parity::Even => (middle(count + 1) == odd, count + 2),
            Parity::Odd => (middle(count + 1) != odd, count + 2),
        };
        bytes.push(if parity_right && middle(stop) { byte } else { 0 });
        at += (f64::from(stop) + 0.5) * bit;
    }
    bytes
}

fn line(baud: u32, data_bits: DataBits, parity: Parity) -> Line {
    Line { baud, data_bits, parity }
}

const FORMATS: [(DataBits, Parity); 5] = [
    (DataBits::Eight, Parity::None),
    (DataBits::Seven, Parity::Even),
    (DataBits::Seven, Parity::Odd),
    (DataBits::Eight, Parity::Even),
    (DataBits::Eight, Parity::Odd),
];

/// Searches as a technician measures a lens at each try; gives what was settled on, its bytes and
/// the number of lenses.
fn search(bytes: &[u8], sent: Line) -> (Option<(Line, Vec<u8>)>, usize, Search) {
    let levels = levels(bytes, sent);
    let mut search = Search::default();
    let mut lenses = 0;
    while search.settled().is_none()
        && let Some(next) = search.next()
        && lenses < 60
    {
        lenses += 1;
        let mut bytes = heard(&levels, sent.baud, next);
        while bytes.len() < Score::FEWEST {
            // Far too slow to hear one lens as more than a byte or two: more lenses are measured.
            bytes.extend(heard(&levels, sent.baud, next));
            if bytes.is_empty() {
                bytes = vec![0; Score::FEWEST];
            }
        }
        search.heard(next, &bytes);
    }
    let settled = search.settled().map(|tried| (tried.line, tried.bytes.clone()));
    (settled, lenses, search)
}

#[test]
fn the_simulated_line_is_heard_right_at_its_own_settings() {
    for (data_bits, parity) in FORMATS {
        let own = line(4800, data_bits, parity);
        assert_eq!(heard(&levels(STREAMS[0], own), 4800, own), STREAMS[0], "{own}");
    }
    let garbled = heard(
        &levels(STREAMS[0], line(9600, DataBits::Eight, Parity::None)),
        9600,
        line(4800, DataBits::Eight, Parity::None),
    );
    assert_ne!(garbled, STREAMS[0]);
    assert!(Score::of(&garbled).points < 50, "{:?}", Score::of(&garbled));
}

#[test]
fn every_usual_speed_and_format_is_found() {
    for baud in SPEEDS {
        for (data_bits, parity) in FORMATS {
            for stream in STREAMS {
                let sent = line(baud, data_bits, parity);
                let (settled, lenses, search) = search(stream, sent);
                let tried: Vec<String> =
                    search.tried().iter().map(|tried| format!("{} {:?}", tried.line, tried.score)).collect();
                assert_eq!(
                    settled.as_ref().map(|(line, _)| *line),
                    Some(sent),
                    "{}: {}",
                    String::from_utf8_lossy(stream),
                    tried.join("\n")
                );
                assert_eq!(settled.map(|(_, bytes)| bytes).as_deref(), Some(stream), "{sent}");
                // Without parity, or with seven bits, one lens for each speed is enough.
                let most = if data_bits == DataBits::Eight && parity != Parity::None { 24 } else { 8 };
                assert!(lenses <= most, "{sent}: {lenses} lenses");
            }
        }
    }
}

#[test]
fn noise_is_never_settled_on() {
    let mut state = 7_u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    let mut search = Search::default();
    let mut tries = 0;
    while let Some(next) = search.next() {
        let bytes: Vec<u8> = (0..40).map(|_| noise()).collect();
        search.heard(next, &bytes);
        tries += 1;
        assert_eq!(search.settled(), None);
    }
    assert_eq!(tries, 24, "every speed, without parity and with either");
    search.heard(line(9600, DataBits::Eight, Parity::None), b"1.25");
    assert_eq!(search.settled(), None, "four bytes say nothing");
}

#[test]
fn scores_say_what_speaks_for_a_line() {
    let right = Score::of(b"R,-1.25,-0.50,91\r\n");
    assert_eq!((right.text, right.errors, right.numbers, right.ends, right.points), (100, 0, 2, true, 100));
    let words = Score::of(b"hello hello");
    assert_eq!((words.points, words.numbers, words.ends), (70, 0, false));
    assert!(Score::of(b"R,-1\0.25,\0-0.50,91\r\n").points < Score::ENOUGH);
    assert_eq!(Score::of(b"").points, 0);
}
