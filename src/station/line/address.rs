//! Where a port is: a tty of this computer, or one behind the network.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

/// Where a port is.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Address {
    /// A tty, by its path.
    Tty(PathBuf),
    /// A TCP socket that passes bytes and nothing else: `tcp://host:port`.
    Tcp(Peer),
    /// A port behind the network whose line is set through RFC 2217: `rfc2217://host:port`.
    Rfc2217(Peer),
}

/// A computer and a TCP port on it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Peer {
    /// A name, or an IPv4 or IPv6 address.
    pub host: String,
    /// The TCP port, from 1.
    pub port: u16,
}

impl fmt::Display for Peer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { host, port } = self;
        if host.contains(':') { write!(f, "[{host}]:{port}") } else { write!(f, "{host}:{port}") }
    }
}

impl FromStr for Peer {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let expected =
            || format!("{text:?}: expected host:port, such as \"192.0.2.7:4001\" or \"[2001:db8::7]:4001\"");
        let (host, port) = text.rsplit_once(':').ok_or_else(expected)?;
        let port = port.parse().ok().filter(|port| *port > 0).ok_or_else(expected)?;
        let host = match host.strip_prefix('[').and_then(|host| host.strip_suffix(']')) {
            Some(host) if host.parse::<std::net::Ipv6Addr>().is_ok() => host,
            Some(_) => return Err(expected()),
            None => host,
        };
        let fits = |c: char| c.is_ascii_alphanumeric() || "-._".contains(c);
        let is_v6 = host.parse::<std::net::Ipv6Addr>().is_ok() && text.starts_with('[');
        if host.is_empty() || host.len() > 253 || !(is_v6 || host.chars().all(fits)) {
            return Err(expected());
        }
        Ok(Self { host: host.to_owned(), port })
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tty(path) => path.display().fmt(f),
            Self::Tcp(peer) => write!(f, "tcp://{peer}"),
            Self::Rfc2217(peer) => write!(f, "rfc2217://{peer}"),
        }
    }
}

impl FromStr for Address {
    type Err = String;

    /// # Errors
    /// Says what was expected.
    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once("://") {
            Some(("tcp", peer)) => peer.parse().map(Self::Tcp),
            Some(("rfc2217", peer)) => peer.parse().map(Self::Rfc2217),
            Some((other, _)) => Err(format!(
                "{other}:// is not known: expected a device such as /dev/ttyUSB0, tcp://host:port or rfc2217://host:port"
            )),
            None if text.is_empty() => {
                Err("it is empty: expected a device such as /dev/ttyUSB0, or tcp://host:port".to_owned())
            }
            None => Ok(Self::Tty(PathBuf::from(text))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_reads_back_as_it_is_shown() {
        for text in [
            "/dev/ttyUSB0",
            "focimeter-1",
            "tcp://192.0.2.7:4001",
            "tcp://[2001:db8::7]:4001",
            "rfc2217://ports.lab.example:2217",
        ] {
            assert_eq!(text.parse::<Address>().expect(text).to_string(), text);
        }
        assert_eq!(
            "tcp://[::1]:7".parse(),
            Ok(Address::Tcp(Peer { host: "::1".to_owned(), port: 7 })),
            "the brackets are no part of the address"
        );
    }

    #[test]
    fn what_is_no_address_is_refused_with_what_was_expected() {
        for text in [
            "tcp://",
            "tcp://host",
            "tcp://host:0",
            "tcp://host:65536",
            "tcp://:7",
            "tcp://::1:7",
            "tcp://[host]:7",
            "tcp://a b:7",
        ] {
            let said = text.parse::<Address>().expect_err(text);
            assert!(said.contains("expected host:port"), "{text}: {said}");
        }
        assert!("udp://host:7".parse::<Address>().expect_err("refused").contains("tcp://host:port"));
        assert!("".parse::<Address>().is_err());
    }
}
