//! A TCP socket that passes bytes and nothing else.

use super::{Heard, Held, Peer, PortSettings, Wire, Work};
use rustix::net::sockopt::{
    set_socket_keepalive, set_tcp_keepcnt, set_tcp_keepidle, set_tcp_keepintvl, set_tcp_user_timeout,
};
use std::collections::VecDeque;
use std::io;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::net::TcpStream;

/// How long a peer may take until it is there.
pub(super) const CONNECT: Duration = Duration::from_secs(5);
/// After this silence the system asks whether the peer is still there,
const IDLE: Duration = Duration::from_secs(10);
/// again after this,
const AGAIN: Duration = Duration::from_secs(5);
/// and so many times: 25 seconds after the last word a dead peer is found.
const TIMES: u32 = 3;
/// For so long what is sent may go unconfirmed.
const UNCONFIRMED_MS: u32 = 25_000;

/// Connects to a peer: each of its addresses in turn.
pub(super) async fn connect(peer: &Peer) -> Result<TcpStream, String> {
    let addresses = tokio::time::timeout(CONNECT, tokio::net::lookup_host((peer.host.as_str(), peer.port)));
    let addresses = match addresses.await {
        Ok(Ok(addresses)) => addresses.collect::<Vec<_>>(),
        Ok(Err(why)) => {
            return Err(format!(
                "cannot be opened: no address is known for {}: {why}: check the name",
                peer.host
            ));
        }
        Err(_) => {
            return Err(format!(
                "cannot be opened: nobody says within {CONNECT:?} which address {} has",
                peer.host
            ));
        }
    };
    let mut last = format!("cannot be opened: {} has no address", peer.host);
    for address in addresses {
        let stream = match tokio::time::timeout(CONNECT, TcpStream::connect(address)).await {
            Err(_) => Err(io::ErrorKind::TimedOut.into()),
            Ok(tried) => tried,
        };
        match stream.and_then(|stream| keep_alive(&stream).map(|()| stream)) {
            Ok(stream) => return Ok(stream),
            Err(why) => last = cannot_open(&address.to_string(), &why),
        }
    }
    Err(last)
}

fn cannot_open(address: &str, why: &io::Error) -> String {
    use io::ErrorKind::{ConnectionRefused, HostUnreachable, NetworkUnreachable, TimedOut};
    match why.kind() {
        ConnectionRefused => {
            format!(
                "cannot be opened: nothing listens at {address}: is the port server set up, and is its port right?"
            )
        }
        TimedOut | HostUnreachable | NetworkUnreachable => {
            format!("cannot be opened: {address} does not answer: is it switched on and on the network?")
        }
        _ => format!("cannot be opened: {address}: {why}"),
    }
}

/// Has a peer found that is silently gone, and sends each byte at once.
pub(in crate::station) fn keep_alive(stream: &TcpStream) -> io::Result<()> {
    stream.set_nodelay(true)?;
    set_socket_keepalive(stream, true)?;
    set_tcp_keepidle(stream, IDLE)?;
    set_tcp_keepintvl(stream, AGAIN)?;
    set_tcp_keepcnt(stream, TIMES)?;
    Ok(set_tcp_user_timeout(stream, UNCONFIRMED_MS)?)
}

/// Reads from a socket.
pub(super) fn read(stream: &TcpStream, cx: &mut Context<'_>, buffer: &mut [u8]) -> Poll<io::Result<usize>> {
    loop {
        ready!(stream.poll_read_ready(cx))?;
        match stream.try_read(buffer) {
            Ok(0) => {
                return Poll::Ready(Err(io::Error::new(
                    io::ErrorKind::UnexpectedEof,
                    "the other end closed it",
                )));
            }
            Err(why) if why.kind() == io::ErrorKind::WouldBlock => {}
            read => return Poll::Ready(read),
        }
    }
}

/// Writes to a socket.
pub(super) fn write(stream: &TcpStream, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
    loop {
        ready!(stream.poll_write_ready(cx))?;
        match stream.try_write(bytes) {
            Err(why) if why.kind() == io::ErrorKind::WouldBlock => {}
            written => return Poll::Ready(written),
        }
    }
}

/// A socket without any protocol on it.
pub(in crate::station) struct Raw {
    stream: TcpStream,
    /// How the line behind it is taken to be set: nobody can change it.
    settings: PortSettings,
    answers: VecDeque<Heard>,
    buffer: Box<[u8]>,
}

impl Raw {
    pub(in crate::station) fn new(stream: TcpStream, settings: PortSettings) -> Self {
        Self { stream, settings, answers: VecDeque::new(), buffer: vec![0; 4096].into() }
    }
}

impl Wire for Raw {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        if !self.answers.is_empty() {
            heard.append(&mut self.answers);
            return Poll::Ready(Ok(()));
        }
        let count = ready!(read(&self.stream, cx, &mut self.buffer))?;
        heard.push_back(Heard::Bytes(self.buffer[..count].to_vec()));
        Poll::Ready(Ok(()))
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        write(&self.stream, cx, bytes)
    }

    fn work(&mut self, work: Work) -> Option<Held> {
        if let Work::Change(change) = work {
            self.answers.push_back(Heard::Has(self.settings.get(change.setting())));
        }
        None
    }
}
