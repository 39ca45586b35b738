//! How the station's feeds do, and what waits for their receivers: the same for programs and for
//! people.

use super::app::App;
use super::problem::Problem;
use crate::bench::entry::Seq;
use crate::bridge::standing::FeedStanding;
use crate::ledger::{LedgerError, Reader};
use crate::station::board::Board;
use jiff::Timestamp;
use serde::Serialize;
use serde_with::skip_serializing_none;

/// How far ahead of a feed's cursor it is counted what waits.
const COUNTED: u64 = 5000;

/// A feed, and what waits for its receiver.
#[skip_serializing_none]
#[derive(Debug, Clone, Serialize)]
pub struct FeedView {
    /// How it does.
    #[serde(flatten)]
    pub standing: FeedStanding,
    /// How many messages wait in the ledger.
    pub waiting: u64,
    /// There are more than were counted.
    pub or_more: bool,
    /// When the first of them was committed.
    pub oldest: Option<Timestamp>,
}

/// Every feed, in the order of the settings.
///
/// # Errors
/// When the ledger cannot be read.
pub async fn feeds(app: &App) -> Result<Vec<FeedView>, Problem> {
    let (standing, head) = (app.feeds.feeds(), app.board(Board::seq));
    app.read(move |record| {
        standing.into_iter().map(|feed| view(record, feed, head)).collect::<Result<_, _>>()
    })
    .await
}

fn view(record: &Reader, standing: FeedStanding, head: Seq) -> Result<FeedView, LedgerError> {
    let counted = Seq(head.0.min(standing.cursor.0.saturating_add(COUNTED)));
    let (mut waiting, mut oldest) = (0, None);
    // Before its first start there is no cursor.
    if standing.connected.is_some() {
        for stored in record.stored(standing.cursor.next()..=counted) {
            let stored = stored?;
            if standing.kinds.iter().any(|kind| *kind == stored.kind) {
                waiting += 1;
                oldest = oldest.or_else(|| stored.time.parse().ok());
            }
        }
    }
    Ok(FeedView { standing, waiting, or_more: counted < head, oldest })
}
