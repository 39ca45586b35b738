//! What the two ends of a serial port behind the network say of it: RFC 2217, "Telnet Com Port
//! Control Option". Pure.
//!
//! Client and access server have the same commands; the server's codes are 100 higher.

use super::settings::{Change, DataBits, Flow, Parity, Setting, StopBits};
use super::telnet::{COM_PORT, put_option};
use super::{Break, Inputs};

/// Which end speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaker {
    /// The end that uses the port.
    Client,
    /// The end that has the port.
    Server,
}

impl Speaker {
    fn offset(self) -> u8 {
        if self == Self::Client { 0 } else { 100 }
    }
}

/// A command, by the names of RFC 2217.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// SIGNATURE: who one is; without text it is a question.
    Signature(Vec<u8>),
    /// SET-BAUDRATE; 0 asks.
    Baud(u32),
    /// SET-DATASIZE; 0 asks.
    DataSize(u8),
    /// SET-PARITY; 0 asks.
    Parity(u8),
    /// SET-STOPSIZE; 0 asks.
    StopSize(u8),
    /// SET-CONTROL, with one of the values of [`control`].
    Control(u8),
    /// NOTIFY-LINESTATE.
    LineState(u8),
    /// NOTIFY-MODEMSTATE.
    ModemState(u8),
    /// FLOWCONTROL-SUSPEND: send no more data.
    Suspend,
    /// FLOWCONTROL-RESUME.
    Resume,
    /// SET-LINESTATE-MASK: which of the line's states are to be told.
    LineMask(u8),
    /// SET-MODEMSTATE-MASK: which changes of the modem lines are to be told.
    ModemMask(u8),
    /// PURGE-DATA.
    Purge(u8),
}

/// Values of SET-CONTROL.
#[allow(missing_docs, reason = "the names are those of RFC 2217")]
pub mod control {
    pub const ASK_FLOW: u8 = 0;
    pub const FLOW_NONE: u8 = 1;
    pub const FLOW_SOFTWARE: u8 = 2;
    pub const FLOW_HARDWARE: u8 = 3;
    pub const ASK_BREAK: u8 = 4;
    pub const BREAK_ON: u8 = 5;
    pub const BREAK_OFF: u8 = 6;
    pub const ASK_DTR: u8 = 7;
    pub const DTR_ON: u8 = 8;
    pub const DTR_OFF: u8 = 9;
    pub const ASK_RTS: u8 = 10;
    pub const RTS_ON: u8 = 11;
    pub const RTS_OFF: u8 = 12;
    pub const ASK_INBOUND: u8 = 13;
    pub const INBOUND_NONE: u8 = 14;
    pub const INBOUND_SOFTWARE: u8 = 15;
    pub const INBOUND_HARDWARE: u8 = 16;
}

/// The bit of NOTIFY-LINESTATE that says that a break was received.
pub const LINE_BREAK: u8 = 16;

impl Command {
    /// Adds the command, as `speaker` says it, to what is sent.
    pub fn put(&self, speaker: Speaker, out: &mut Vec<u8>) {
        let (code, value): (u8, &[u8]) = match self {
            Self::Signature(text) => (0, text),
            Self::Baud(baud) => (1, &baud.to_be_bytes()),
            Self::DataSize(value) => (2, &[*value]),
            Self::Parity(value) => (3, &[*value]),
            Self::StopSize(value) => (4, &[*value]),
            Self::Control(value) => (5, &[*value]),
            Self::LineState(value) => (6, &[*value]),
            Self::ModemState(value) => (7, &[*value]),
            Self::Suspend => (8, &[]),
            Self::Resume => (9, &[]),
            Self::LineMask(value) => (10, &[*value]),
            Self::ModemMask(value) => (11, &[*value]),
            Self::Purge(value) => (12, &[*value]),
        };
        let mut said = vec![code + speaker.offset()];
        said.extend(value);
        put_option(COM_PORT, &said, out);
    }

