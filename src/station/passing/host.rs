//! Where a host is reached: another port, a pseudo-terminal behind a link, or a socket it connects to.

use super::super::line::{
    End, Heard, Held, Opener, Opening, PortSettings, Raw, Served, Untaken, Wire, Work, keep_alive, open,
};
use super::super::settings::Host;
use super::ROOM;
use super::pseudo::PseudoTerminal;
use std::collections::VecDeque;
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use tokio::net::TcpListener;

/// The host's end of what passes.
pub(super) fn end(host: &Host, instrument: &PortSettings) -> End {
    match host {
        Host::Port(port) => {
            let opener: Opener = Box::new(|settings| Box::pin(open(settings.clone(), true)));
            End::new(port.clone(), ROOM, Untaken::Dropped, opener)
        }
        Host::Link(link) => {
            let terminal = Arc::new(PseudoTerminal::new(link.clone()));
            let opener: Opener = Box::new(move |settings| terminal.opening(settings.baud));
            End::new(instrument.clone(), ROOM, Untaken::Dropped, opener)
        }
        Host::Listen { address, rfc2217 } => {
            let door = Arc::new(Door { address: *address, rfc2217: *rfc2217, listener: Mutex::default() });
            let opener: Opener = Box::new(move |settings| door.opening(settings.clone()));
            End::new(instrument.clone(), ROOM, Untaken::Closes, opener)
        }
    }
}

/// Where one host at a time comes in.
struct Door {
    address: SocketAddr,
    rfc2217: bool,
    listener: Mutex<Option<Arc<TcpListener>>>,
}

impl Door {
    fn opening(self: &Arc<Self>, settings: PortSettings) -> Opening {
        let door = Arc::clone(self);
        Box::pin(async move {
            let cannot = |why: io::Error| format!("cannot listen at {}: {why}", door.address);
            let known = door.listener.lock().unwrap_or_else(PoisonError::into_inner).clone();
            let listener = match known {
                Some(listener) => listener,
                None => {
                    let listener = Arc::new(TcpListener::bind(door.address).await.map_err(cannot)?);
                    *door.listener.lock().unwrap_or_else(PoisonError::into_inner) =
                        Some(Arc::clone(&listener));
                    listener
                }
            };
            let (stream, _) = listener.accept().await.map_err(cannot)?;
            keep_alive(&stream).map_err(cannot)?;
            let wire: Box<dyn Wire> = match door.rfc2217 {
                true => Box::new(Served::new(stream, settings)),
                false => Box::new(Raw::new(stream, settings)),
            };
            Ok(Box::new(Guest { wire, listener }) as Box<dyn Wire>)
        })
    }
}

/// The host that is in; others are turned away.
struct Guest {
    wire: Box<dyn Wire>,
    listener: Arc<TcpListener>,
}

impl Wire for Guest {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        match self.listener.poll_accept(cx) {
            Poll::Ready(Ok((_, who))) => {
                heard.push_back(Heard::TurnedAway(who.to_string()));
                Poll::Ready(Ok(()))
            }
            // That nobody else can be turned away is no harm to the one who is in.
            Poll::Ready(Err(_)) | Poll::Pending => self.wire.poll_read(cx, heard),
        }
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.wire.poll_write(cx, bytes)
    }

    fn poll_flush(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.wire.poll_flush(cx)
    }

    fn work(&mut self, work: Work) -> Option<Held> {
        self.wire.work(work)
    }
}
