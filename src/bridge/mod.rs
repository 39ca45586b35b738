//! What sends on: committed entries to other programs, and tickets to printers.
//!
//! A [`feed`] reads the ledger from its cursor on, makes [`message`]s, and hands them to its
//! [`receiver`], one after the other, until that has kept them; then the cursor moves. So nothing is
//! lost and the order holds, whatever happens to the receiver, the line to it, or the station; what
//! is sent twice is told by its `id`. What waits, waits in the ledger: a receiver that is away or
//! slow costs neither memory nor the bench any time. [`standing`] is how each feed does.

pub mod events;
pub mod feed;
pub mod message;
pub mod receiver;
pub mod signature;
pub mod standing;
mod trust;

use crate::station::attach::{Attached, Handles, attached};
use crate::station::settings::Settings;
use crate::station::settings::feed::{Destination, Feed};
use receiver::{Files, Lines, Mqtt, Post, Tickets};
use standing::Standing;
use std::sync::Arc;
use tokio::task::JoinSet;

/// Why feeds cannot be run as the settings say.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct BridgeError(pub String);

/// The feeds of a station as a task beside it, and how they do; nothing where there are none.
///
/// # Errors
/// When a file that the settings name cannot be used.
pub fn beside(settings: &Settings) -> Result<(Arc<Standing>, Option<Attached>), BridgeError> {
    let standing = Arc::new(Standing::new(&settings.feeds));
    if settings.feeds.is_empty() {
        return Ok((standing, None));
    }
    let feeds =
        settings.feeds.iter().map(|feed| Ready::new(feed, settings)).collect::<Result<Vec<_>, _>>()?;
    let shared = Arc::clone(&standing);
    let task = attached(async move |handles: Handles| {
        let mut tasks = JoinSet::new();
        for feed in feeds {
            tasks.spawn(feed.run(handles.clone(), Arc::clone(&shared)));
        }
        drop(handles);
        while let Some(ended) = tasks.join_next().await {
            if let Err(why) = ended {
                tracing::error!(%why, "a feed ended by a fault of the program");
            }
        }
    });
    Ok((standing, Some(task)))
}

/// A feed and its receiver, not yet running.
enum Ready {
    Lines(Feed, Lines),
    Files(Feed, Files),
    Post(Feed, Box<Post>),
    Broker(Feed, Box<Mqtt>),
    Events(Feed, events::Events),
    Printer(Feed, Tickets),
}

impl Ready {
    fn new(feed: &Feed, settings: &Settings) -> Result<Self, BridgeError> {
        let named = |why: String| BridgeError(format!("feed {:?}: {why}", feed.name));
        let own = feed.clone();
        Ok(match feed.to.clone() {
            Destination::Lines { stream, acknowledged } => {
                Ready::Lines(own, Lines::new(stream, acknowledged))
            }
            Destination::Files { folder } => Ready::Files(own, Files::new(folder)),
            Destination::Post { url, key, ca } => Ready::Post(
                own,
                Box::new(
                    Post::new(url, key, ca.as_deref(), &settings.name, jiff::Timestamp::now)
                        .map_err(named)?,
                ),
            ),
            Destination::Broker(broker) => {
                Ready::Broker(own, Box::new(Mqtt::new(&broker, &feed.name, &settings.name).map_err(named)?))
            }
            Destination::Printer(printer) => {
                let zone = jiff::tz::TimeZone::system();
                Ready::Printer(own, Tickets::new(printer, &settings.ledger, &settings.name, zone))
            }
            Destination::Events { at, key } => Ready::Events(own, events::Events { at, key }),
        })
    }

    async fn run(self, handles: Handles, standing: Arc<Standing>) {
        match self {
            Ready::Lines(feed, receiver) => feed::run(feed, receiver, handles, standing).await,
            Ready::Files(feed, receiver) => feed::run(feed, receiver, handles, standing).await,
            Ready::Post(feed, receiver) => feed::run(feed, *receiver, handles, standing).await,
            Ready::Broker(feed, receiver) => feed::run(feed, *receiver, handles, standing).await,
            Ready::Printer(feed, receiver) => feed::run(feed, receiver, handles, standing).await,
            Ready::Events(feed, events) => events::run(feed, events, handles, standing).await,
        }
    }
}
