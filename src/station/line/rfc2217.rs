//! A serial port behind the network, RFC 2217: [`Used`] is the end that uses the port, [`Served`]
//! the end that gives it to another.

use super::com_port::{Command, LINE_BREAK, Speaker, break_of, control, inputs, modem_state};
use super::settings::{Change, Flow, PortSettings, Setting};
use super::telnet::{self, BINARY, BRK, COM_PORT, Decoder, Options, SUPPRESS_GO_AHEAD, Said, Stand};
use super::{Break, Heard, Held, Inputs, Levels, Wire, Work, tcp};
use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::{Instant, Sleep};

/// For how long the far end may leave what it is asked unanswered.
const ANSWER: Duration = Duration::from_secs(5);
/// How long a break lasts whose length nobody says.
const BREAK: Duration = Duration::from_millis(250);
/// No more than this is encoded at a time, so that what waits to be sent stays bounded.
const AT_ONCE: usize = 4096;
/// What the wire itself has to say may wait up to this; who asks more and reads no answer is let go.
const MOST_OWN: usize = 64 * 1024;

/// The telnet stream of both.
struct Stream {
    tcp: TcpStream,
    decoder: Decoder,
    options: Options,
    speaker: Speaker,
    /// Encoded, to be sent.
    out: Vec<u8>,
    /// The other end wants no data at present.
    suspended: bool,
    buffer: Box<[u8]>,
}

/// What the other end says, with telnet's own matters dealt with.
enum Told {
    Data(Vec<u8>),
    Break,
    Command(Command),
}

impl Stream {
    fn new(tcp: TcpStream, speaker: Speaker) -> Self {
        let mut options = Options::new(&[BINARY, SUPPRESS_GO_AHEAD, COM_PORT]);
        let mut out = Vec::new();
        out.extend(options.offer(BINARY));
        out.extend(options.ask(BINARY));
        out.extend(options.offer(SUPPRESS_GO_AHEAD));
        out.extend(options.ask(SUPPRESS_GO_AHEAD));
        match speaker {
            Speaker::Client => out.extend(options.offer(COM_PORT)),
            Speaker::Server => out.extend(options.ask(COM_PORT)),
        }
        let (decoder, buffer) = (Decoder::default(), vec![0; AT_ONCE].into());
        Self { tcp, decoder, options, speaker, out, suspended: false, buffer }
    }

    fn poll_read(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<Vec<Told>>> {
        let count = ready!(tcp::read(&self.tcp, cx, &mut self.buffer))?;
        let other = if self.speaker == Speaker::Client { Speaker::Server } else { Speaker::Client };
        let mut told = Vec::new();
        self.decoder.push(&self.buffer[..count], |said| match said {
            Said::Data(bytes) => told.push(Told::Data(bytes)),
            Said::Command(BRK) => told.push(Told::Break),
            Said::Command(_) => {}
            Said::Negotiates(verb, option) => {
                self.out.extend(self.options.take(verb, option).into_iter().flatten())
            }
            Said::Option(COM_PORT, said) => match Command::from_said(other, &said) {
                Some(Command::Suspend) => self.suspended = true,
                Some(Command::Resume) => self.suspended = false,
                Some(command) => told.push(Told::Command(command)),
                None => {}
            },
            Said::Option(..) => {}
        });
        if self.out.len() > MOST_OWN {
            let why = "it asks on and on and reads no answer";
            return Poll::Ready(Err(io::Error::new(io::ErrorKind::InvalidData, why)));
        }
        Poll::Ready(Ok(told))
    }

    fn poll_flush(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        while !self.out.is_empty() {
            let count = ready!(tcp::write(&self.tcp, cx, &self.out))?;
            self.out.drain(..count);
        }
        Poll::Ready(Ok(()))
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        ready!(self.poll_flush(cx))?;
        if self.suspended {
            // Reading, which goes on, finds the word to resume and is followed by writing.
            return Poll::Pending;
        }
        let bytes = &bytes[..bytes.len().min(AT_ONCE)];
        telnet::put_data(bytes, &mut self.out);
        // What is not sent now is sent by the next flush; the bytes are taken over either way.
        match self.poll_flush(cx) {
            Poll::Ready(Err(why)) => Poll::Ready(Err(why)),
            _ => Poll::Ready(Ok(bytes.len())),
        }
    }

    fn say(&mut self, command: Command) {
        command.put(self.speaker, &mut self.out);
    }
}

/// A port that another computer has.
pub(super) struct Used {
    stream: Stream,
    /// What was heard before the port was set.
    early: VecDeque<Heard>,
    last: Option<Inputs>,
    /// When the break that is being sent ends.
    ends: Option<Pin<Box<Sleep>>>,
}

impl Used {
    /// Agrees on RFC 2217 with the far end, and sets the port.
    pub(super) async fn open(tcp: TcpStream, settings: &PortSettings) -> Result<Self, String> {
        let mut used = Self {
            stream: Stream::new(tcp, Speaker::Client),
            early: VecDeque::new(),
            last: None,
            ends: None,
        };
        used.agree().await?;
        used.stream.say(Command::LineMask(LINE_BREAK));
        used.stream.say(Command::ModemMask(255));
        for setting in Setting::ALL {
            used.set(settings.get(setting)).await?;
        }
        Ok(used)
    }

