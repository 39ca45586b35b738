//! The `host` table of an instrument: whom it goes on talking to.

use super::{Check, DeviceTable, Flow, LineKeys, PortSettings, SettingsError, line_keys};
use serde::Deserialize;
use std::fmt;
use std::net::SocketAddr;
use std::ops::Range;
use std::path::PathBuf;
use toml::Spanned;

/// Where the host of an instrument is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Host {
    /// On another port.
    Port(PortSettings),
    /// On a pseudo-terminal behind this link.
    Link(PathBuf),
    /// It connects to this address.
    Listen {
        /// Where the station listens.
        address: SocketAddr,
        /// Whether line settings, breaks and modem lines travel (RFC 2217).
        rfc2217: bool,
    },
}

impl fmt::Display for Host {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Port(port) => port.device.fmt(f),
            Self::Link(path) => path.display().fmt(f),
            Self::Listen { address, rfc2217: true } => write!(f, "rfc2217 {address}"),
            Self::Listen { address, rfc2217: false } => write!(f, "tcp {address}"),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HostTable {
    port: Option<Spanned<String>>,
    link: Option<Spanned<PathBuf>>,
    listen: Option<Spanned<String>>,
    rfc2217: Option<Spanned<bool>>,
    baud: Option<Spanned<u32>>,
    data_bits: Option<Spanned<u8>>,
    parity: Option<Spanned<String>>,
    stop_bits: Option<Spanned<u8>>,
    flow: Option<Spanned<String>>,
}
line_keys!(HostTable);

const EXPECTED: &str =
    "host: expected one of port = \"/dev/…\", link = \"/run/…\" and listen = \"127.0.0.1:4001\"";

impl HostTable {
    /// What it takes for itself: the key, the value, and where it stands.
    pub(super) fn claims(&self) -> impl Iterator<Item = (&'static str, String, Range<usize>)> {
        let port = self.port.as_ref().map(|port| ("port", port.get_ref().clone(), port.span()));
        let link = self.link.as_ref().map(|link| ("link", link.get_ref().display().to_string(), link.span()));
        let listen = self.listen.as_ref().map(|at| ("listen", at.get_ref().clone(), at.span()));
        port.into_iter().chain(link).chain(listen)
    }
}

impl Check<'_> {
    pub(super) fn host(
        &self,
        host: &Spanned<HostTable>,
        instrument: &DeviceTable,
        port: &PortSettings,
    ) -> Result<Host, SettingsError> {
        let table = host.get_ref();
        if port.flow == Flow::Software {
            let span = instrument.flow.as_ref().map_or(host.span(), Spanned::span);
            return Err(self.at(
                span,
                "flow = \"software\": between an instrument and its host XON and XOFF pass as they are; expected \"none\" or \"hardware\"",
            ));
        }
        let no_keys = |line: LineKeys<'_>| match line.first() {
            None => Ok(()),
            Some(span) => Err(self.at(span, "only a host on a port has line settings of its own")),
        };
        if let Some(rfc2217) = table.rfc2217.as_ref().filter(|_| table.listen.is_none()) {
            return Err(self.at(rfc2217.span(), "rfc2217: expected listen = \"127.0.0.1:4001\" with it"));
        }
        match (&table.port, &table.link, &table.listen) {
            (Some(at), None, None) => {
                let own = self.line(at, &table.line(), Some(port))?;
                if own.flow == Flow::Software {
                    let span = table.flow.as_ref().map_or(host.span(), Spanned::span);
                    return Err(self
                        .at(span, "flow: expected \"none\" or \"hardware\": XON and XOFF pass as they are"));
                }
                Ok(Host::Port(own))
            }
            (None, Some(link), None) => {
                no_keys(table.line())?;
                if link.get_ref().file_name().is_none() {
                    return Err(self.at(
                        link.span(),
                        "link: expected the path of a link, such as \"/run/fociline/focimeter-1\"",
                    ));
                }
                Ok(Host::Link(self.folder.join(link.get_ref())))
            }
            (None, None, Some(listen)) => {
                no_keys(table.line())?;
                let address =
                    listen.get_ref().parse::<SocketAddr>().ok().filter(|address| address.port() > 0);
                let address = address.ok_or_else(|| {
                    self.at(
                        listen.span(),
                        "listen: expected an address and a port such as \"127.0.0.1:4001\"",
                    )
                })?;
                let rfc2217 = table.rfc2217.as_ref().is_some_and(|rfc2217| *rfc2217.get_ref());
                Ok(Host::Listen { address, rfc2217 })
            }
            _ => Err(self.at(host.span(), EXPECTED)),
        }
    }
}
