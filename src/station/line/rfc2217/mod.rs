//! A serial port behind the network, RFC 2217: [`Used`] is the end that uses the port, [`Served`]
//! the end that gives it to another.

mod served;
mod used;

pub(in crate::station) use served::Served;
pub(super) use used::Used;

use super::com_port::{Command, Speaker};
use super::tcp;
use super::telnet::{self, BINARY, BRK, COM_PORT, Decoder, Options, SUPPRESS_GO_AHEAD, Said};
use std::io;
use std::task::{Context, Poll, ready};
use tokio::net::TcpStream;

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