    /// What `speaker` says; nothing where RFC 2217 has no such command.
    pub fn from_said(speaker: Speaker, said: &[u8]) -> Option<Self> {
        let (code, value) = said.split_first()?;
        let byte = || value.first().copied();
        Some(match code.checked_sub(speaker.offset())? {
            0 => Self::Signature(value.to_vec()),
            1 => Self::Baud(u32::from_be_bytes(*value.first_chunk()?)),
            2 => Self::DataSize(byte()?),
            3 => Self::Parity(byte()?),
            4 => Self::StopSize(byte()?),
            5 => Self::Control(byte()?),
            6 => Self::LineState(byte()?),
            // A client asks for the state without a value.
            7 => Self::ModemState(byte().unwrap_or(0)),
            8 => Self::Suspend,
            9 => Self::Resume,
            10 => Self::LineMask(byte()?),
            11 => Self::ModemMask(byte()?),
            12 => Self::Purge(byte()?),
            _ => return None,
        })
    }

    /// The command that sets, or confirms, a setting.
    pub fn setting(change: Change) -> Self {
        match change {
            Change::Baud(baud) => Self::Baud(baud),
            Change::DataBits(bits) => Self::DataSize(match bits {
                DataBits::Five => 5,
                DataBits::Six => 6,
                DataBits::Seven => 7,
                DataBits::Eight => 8,
            }),
            Change::Parity(parity) => Self::Parity(match parity {
                Parity::None => 1,
                Parity::Odd => 2,
                Parity::Even => 3,
            }),
            Change::StopBits(bits) => Self::StopSize(match bits {
                StopBits::One => 1,
                StopBits::Two => 2,
            }),
            Change::Flow(flow) => Self::Control(match flow {
                Flow::None => control::FLOW_NONE,
                Flow::Software => control::FLOW_SOFTWARE,
                Flow::Hardware => control::FLOW_HARDWARE,
            }),
        }
    }

    /// What the command says of a setting: which one, and the value where it is one that is known
    /// here. A value that asks, and marks and spaces as parity, are none. Nothing for other commands.
    pub fn of_setting(&self) -> Option<(Setting, Option<Change>)> {
        Some(match self {
            Self::Baud(baud) => {
                (Setting::Baud, (50..=4_000_000).contains(baud).then_some(Change::Baud(*baud)))
            }
            Self::DataSize(bits) => (Setting::DataBits, DataBits::from_key(*bits).ok().map(Change::DataBits)),
            Self::Parity(value) => {
                let parity = [(1, Parity::None), (2, Parity::Odd), (3, Parity::Even)];
                let parity = parity.into_iter().find(|(code, _)| code == value);
                (Setting::Parity, parity.map(|(_, parity)| Change::Parity(parity)))
            }
            Self::StopSize(bits) => (Setting::StopBits, StopBits::from_key(*bits).ok().map(Change::StopBits)),
            Self::Control(value) => {
                let flow = match *value {
                    control::FLOW_NONE | control::INBOUND_NONE => Some(Flow::None),
                    control::FLOW_SOFTWARE | control::INBOUND_SOFTWARE => Some(Flow::Software),
                    control::FLOW_HARDWARE | control::INBOUND_HARDWARE => Some(Flow::Hardware),
                    control::ASK_FLOW | control::ASK_INBOUND => None,
                    _ => return None,
                };
                (Setting::Flow, flow.map(Change::Flow))
            }
            _ => return None,
        })
    }
}

/// The modem lines in NOTIFY-MODEMSTATE: the levels, and what changed since `before`.
pub fn modem_state(now: Inputs, before: Inputs) -> u8 {
    let bit = |set: bool, bit: u8| if set { bit } else { 0 };
    bit(now.dcd, 128)
        | bit(now.ri, 64)
        | bit(now.dsr, 32)
        | bit(now.cts, 16)
        | bit(now.dcd != before.dcd, 8)
        // The ring indicator is told at its trailing edge.
        | bit(before.ri && !now.ri, 4)
        | bit(now.dsr != before.dsr, 2)
        | bit(now.cts != before.cts, 1)
}

