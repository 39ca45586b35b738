//! Telnet as far as a serial port behind the network needs it. Pure: bytes in, what they say out.
//!
//! RFC 854 (commands), RFC 855 (options), RFC 1143 (how two that negotiate do not end up in a loop;
//! without its queue: nothing is asked here while the answer to its opposite is awaited).

use std::collections::BTreeMap;

/// The byte that begins a command; doubled where it is data.
pub const IAC: u8 = 255;
/// "Do not use the option."
pub const DONT: u8 = 254;
/// "Use the option."
pub const DO: u8 = 253;
/// "I do not use the option."
pub const WONT: u8 = 252;
/// "I use the option."
pub const WILL: u8 = 251;
/// Begins what an option says.
pub const SB: u8 = 250;
/// A break on the line (RFC 854: BRK).
pub const BRK: u8 = 243;
/// Ends what an option says.
pub const SE: u8 = 240;

/// Every byte passes as it is (RFC 856).
pub const BINARY: u8 = 0;
/// Both may send at any time (RFC 858).
pub const SUPPRESS_GO_AHEAD: u8 = 3;
/// A serial port's settings and lines (RFC 2217).
pub const COM_PORT: u8 = 44;

/// What an option may say at most, in bytes; more is cut off.
const LONGEST: usize = 1024;

/// What a telnet stream says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// Data, with the doubling taken out.
    Data(Vec<u8>),
    /// A command without an option, such as [`BRK`].
    Command(u8),
    /// [`WILL`], [`WONT`], [`DO`] or [`DONT`], and the option.
    Negotiates(u8, u8),
    /// What an option says, without its frame.
    Option(u8, Vec<u8>),
}

/// Takes a stream apart, in pieces of any length.
#[derive(Debug, Clone, Default)]
pub struct Decoder {
    state: State,
    said: Vec<u8>,
}

#[derive(Debug, Clone, Copy, Default)]
enum State {
    #[default]
    Data,
    Command,
    Negotiates(u8),
    Option,
    OptionCommand,
}

impl Decoder {
    /// Takes the next bytes.
    pub fn push(&mut self, bytes: &[u8], mut emit: impl FnMut(Said)) {
        let mut data = Vec::new();
        for &byte in bytes {
            let mut say = |said| {
                if !data.is_empty() {
                    emit(Said::Data(std::mem::take(&mut data)));
                }
                emit(said);
            };
            self.state = match (self.state, byte) {
                (State::Data, IAC) => State::Command,
                (State::Data, byte) => {
                    data.push(byte);
                    State::Data
                }
                (State::Command, IAC) => {
                    data.push(IAC);
                    State::Data
                }
                (State::Command, WILL..=DONT) => State::Negotiates(byte),
                (State::Command, SB) => {
                    self.said.clear();
                    State::Option
                }
                (State::Command, command) => {
                    say(Said::Command(command));
                    State::Data
                }
                (State::Negotiates(verb), option) => {
                    say(Said::Negotiates(verb, option));
                    State::Data
                }
                (State::Option, IAC) => State::OptionCommand,
                (State::Option, byte) | (State::OptionCommand, byte @ IAC) => {
                    if self.said.len() < LONGEST {
                        self.said.push(byte);
                    }
                    State::Option
                }
                // Anything but SE is a fault of the sender; the option ends there too.
                (State::OptionCommand, _) => {
                    if let Some((option, said)) = self.said.split_first() {
                        say(Said::Option(*option, said.to_vec()));
                    }
                    State::Data
                }
            };
        }
        if !data.is_empty() {
            emit(Said::Data(data));
        }
    }
}

/// Adds data to what is sent, doubled where it has to be.
pub fn put_data(bytes: &[u8], out: &mut Vec<u8>) {
    for &byte in bytes {
        out.push(byte);
        if byte == IAC {
            out.push(IAC);
        }
    }
}

/// Adds what an option says to what is sent.
pub fn put_option(option: u8, said: &[u8], out: &mut Vec<u8>) {
    out.extend([IAC, SB, option]);
    put_data(said, out);
    out.extend([IAC, SE]);
}

/// How an option stands on one side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stand {
    /// It is welcome, and nobody has asked for it.
    Welcome,
    /// It was asked for here, and there is no answer yet.
    Asked,
    /// It is in use.
    On,
    /// The other refuses it, or has ended it.
    Refused,
}

/// The options of both sides. Those not named at the start are refused.
#[derive(Debug, Clone)]
pub struct Options {
    ours: BTreeMap<u8, Stand>,
    theirs: BTreeMap<u8, Stand>,
}

impl Options {
    /// Both sides may use these.
    pub fn new(welcome: &[u8]) -> Self {
        let stands: BTreeMap<u8, Stand> = welcome.iter().map(|option| (*option, Stand::Welcome)).collect();
        Self { ours: stands.clone(), theirs: stands }
    }

