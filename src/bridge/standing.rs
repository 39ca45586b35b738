//! How each feed does, for people: connected or not and why, and how far it has come.

use crate::bench::entry::Seq;
use crate::station::settings::feed::{Broker, Destination, Feed, Stream};
use crate::station::settings::printer::Spool;
use jiff::Timestamp;
use serde::Serialize;
use serde_with::skip_serializing_none;
use std::sync::{Mutex, PoisonError};

/// How the feeds of a station do.
#[derive(Debug)]
pub struct Standing(Mutex<Vec<FeedStanding>>);

/// How one feed does.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FeedStanding {
    /// Its name.
    pub name: String,
    /// Where it goes, for people.
    pub to: String,
    /// The kinds of entries that it carries.
    pub kinds: Vec<&'static str>,
    /// Whether its receiver is there; nothing before the first try.
    #[serialize_always]
    pub connected: Option<bool>,
    /// Why it is not.
    pub why: Option<String>,
    /// Since when.
    pub since: Option<Timestamp>,
    /// The receiver has kept every message up to this entry.
    pub cursor: Seq,
    /// How many messages were kept since the station started.
    pub kept: u64,
}

impl Standing {
    /// Of feeds that have not started.
    pub fn new(feeds: &[Feed]) -> Self {
        let feed = |feed: &Feed| FeedStanding {
            name: feed.name.clone(),
            to: in_words(&feed.to),
            kinds: feed.kinds.clone(),
            connected: None,
            why: None,
            since: None,
            cursor: Seq::default(),
            kept: 0,
        };
        Self(Mutex::new(feeds.iter().map(feed).collect()))
    }

    /// Every feed, in the order of the settings.
    pub fn feeds(&self) -> Vec<FeedStanding> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn change(&self, name: &str, change: impl FnOnce(&mut FeedStanding)) {
        let mut feeds = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(feed) = feeds.iter_mut().find(|feed| feed.name == name) {
            change(feed);
        }
    }

    /// The receiver is there.
    pub(super) fn up(&self, name: &str, now: Timestamp) {
        self.change(name, |feed| {
            if feed.connected != Some(true) {
                tracing::info!(feed = name, "connected");
                (feed.connected, feed.why, feed.since) = (Some(true), None, Some(now));
            }
        });
    }

    /// The receiver is not there.
    pub(super) fn down(&self, name: &str, why: &str, now: Timestamp) {
        self.change(name, |feed| {
            if feed.why.as_deref() != Some(why) {
                tracing::warn!(feed = name, why, "not connected; trying again");
            }
            if feed.connected != Some(false) {
                feed.since = Some(now);
            }
            feed.connected = Some(false);
            feed.why = Some(why.to_owned());
        });
    }

    /// The receiver has kept so many more messages, and now all up to this entry.
    pub(super) fn kept(&self, name: &str, messages: usize, cursor: Seq) {
        self.change(name, |feed| {
            feed.kept += messages as u64;
            feed.cursor = cursor;
        });
    }
}

fn in_words(to: &Destination) -> String {
    match to {
        Destination::Lines { stream, .. } => match stream {
            Stream::Tcp(to) => format!("tcp://{to}"),
            Stream::Unix(path) => format!("unix:{}", path.display()),
            Stream::TcpListen(at, _) => format!("at tcp://{at}"),
            Stream::UnixListen(path) => format!("at unix:{}", path.display()),
            Stream::Program(words) => words.join(" "),
        },
        Destination::Events { at, .. } => format!("at http://{at}"),
        Destination::Files { folder } => folder.display().to_string(),
        Destination::Printer(printer) => match &printer.to {
            Spool::Folder(folder) => folder.display().to_string(),
            Spool::Queue(queue) => format!("queue {queue}"),
        },
        Destination::Post { url, .. } => url.to_string(),
        Destination::Broker(Broker { host, port, tls, topic, .. }) => {
            format!("{}://{host}:{port}/{topic}", if *tls { "mqtts" } else { "mqtt" })
        }
    }
}
