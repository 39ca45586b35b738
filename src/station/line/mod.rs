//! Lines: what bytes come in on and go out on, whatever carries them.
//!
//! `open` makes a `Wire` of an [`address`](Address): a tty, a TCP socket, or a port behind the
//! network whose settings travel ([RFC 2217](com_port), over [`telnet`]). An `End` keeps one open.

mod address;
pub mod com_port;
mod end;
mod marks;
mod rfc2217;
mod settings;
mod tcp;
pub mod telnet;
pub(super) mod tty;

pub use address::{Address, Peer};
pub(super) use end::{End, Happened, Opener, Untaken};
pub(super) use rfc2217::Served;
pub use settings::{Change, DataBits, Flow, Parity, PortSettings, Setting, StopBits};
pub(super) use tcp::{Raw, keep_alive};

use std::collections::VecDeque;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

/// What comes in on a line, in its order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Heard {
    /// These bytes.
    Bytes(Vec<u8>),
    /// A break.
    Break(Break),
    /// The other end's modem lines have these levels now.
    Inputs(Inputs),
    /// The other end wants the line set so.
    Asks(Change),
    /// The line is set so.
    Has(Change),
    /// Somebody else was turned away: for the log.
    TurnedAway(String),
}

/// What is to be done on a line, in its order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Work {
    /// Send a break.
    Break(Break),
    /// Show these levels, heard on the other line, as a null modem would: its CTS on RTS here, its DSR
    /// on DTR.
    Cross(Inputs),
    /// Set these lines.
    Levels(Levels),
    /// Set the line so; [`Heard::Has`] says how it is then.
    Change(Change),
    /// Tell the other end that the line is set so.
    Tell(Change),
}

/// A break on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Break {
    /// One of the usual length (0.25 s and more); a tty does not say how long one was.
    Pulse,
    /// It begins.
    On,
    /// It ends.
    Off,
}

/// Levels of the modem lines that come in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Inputs {
    /// Clear to send.
    pub cts: bool,
    /// Data set ready.
    pub dsr: bool,
    /// Data carrier detect.
    pub dcd: bool,
    /// Ring indicator.
    pub ri: bool,
}

/// Levels of the lines beside the data lines; what is absent is left as it is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Levels {
    /// Data terminal ready.
    pub dtr: Option<bool>,
    /// Request to send.
    pub rts: Option<bool>,
}

impl Levels {
    /// The outputs that show `inputs` at the other end of a null modem.
    pub(super) fn crossed(inputs: Inputs) -> Self {
        Self { dtr: Some(inputs.dsr), rts: Some(inputs.cts) }
    }
}

/// Work under way; what is sent on the line waits for it.
pub(super) type Held = Pin<Box<dyn Future<Output = Vec<Heard>> + Send>>;

/// A wire being opened; or why it cannot be.
pub(super) type Opening = Pin<Box<dyn Future<Output = Result<Box<dyn Wire>, String>> + Send>>;

/// A line that is open. An error of any of these means that it is lost.
pub(super) trait Wire: Send {
    /// Takes in what has arrived; may find nothing.
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>>;

    /// Sends some of `bytes`, and says how many.
    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>>;

    /// Sends what the wire itself has to say.
    fn poll_flush(&mut self, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    /// Does some work, or begins to.
    fn work(&mut self, work: Work) -> Option<Held>;

    /// How often [`tick`](Wire::tick) is to look for what nobody tells of.
    fn every(&self) -> Option<Duration> {
        None
    }

    /// Looks for what nobody tells of, such as levels of modem lines.
    fn tick(&mut self, _: &mut VecDeque<Heard>) {}
}

/// Opens a port. With `marks` breaks are told from the byte NUL, and modem lines are looked at.
pub(super) async fn open(settings: PortSettings, marks: bool) -> Result<Box<dyn Wire>, String> {
    Ok(match &settings.device {
        Address::Tty(path) => Box::new(tty::Tty::open(path, &settings, marks)?),
        Address::Tcp(peer) => Box::new(Raw::new(tcp::connect(peer).await?, settings)),
        Address::Rfc2217(peer) => Box::new(rfc2217::Used::open(tcp::connect(peer).await?, &settings).await?),
    })
}
