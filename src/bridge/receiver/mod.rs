//! Where a feed goes: one file for each way.

mod files;
mod lines;
mod mqtt;
mod post;
mod printer;
mod stream;

pub use files::Files;
pub use lines::Lines;
pub use mqtt::Mqtt;
pub use post::Post;
pub use printer::Tickets;

use super::message::Message;
use std::time::Duration;

/// A receiver that takes nothing for so long is given up, and tried again.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// Takes messages. What goes wrong is said in words for people; the feed then opens it again.
pub trait Receiver: Send {
    /// Whether opening shows that it is there; otherwise the first message does.
    const SHOWS_ITSELF: bool = true;

    /// Reaches it anew, whatever was before.
    fn open(&mut self) -> impl Future<Output = Result<(), String>> + Send;

    /// Whether it comes here by itself, so that there is no use in waiting before the next.
    fn comes_here(&self) -> bool {
        false
    }

    /// Hands over messages in their order, and counts in `kept` those that it has kept, so that they
    /// need not be sent again. Ends when all are. May be dropped while it waits.
    fn deliver(
        &mut self,
        messages: &[Message],
        kept: &mut usize,
    ) -> impl Future<Output = Result<(), String>> + Send;

    /// Waits with nothing to send; ends when the receiver is lost, with why. May be dropped while it
    /// waits.
    fn idle(&mut self) -> impl Future<Output = String> + Send {
        std::future::pending()
    }

    /// Takes leave at the station's end.
    fn close(&mut self) -> impl Future<Output = ()> + Send {
        std::future::ready(())
    }
}
