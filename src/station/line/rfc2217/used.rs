//! The end that uses the port.

use super::super::com_port::{Command, LINE_BREAK, Speaker, control, inputs};
use super::super::settings::{Change, PortSettings, Setting};
use super::super::telnet::{BINARY, COM_PORT, Stand};
use super::super::{Break, Heard, Held, Inputs, Levels, Wire, Work};
use super::{Stream, Told};
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

/// A port that another computer has.
pub(in crate::station) struct Used {
    stream: Stream,
    /// What was heard before the port was set.
    early: VecDeque<Heard>,
    last: Option<Inputs>,
    /// When the break that is being sent ends.
    ends: Option<Pin<Box<Sleep>>>,
}

impl Used {
    /// Agrees on RFC 2217 with the far end, and sets the port.
    pub(in crate::station) async fn open(tcp: TcpStream, settings: &PortSettings) -> Result<Self, String> {
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
