//! A TCP proxy that drops connections at random, after some bytes in either direction.

use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

pub struct Proxy {
    pub at: SocketAddr,
    pub dropped: Arc<AtomicUsize>,
    generous: Arc<AtomicUsize>,
}

impl Proxy {
    /// Passes on to `to`; each connection lasts for up to `most` bytes, until [`Proxy::calm`].
    pub fn to(to: SocketAddr, most: u64, seed: u64) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let at = listener.local_addr().expect("bound");
        let (dropped, generous) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let (drops, calm) = (Arc::clone(&dropped), Arc::clone(&generous));
        std::thread::spawn(move || {
            let mut chance = seed;
            for near in listener.incoming() {
                let (Ok(near), Ok(far)) = (near, TcpStream::connect(to)) else { continue };
                // A linear congruential generator (Knuth, MMIX): enough to be irregular, and the same
                // each time.
                chance =
                    chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let left = if calm.load(Ordering::Relaxed) > 0 { u64::MAX } else { (chance >> 33) % most };
                let left = Arc::new(AtomicU64::new(left));
                for (from, into) in [(&near, &far), (&far, &near)] {
                    let from = from.try_clone().expect("a socket");
                    let into = into.try_clone().expect("a socket");
                    let (left, drops) = (Arc::clone(&left), Arc::clone(&drops));
                    std::thread::spawn(move || pass(from, into, &left, &drops));
                }
            }
        });
        Self { at, dropped, generous }
    }

    /// New connections last.
    pub fn calm(&self) {
        self.generous.store(1, Ordering::Relaxed);
    }
}

fn pass(mut from: TcpStream, mut into: TcpStream, left: &AtomicU64, drops: &AtomicUsize) {
    let mut buffer = [0; 512];
    while let Ok(count @ 1..) = from.read(&mut buffer) {
        let before = left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| {
            Some(left.saturating_sub(count as u64))
        });
        let passes = usize::try_from(before.expect("always some")).unwrap_or(usize::MAX).min(count);
        if into.write_all(&buffer[..passes]).is_err() {
            break;
        }
        if passes < count {
            drops.fetch_add(1, Ordering::Relaxed);
            break;
        }
    }
    let _ = from.shutdown(Shutdown::Both);
    let _ = into.shutdown(Shutdown::Both);
}
