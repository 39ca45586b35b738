//! The `[[feed]]` tables: who else gets what is committed.

use super::printer::Printer;
use super::{Check, SettingsError};
use crate::bench::entry::Entry;
use serde::Deserialize;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use toml::Spanned;
use url::Url;

/// A feed: committed entries of some kinds, in order, to one receiver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Feed {
    /// Its name: its cursor in the ledger is kept under it.
    pub name: String,
    /// The kinds of entries that it carries.
    pub kinds: Vec<&'static str>,
    /// Where it begins when it has no cursor yet.
    pub from: Begin,
    /// Where it goes.
    pub to: Destination,
}

/// Where a feed begins when it has no cursor yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begin {
    /// At the ledger's first entry.
    First,
    /// With what is committed from its first start on.
    Now,
}

/// Where a feed goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Destination {
    /// JSON Lines over a stream.
    Lines {
        /// The stream.
        stream: Stream,
        /// Whether the receiver says which messages it has kept.
        acknowledged: bool,
    },
    /// Server-sent events, for receivers that come here.
    Events {
        /// Where it listens.
        at: SocketAddr,
        /// What a receiver has to know.
        key: Option<Vec<u8>>,
    },
    /// A file for each message.
    Files {
        /// The folder.
        folder: PathBuf,
    },
    /// A request for each message.
    Post {
        /// The address.
        url: Url,
        /// What requests are signed with.
        key: Option<Vec<u8>>,
        /// The certificate of who vouches for the receiver, as PEM, where it is not a public one.
        ca: Option<PathBuf>,
    },
    /// A broker.
    Broker(Broker),
    /// A ticket for each job.
    Printer(Printer),
}

/// What JSON Lines are written to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stream {
    /// A receiver at this host and port.
    Tcp(String),
    /// A receiver behind this socket.
    Unix(PathBuf),
    /// Receivers that come to this address; they have to know the key, where there is one.
    TcpListen(SocketAddr, Option<Vec<u8>>),
    /// Receivers that come to this socket.
    UnixListen(PathBuf),
    /// The standard input of this program and its arguments.
    Program(Vec<String>),
}

/// An MQTT 5 broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// Its host.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Whether it is spoken to over TLS.
    pub tls: bool,
    /// What every topic begins with.
    pub topic: String,
    /// Name and password, where it asks for them.
    pub login: Option<(String, String)>,
    /// The certificate of who vouches for the broker, as PEM, where it is not a public one.
    pub ca: Option<PathBuf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FeedTable {
    pub(super) name: Spanned<String>,
    #[serde(default)]
    kinds: Vec<Spanned<String>>,
    from: Option<Spanned<String>>,
    to: Option<Spanned<String>>,
    pub(super) at: Option<Spanned<String>>,
    run: Option<Spanned<Vec<String>>>,
    folder: Option<Spanned<PathBuf>>,
    acknowledge: Option<Spanned<bool>>,
    key: Option<Spanned<PathBuf>>,
    ca: Option<Spanned<PathBuf>>,
    user: Option<Spanned<String>>,
    password: Option<Spanned<PathBuf>>,
}

/// What a feed carries where the settings do not say.
const KINDS: [&str; 2] = ["reading", "verdict"];