    /// Offers to use an option here: what to send.
    pub fn offer(&mut self, option: u8) -> [u8; 3] {
        self.ours.insert(option, Stand::Asked);
        [IAC, WILL, option]
    }

    /// Asks the other to use an option: what to send.
    pub fn ask(&mut self, option: u8) -> [u8; 3] {
        self.theirs.insert(option, Stand::Asked);
        [IAC, DO, option]
    }

    /// How an option stands on this side; nothing where it is not welcome.
    pub fn ours(&self, option: u8) -> Option<Stand> {
        self.ours.get(&option).copied()
    }

    /// How an option stands on the other side; nothing where it is not welcome.
    pub fn theirs(&self, option: u8) -> Option<Stand> {
        self.theirs.get(&option).copied()
    }

    /// Takes what the other says of an option: what to answer.
    pub fn take(&mut self, verb: u8, option: u8) -> Option<[u8; 3]> {
        let (side, yes, no) = match verb {
            WILL | WONT => (&mut self.theirs, DO, DONT),
            _ => (&mut self.ours, WILL, WONT),
        };
        let wants = matches!(verb, WILL | DO);
        let Some(stand) = side.get_mut(&option) else {
            return wants.then_some([IAC, no, option]);
        };
        let before = *stand;
        *stand = if wants { Stand::On } else { Stand::Refused };
        match before {
            Stand::Welcome | Stand::Refused if wants => Some([IAC, yes, option]),
            Stand::On if !wants => Some([IAC, no, option]),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(pieces: &[&[u8]]) -> Vec<Said> {
        let (mut decoder, mut found) = (Decoder::default(), Vec::new());
        pieces.iter().for_each(|piece| decoder.push(piece, |said| found.push(said)));
        found
    }

    #[test]
    fn data_commands_and_options_are_told_apart() {
        let stream = [b"a", &[IAC, IAC][..], b"b", &[IAC, DO, COM_PORT], b"c", &[IAC, BRK]].concat();
        let expected = [
            Said::Data(vec![b'a', 255, b'b']),
            Said::Negotiates(DO, COM_PORT),
            Said::Data(b"c".to_vec()),
            Said::Command(BRK),
        ];
        assert_eq!(said(&[&stream]), expected);
    }

    #[test]
    fn a_stream_cut_anywhere_says_the_same() {
        let mut stream = b"x".to_vec();
        put_option(COM_PORT, &[1, 0, 255, 255, 240], &mut stream);
        put_data(&[255, 250, 255], &mut stream);
        for cut in 0..=stream.len() {
            let mut data = Vec::new();
            let mut options = Vec::new();
            for one in said(&[&stream[..cut], &stream[cut..]]) {
                match one {
                    Said::Data(bytes) => data.extend(bytes),
                    Said::Option(option, bytes) => options.push((option, bytes)),
                    other => panic!("{other:?}"),
                }
            }
            assert_eq!(data, [b'x', 255, 250, 255], "cut at {cut}");
            assert_eq!(options, [(COM_PORT, vec![1, 0, 255, 255, 240])], "cut at {cut}");
        }
    }

    #[test]
    fn an_endless_option_does_not_grow_without_end() {
        let mut decoder = Decoder::default();
        decoder.push(&[IAC, SB, COM_PORT], |_| panic!("nothing is said yet"));
        for _ in 0..1000 {
            decoder.push(&[7; 1000], |_| panic!("nothing is said yet"));
        }
        let mut found = Vec::new();
        decoder.push(&[IAC, SE, b'x'], |said| found.push(said));
        assert_eq!(found, [Said::Option(COM_PORT, vec![7; LONGEST - 1]), Said::Data(b"x".to_vec())]);
    }

    #[test]
    fn two_that_negotiate_agree_and_fall_silent() {
        // Each side offers and asks; whatever either says is answered by the other.
        let (mut one, mut two) = (Options::new(&[BINARY, COM_PORT]), Options::new(&[BINARY]));
        let mut to_two = [one.offer(BINARY), one.ask(BINARY), one.offer(COM_PORT)].to_vec();
        let mut to_one = [two.offer(BINARY), two.ask(BINARY)].to_vec();
        let mut rounds = 0;
        while !(to_one.is_empty() && to_two.is_empty()) {
            let answer = |side: &mut Options, said: &mut Vec<[u8; 3]>| -> Vec<[u8; 3]> {
                said.drain(..).filter_map(|[_, verb, option]| side.take(verb, option)).collect()
            };
            let (one_says, two_says) = (answer(&mut one, &mut to_one), answer(&mut two, &mut to_two));
            (to_one, to_two) = (two_says, one_says);
            rounds += 1;
            assert!(rounds < 10, "a loop");
        }
        assert_eq!((one.ours(BINARY), one.theirs(BINARY)), (Some(Stand::On), Some(Stand::On)));
        assert_eq!(one.ours(COM_PORT), Some(Stand::Refused), "the other does not know it");
    }
}
