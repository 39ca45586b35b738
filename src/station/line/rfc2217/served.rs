//! The end that gives the port to another.

use super::super::com_port::{Command, LINE_BREAK, Speaker, break_of, control, modem_state};
use super::super::settings::{Change, Flow, PortSettings};
use super::super::telnet::{COM_PORT, Stand};
use super::super::{Break, Heard, Held, Inputs, Wire, Work};
use super::{Stream, Told};
use std::collections::VecDeque;
use std::io;
use std::task::{Context, Poll, ready};
use tokio::net::TcpStream;

/// A port given to another computer.
pub(in crate::station) struct Served {
    stream: Stream,
    /// How the port is set, for who asks.
    settings: PortSettings,
    /// What the other end has set its lines to.
    dtr: bool,
    rts: bool,
    on_break: bool,
    line_mask: u8,
    modem_mask: u8,
    /// What the other end is told of the modem lines. A line that has none counts as ready.
    shown: Inputs,
    has_told: bool,
}

impl Served {
    pub(in crate::station) fn new(tcp: TcpStream, settings: PortSettings) -> Self {
        Self {
            stream: Stream::new(tcp, Speaker::Server),
            settings,
            dtr: true,
            rts: true,
            on_break: false,
            // As RFC 2217 has them at the start.
            line_mask: 0,
            modem_mask: 255,
            shown: Inputs { cts: true, dsr: true, dcd: true, ri: false },
            has_told: false,
        }
    }

    fn answer(&mut self, command: Command) -> Option<Heard> {
        if let Some((setting, asked)) = command.of_setting() {
            // A question, or what this line cannot be: how it is. Else the line's answer is awaited.
            return match asked {
                None => {
                    self.tell(self.settings.get(setting), is_inbound(&command));
                    None
                }
                Some(change) => {
                    if is_inbound(&command) {
                        self.tell(self.settings.get(setting), true);
                        return None;
                    }
                    Some(Heard::Asks(change))
                }
            };
        }
        match command {
            Command::Signature(text) if text.is_empty() => {
                self.stream.say(Command::Signature(b"fociline".to_vec()));
                None
            }
            Command::Control(value) => self.control(value),
            Command::ModemState(_) => {
                self.stream.say(Command::ModemState(modem_state(self.shown, self.shown)));
                None
            }
            Command::LineMask(mask) => {
                self.line_mask = mask;
                self.stream.say(Command::LineMask(mask));
                None
            }
            Command::ModemMask(mask) => {
                self.modem_mask = mask;
                self.stream.say(Command::ModemMask(mask));
                None
            }
            // What is on its way has been recorded, and passes on.
            Command::Purge(what) => {
                self.stream.say(Command::Purge(what));
                None
            }
            _ => None,
        }
    }

    fn control(&mut self, value: u8) -> Option<Heard> {
        let heard = match value {
            control::BREAK_ON | control::BREAK_OFF => {
                self.on_break = value == control::BREAK_ON;
                break_of(value).map(Heard::Break)
            }
            control::DTR_ON | control::DTR_OFF | control::RTS_ON | control::RTS_OFF => {
                match value {
                    control::DTR_ON | control::DTR_OFF => self.dtr = value == control::DTR_ON,
                    _ => self.rts = value == control::RTS_ON,
                }
                // As the far end of a null modem shows them.
                Some(Heard::Inputs(Inputs { cts: self.rts, dsr: self.dtr, dcd: self.dtr, ri: false }))
            }
            _ => None,
        };
        let pick = |is: bool, on: u8, off: u8| Some(if is { on } else { off });
        let state = match value {
            control::ASK_BREAK | control::BREAK_ON | control::BREAK_OFF => {
                pick(self.on_break, control::BREAK_ON, control::BREAK_OFF)
            }
            control::ASK_DTR | control::DTR_ON | control::DTR_OFF => {
                pick(self.dtr, control::DTR_ON, control::DTR_OFF)
            }
            control::ASK_RTS | control::RTS_ON | control::RTS_OFF => {
                pick(self.rts, control::RTS_ON, control::RTS_OFF)
            }
            _ => None,
        };
        if let Some(state) = state {
            self.stream.say(Command::Control(state));
        }
        heard
    }

    fn tell(&mut self, has: Change, inbound: bool) {
        self.settings.set(has);
        self.stream.say(match (has, inbound) {
            (Change::Flow(flow), true) => Command::Control(match flow {
                Flow::None => control::INBOUND_NONE,
                Flow::Software => control::INBOUND_SOFTWARE,
                Flow::Hardware => control::INBOUND_HARDWARE,
            }),
            _ => Command::setting(has),
        });
    }
}

fn is_inbound(command: &Command) -> bool {
    matches!(command, Command::Control(control::ASK_INBOUND..=control::INBOUND_HARDWARE))
}

impl Wire for Served {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        let told = ready!(self.stream.poll_read(cx))?;
        // Some take our asking for their own offer, and never make it.
        let speaks = told.iter().any(|told| matches!(told, Told::Command(_)));
        if !self.has_told && (speaks || self.stream.options.theirs(COM_PORT) == Some(Stand::On)) {
            self.has_told = true;
            self.stream.say(Command::ModemState(modem_state(self.shown, self.shown)));
        }
        for told in told {
            heard.extend(match told {
                Told::Data(bytes) => Some(Heard::Bytes(bytes)),
                Told::Break => Some(Heard::Break(Break::Pulse)),
                Told::Command(command) => self.answer(command),
            });
        }
        Poll::Ready(Ok(()))
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.stream.poll_write(cx, bytes)
    }

    fn poll_flush(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.stream.poll_flush(cx)
    }

    fn work(&mut self, work: Work) -> Option<Held> {
        match work {
            Work::Break(Break::Pulse | Break::On) => {
                if self.line_mask & LINE_BREAK != 0 {
                    self.stream.say(Command::LineState(LINE_BREAK));
                }
            }
            Work::Cross(now) => {
                let state = modem_state(now, self.shown);
                self.shown = now;
                // The upper half of the mask names the levels, the lower half the changes.
                if state & self.modem_mask & 0x0f != 0 {
                    self.stream.say(Command::ModemState(state & self.modem_mask));
                }
            }
            Work::Tell(has) => self.tell(has, false),
            Work::Break(Break::Off) | Work::Levels(_) | Work::Change(_) => {}
        }
        None
    }
}