/// The levels in a NOTIFY-MODEMSTATE.
pub fn inputs(state: u8) -> Inputs {
    Inputs { cts: state & 16 != 0, dsr: state & 32 != 0, dcd: state & 128 != 0, ri: state & 64 != 0 }
}

/// The break in a SET-CONTROL, if it is one.
pub fn break_of(value: u8) -> Option<Break> {
    match value {
        control::BREAK_ON => Some(Break::On),
        control::BREAK_OFF => Some(Break::Off),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::telnet::{IAC, SB, SE};
    use super::*;

    /// Codes and values as RFC 2217 lists them.
    #[test]
    fn commands_are_written_as_the_standard_has_them() {
        let put = |command: Command, speaker| {
            let mut out = Vec::new();
            command.put(speaker, &mut out);
            out
        };
        assert_eq!(put(Command::Baud(9600), Speaker::Client), [IAC, SB, 44, 1, 0, 0, 0x25, 0x80, IAC, SE]);
        assert_eq!(put(Command::DataSize(7), Speaker::Server), [IAC, SB, 44, 102, 7, IAC, SE]);
        assert_eq!(
            put(Command::setting(Change::Parity(Parity::Even)), Speaker::Client),
            [IAC, SB, 44, 3, 3, IAC, SE]
        );
        assert_eq!(put(Command::ModemMask(255), Speaker::Client), [IAC, SB, 44, 11, IAC, IAC, IAC, SE]);
        assert_eq!(put(Command::Suspend, Speaker::Client), [IAC, SB, 44, 8, IAC, SE]);
    }

    #[test]
    fn every_command_reads_back() {
        for speaker in [Speaker::Client, Speaker::Server] {
            for command in [
                Command::Signature(b"lab".to_vec()),
                Command::Baud(115_200),
                Command::DataSize(8),
                Command::Parity(5),
                Command::StopSize(3),
                Command::Control(control::BREAK_ON),
                Command::LineState(LINE_BREAK),
                Command::ModemState(0xb3),
                Command::Suspend,
                Command::Resume,
                Command::LineMask(16),
                Command::ModemMask(255),
                Command::Purge(3),
            ] {
                let mut out = Vec::new();
                command.put(speaker, &mut out);
                let mut found = Vec::new();
                super::super::telnet::Decoder::default().push(&out, |said| found.push(said));
                let [super::super::telnet::Said::Option(COM_PORT, said)] = &found[..] else {
                    panic!("{found:?}")
                };
                assert_eq!(Command::from_said(speaker, said), Some(command));
            }
        }
        assert_eq!(Command::from_said(Speaker::Client, &[1, 0]), None, "cut short");
        assert_eq!(Command::from_said(Speaker::Server, &[1, 0, 0, 1, 0]), None, "the other speaks so");
        assert_eq!(Command::from_said(Speaker::Client, &[]), None);
    }

    #[test]
    fn settings_read_back_and_what_is_unknown_is_none() {
        for change in [
            Change::Baud(4800),
            Change::DataBits(DataBits::Seven),
            Change::Parity(Parity::Odd),
            Change::StopBits(StopBits::Two),
            Change::Flow(Flow::Hardware),
        ] {
            let command = Command::setting(change);
            assert_eq!(command.of_setting(), Some((change.setting(), Some(change))));
        }
        assert_eq!(Command::Baud(0).of_setting(), Some((Setting::Baud, None)));
        assert_eq!(Command::Parity(4).of_setting(), Some((Setting::Parity, None)), "marks");
        assert_eq!(Command::StopSize(3).of_setting(), Some((Setting::StopBits, None)), "one and a half");
        assert_eq!(Command::Control(control::DTR_ON).of_setting(), None);
    }

    #[test]
    fn modem_lines_are_told_with_what_changed() {
        let off = Inputs::default();
        let on = Inputs { cts: true, dsr: true, dcd: false, ri: true };
        assert_eq!(modem_state(on, off), 64 | 32 | 16 | 2 | 1);
        assert_eq!(modem_state(off, on), 4 | 2 | 1);
        assert_eq!(inputs(modem_state(on, on)), on);
    }
}
