//! How often somebody may try a passphrase.
//!
//! Tries are counted for each account and for each network address, before the passphrase is
//! looked at, so that many at once gain nothing. A right one clears its account's count.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

/// Counts begin anew after this time.
const WINDOW: Duration = Duration::from_secs(300);
/// Tries for one account within it.
const FOR_NAME: u32 = 5;
/// Tries from one address within it.
const FROM_ADDRESS: u32 = 20;
/// How many counts are kept. Beyond it those that have run out are dropped, then the oldest.
const KEPT: usize = 4096;

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Who {
    Name(String),
    Address(IpAddr),
}

#[derive(Debug, Clone, Copy)]
struct Count {
    tries: u32,
    since: Instant,
}

/// The counts.
#[derive(Debug, Default)]
pub struct Throttle {
    counts: HashMap<Who, Count>,
}

impl Throttle {
    /// Counts a try from an address, for an account where the name is one's.
    ///
    /// # Errors
    /// When there were too many: how long to wait.
    pub fn try_once(&mut self, name: Option<&str>, from: IpAddr, now: Instant) -> Result<(), Duration> {
        let name = name.map(|name| (Who::Name(name.to_owned()), FOR_NAME));
        let wanted = [Some((Who::Address(network_of(from)), FROM_ADDRESS)), name];
        for (who, most) in wanted.iter().flatten() {
            if let Some(count) = self.counts.get(who) {
                let age = now.saturating_duration_since(count.since);
                if age < WINDOW && count.tries >= *most {
                    return Err(WINDOW - age);
                }
            }
        }
        for (who, _) in wanted.into_iter().flatten() {
            let count = self.counts.entry(who).or_insert(Count { tries: 0, since: now });
            if now.saturating_duration_since(count.since) >= WINDOW {
                *count = Count { tries: 0, since: now };
            }
            count.tries += 1;
        }
        self.shrink(now);
        Ok(())
    }

    /// The passphrase was right.
    pub fn was_right(&mut self, name: &str) {
        self.counts.remove(&Who::Name(name.to_owned()));
    }

    fn shrink(&mut self, now: Instant) {
        if self.counts.len() <= KEPT {
            return;
        }
        self.counts.retain(|_, count| now.saturating_duration_since(count.since) < WINDOW);
        while self.counts.len() > KEPT {
            let oldest = self.counts.iter().min_by_key(|(_, count)| count.since).map(|(who, _)| who.clone());
            self.counts.retain(|who, _| Some(who) != oldest.as_ref());
        }
    }
}

/// An IPv6 host has a whole /64 to itself (RFC 4291): it counts as one address.
fn network_of(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => IpAddr::V6((u128::from(address) & !u128::from(u64::MAX)).into()),
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 1));

    fn tries(throttle: &mut Throttle, name: Option<&str>, from: IpAddr, now: Instant) -> u32 {
        (0..100).take_while(|_| throttle.try_once(name, from, now).is_ok()).count() as u32
    }

    #[test]
    fn an_account_is_closed_after_some_tries_and_opens_again() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        assert_eq!(tries(&mut throttle, Some("A"), HERE, now), FOR_NAME);
        assert_eq!(
            throttle.try_once(Some("A"), HERE, now + Duration::from_secs(200)),
            Err(Duration::from_secs(100))
        );
        assert_eq!(throttle.try_once(Some("B"), HERE, now), Ok(()));
        assert_eq!(throttle.try_once(Some("A"), HERE, now + WINDOW), Ok(()));
    }

    #[test]
    fn an_address_is_closed_whatever_names_it_tries() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        assert_eq!(tries(&mut throttle, None, HERE, now), FROM_ADDRESS);
        assert!(throttle.try_once(Some("A"), HERE, now).is_err());
        let near = ["2001:db8::1", "2001:db8::2"].map(|text| text.parse().unwrap());
        assert_eq!(tries(&mut throttle, None, near[0], now), FROM_ADDRESS);
        assert!(throttle.try_once(None, near[1], now).is_err(), "the same /64");
    }

    #[test]
    fn a_right_passphrase_clears_the_accounts_count() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        tries(&mut throttle, Some("A"), HERE, now);
        throttle.was_right("A");
        assert_eq!(throttle.try_once(Some("A"), HERE, now), Ok(()));
    }

    #[test]
    fn counts_do_not_pile_up() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        for n in 0..2 * KEPT as u32 {
            throttle.try_once(None, IpAddr::V4(n.into()), now + Duration::from_nanos(n.into())).unwrap();
        }
        assert_eq!(throttle.counts.len(), KEPT);
        assert!(!throttle.counts.contains_key(&Who::Address(IpAddr::V4(0.into()))));
    }
}