impl Check<'_> {
    pub(super) fn feed(&self, table: &FeedTable) -> Result<Feed, SettingsError> {
        let kind = |kind: &Spanned<String>| {
            let known = Entry::KINDS.iter().find(|known| *known == kind.get_ref());
            known.copied().ok_or_else(|| {
                let expected = format!("kinds: expected some of {}", Entry::KINDS.join(", "));
                self.at(kind.span(), &expected)
            })
        };
        let kinds = match table.kinds.as_slice() {
            [] => KINDS.to_vec(),
            kinds => kinds.iter().map(kind).collect::<Result<_, _>>()?,
        };
        let from = self.pick(&table.from, Begin::Now, |from| match from.as_str() {
            "start" => Ok(Begin::First),
            "now" => Ok(Begin::Now),
            _ => Err("from: expected \"start\" (of the ledger) or \"now\"".to_owned()),
        })?;
        let feed = Feed { name: self.name(&table.name)?, kinds, from, to: self.destination(table)? };
        self.nothing_unused(table, &feed.to)?;
        Ok(feed)
    }

    fn destination(&self, table: &FeedTable) -> Result<Destination, SettingsError> {
        let acknowledged = table.acknowledge.as_ref().is_none_or(|acknowledge| *acknowledge.get_ref());
        let lines = |stream| Destination::Lines { stream, acknowledged };
        match (&table.to, &table.at, &table.run, &table.folder) {
            (Some(to), None, None, None) => self.to(table, to, lines),
            (None, Some(at), None, None) => self.listening(table, at, lines),
            (None, None, Some(run), None) => match run.get_ref().as_slice() {
                [program, ..] if !program.is_empty() => Ok(lines(Stream::Program(run.get_ref().clone()))),
                _ => Err(self.at(run.span(), "run: expected a program and its arguments, each in quotes")),
            },
            (None, None, None, Some(folder)) => {
                Ok(Destination::Files { folder: self.folder.join(folder.get_ref()) })
            }
            _ => Err(self.at(
                table.name.span(),
                "a feed goes one way: expected one of to = \"…\", at = \"…\", run = [\"…\"] or folder = \"…\"",
            )),
        }
    }

    fn to(
        &self,
        table: &FeedTable,
        to: &Spanned<String>,
        lines: impl Fn(Stream) -> Destination,
    ) -> Result<Destination, SettingsError> {
        let wrong = || {
            self.at(
                to.span(),
                "to: expected \"tcp://HOST:PORT\", \"unix:PATH\", \"https://HOST/PATH\", \"http://HOST/PATH\", \
                 \"mqtt://HOST/TOPIC\" or \"mqtts://HOST/TOPIC\"",
            )
        };
        if let Some(path) = to.get_ref().strip_prefix("unix:").filter(|path| !path.is_empty()) {
            return Ok(lines(Stream::Unix(self.folder.join(path))));
        }
        let url = Url::parse(to.get_ref()).map_err(|_| wrong())?;
        let host = url.host_str().filter(|host| !host.is_empty()).ok_or_else(wrong)?.to_owned();
        if url.password().is_some() || !url.username().is_empty() {
            return Err(self.at(to.span(), "to: secrets have no place here; expected user = and password ="));
        }
        let ca = table.ca.as_ref().map(|ca| self.folder.join(ca.get_ref()));
        match (url.scheme(), url.port()) {
            ("tcp", Some(port)) if matches!(url.path(), "" | "/") => {
                Ok(lines(Stream::Tcp(format!("{host}:{port}"))))
            }
            ("http" | "https", _) => Ok(Destination::Post { url, key: self.key(&table.key)?, ca }),
            (scheme @ ("mqtt" | "mqtts"), port) => {
                let tls = scheme == "mqtts";
                let topic = url.path().trim_matches('/').to_owned();
                let more = url.query().is_some() || url.fragment().is_some();
                if topic.is_empty() || more || topic.contains(['+', '#', '%']) || topic.starts_with('$') {
                    return Err(self.at(
                        to.span(),
                        "to: expected what topics begin with, such as mqtt://HOST/tarnvale/bench-1",
                    ));
                }
                let port = port.unwrap_or(if tls { 8883 } else { 1883 });
                let host = host.trim_matches(['[', ']']).to_owned();
                Ok(Destination::Broker(Broker { host, port, tls, topic, login: self.login(table)?, ca }))
            }
            _ => Err(wrong()),
        }
    }

    fn listening(
        &self,
        table: &FeedTable,
        at: &Spanned<String>,
        lines: impl Fn(Stream) -> Destination,
    ) -> Result<Destination, SettingsError> {
        let wrong = || {
            self.at(
                at.span(),
                "at: expected \"tcp://ADDRESS:PORT\" or \"unix:PATH\" for JSON Lines, or \"http://ADDRESS:PORT\" for \
                 server-sent events",
            )
        };
        if let Some(path) = at.get_ref().strip_prefix("unix:").filter(|path| !path.is_empty()) {
            return Ok(lines(Stream::UnixListen(self.folder.join(path))));
        }
        let (scheme, address) = at.get_ref().split_once("://").ok_or_else(wrong)?;
        let address: SocketAddr = address.parse().map_err(|_| wrong())?;
        let key = self.key(&table.key)?;
        if key.is_none() && !address.ip().is_loopback() {
            return Err(self.at(
                at.span(),
                "at: beyond this computer a receiver has to know a key; expected key = \"FILE\", or an address such as \
                 127.0.0.1:9100",
            ));
        }
        match scheme {
            "tcp" => Ok(lines(Stream::TcpListen(address, key))),
            "http" => Ok(Destination::Events { at: address, key }),
            _ => Err(wrong()),
        }
    }

    fn login(&self, table: &FeedTable) -> Result<Option<(String, String)>, SettingsError> {
        match (&table.user, &table.password) {
            (None, None) => Ok(None),
            (Some(user), Some(file)) => {
                let password = self.secret(file)?;
                Ok(Some((user.get_ref().clone(), String::from_utf8_lossy(&password).into_owned())))
            }
            (Some(alone), None) => Err(self.at(alone.span(), "user: expected password = \"FILE\" too")),
            (None, Some(alone)) => Err(self.at(alone.span(), "password: expected user = \"…\" too")),
        }
    }

    fn key(&self, file: &Option<Spanned<PathBuf>>) -> Result<Option<Vec<u8>>, SettingsError> {
        file.as_ref().map(|file| self.secret(file)).transpose()
    }

    /// What a file holds, without the line's end.
    fn secret(&self, file: &Spanned<PathBuf>) -> Result<Vec<u8>, SettingsError> {
        let path: PathBuf = self.folder.join(Path::new(file.get_ref()));
        let held = std::fs::read(&path)
            .map_err(|why| self.at(file.span(), &format!("{} cannot be read: {why}", path.display())))?;
        match held.trim_ascii() {
            secret if secret.len() >= 8 => Ok(secret.to_vec()),
            _ => Err(self
                .at(file.span(), &format!("{}: expected a secret of at least 8 characters", path.display()))),
        }
    }

    /// A key that has no meaning for this destination is a mistake that would go unnoticed.
    fn nothing_unused(&self, table: &FeedTable, to: &Destination) -> Result<(), SettingsError> {
        let is_lines = matches!(to, Destination::Lines { .. });
        let has_key = matches!(
            to,
            Destination::Lines { stream: Stream::TcpListen(..), .. }
                | Destination::Events { .. }
                | Destination::Post { .. }
        );
        let has_ca = matches!(to, Destination::Post { .. } | Destination::Broker(_));
        let is_broker = matches!(to, Destination::Broker(_));
        let keys = [
            ("acknowledge", table.acknowledge.as_ref().map(Spanned::span), is_lines),
            ("key", table.key.as_ref().map(Spanned::span), has_key),
            ("ca", table.ca.as_ref().map(Spanned::span), has_ca),
            ("user", table.user.as_ref().map(Spanned::span), is_broker),
            ("password", table.password.as_ref().map(Spanned::span), is_broker),
        ];
        for (key, span, has) in keys {
            if let (Some(span), false) = (span, has) {
                return Err(self.at(span, &format!("{key} has no meaning for a feed of this kind")));
            }
        }
        Ok(())
    }
}