    async fn agree(&mut self) -> Result<(), String> {
        let until = Instant::now() + ANSWER;
        loop {
            let options = &self.stream.options;
            match (options.ours(COM_PORT), options.theirs(BINARY), options.ours(BINARY)) {
                (Some(Stand::Refused), ..) => {
                    return Err("cannot be opened: the far end refuses RFC 2217 (COM-PORT-OPTION): switch it on there, or give this port as tcp://".to_owned());
                }
                (_, Some(Stand::Refused), _) | (_, _, Some(Stand::Refused)) => {
                    return Err("cannot be opened: the far end refuses to pass every byte as it is (telnet BINARY): change that there".to_owned());
                }
                (Some(Stand::On), Some(Stand::On), Some(Stand::On)) => return Ok(()),
                _ => {}
            }
            let silent = "cannot be opened: the far end does not speak RFC 2217: switch it on there, or give this port as tcp://";
            self.next(until, silent).await?;
        }
    }

    /// Sets the port so, and takes nothing less for an answer.
    async fn set(&mut self, change: Change) -> Result<(), String> {
        self.stream.say(Command::setting(change));
        let until = Instant::now() + ANSWER;
        loop {
            let has = self
                .early
                .iter()
                .position(|heard| matches!(heard, Heard::Has(has) if has.setting() == change.setting()));
            match has.and_then(|at| self.early.remove(at)) {
                Some(Heard::Has(has)) if has == change => return Ok(()),
                Some(Heard::Has(has)) => {
                    return Err(format!("cannot be opened: the far end refuses {change}: it answers {has}"));
                }
                _ => {}
            }
            let silent = format!("cannot be opened: the far end does not answer to {change}");
            self.next(until, &silent).await?;
        }
    }

    /// Waits for the next word of the far end.
    async fn next(&mut self, until: Instant, silent: &str) -> Result<(), String> {
        let mut heard = VecDeque::new();
        let next = std::future::poll_fn(|cx| {
            if let Poll::Ready(Err(why)) = self.stream.poll_flush(cx) {
                return Poll::Ready(Err(why));
            }
            self.take(cx, &mut heard)
        });
        let next = tokio::time::timeout_at(until, next).await;
        self.early.append(&mut heard);
        match next {
            Ok(Ok(())) => Ok(()),
            Ok(Err(why)) => Err(format!("cannot be opened: the far end is gone ({why})")),
            Err(_) => Err(silent.to_owned()),
        }
    }

    fn take(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        for told in ready!(self.stream.poll_read(cx))? {
            heard.extend(match told {
                Told::Data(bytes) => Some(Heard::Bytes(bytes)),
                Told::Break => Some(Heard::Break(Break::Pulse)),
                Told::Command(Command::LineState(state)) if state & LINE_BREAK != 0 => {
                    Some(Heard::Break(Break::Pulse))
                }
                Told::Command(Command::ModemState(state)) => {
                    let now = inputs(state);
                    (self.last.replace(now) != Some(now)).then_some(Heard::Inputs(now))
                }
                Told::Command(command) => command.of_setting().and_then(|(_, has)| has).map(Heard::Has),
            });
        }
        Poll::Ready(Ok(()))
    }

    fn set_levels(&mut self, levels: Levels) {
        let dtr = levels.dtr.map(|on| if on { control::DTR_ON } else { control::DTR_OFF });
        let rts = levels.rts.map(|on| if on { control::RTS_ON } else { control::RTS_OFF });
        dtr.into_iter().chain(rts).for_each(|value| self.stream.say(Command::Control(value)));
    }
}

impl Wire for Used {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        if !self.early.is_empty() {
            heard.append(&mut self.early);
            return Poll::Ready(Ok(()));
        }
        self.take(cx, heard)
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        ready!(self.poll_flush(cx))?;
        self.stream.poll_write(cx, bytes)
    }

    fn poll_flush(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        ready!(self.stream.poll_flush(cx))?;
        if let Some(ends) = &mut self.ends {
            ready!(ends.as_mut().poll(cx));
            self.ends = None;
            self.stream.say(Command::Control(control::BREAK_OFF));
            return self.stream.poll_flush(cx);
        }
        Poll::Ready(Ok(()))
    }

    fn work(&mut self, work: Work) -> Option<Held> {
        match work {
            Work::Break(Break::On) => self.stream.say(Command::Control(control::BREAK_ON)),
            Work::Break(Break::Off) => self.stream.say(Command::Control(control::BREAK_OFF)),
            Work::Break(Break::Pulse) => {
                self.stream.say(Command::Control(control::BREAK_ON));
                self.ends = Some(Box::pin(tokio::time::sleep(BREAK)));
            }
            Work::Cross(inputs) => self.set_levels(Levels::crossed(inputs)),
            Work::Levels(levels) => self.set_levels(levels),
            Work::Change(change) => self.stream.say(Command::setting(change)),
            Work::Tell(_) => {}
        }
        None
    }
}

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
        for told in ready!(self.stream.poll_read(cx))? {
            heard.extend(match told {
                Told::Data(bytes) => Some(Heard::Bytes(bytes)),
                Told::Break => Some(Heard::Break(Break::Pulse)),
                Told::Command(command) => self.answer(command),
            });
        }
        if !self.has_told && self.stream.options.theirs(COM_PORT) == Some(Stand::On) {
            self.has_told = true;
            self.stream.say(Command::ModemState(modem_state(self.shown, self.shown)));
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
