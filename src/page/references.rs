//! The register of reference lenses and how each instrument stands: for programs and for people.

use super::app::App;
use super::problem::Problem;
use super::session::Who;
use crate::bench::entry::{ReferenceLensEntry, Seq, TextHash};
use crate::bench::standing::{LastCheck, Standing, State};
use crate::check::reference::CheckOutcome;
use crate::judge::verdict::Hold;
use crate::parsers::reading::JobNumber;
use jiff::Timestamp;
use serde::Serialize;
use serde_with::skip_serializing_none;

/// How often an instrument is due where the settings hold nothing back.
const DAILY: u32 = 24;

/// The register, and how each instrument stands.
#[derive(Debug, Clone, Serialize)]
pub struct Register {
    /// Each lens as it stands, by name.
    pub lenses: Vec<Registered>,
    /// Each instrument of the settings, and others that were checked.
    pub instruments: Vec<Checked>,
    /// Whether verdicts are held back while an instrument is not in order.
    pub hold: bool,
    /// How old a check may be, hours.
    pub every_hours: u32,
}

/// A reference lens as it stands.
#[derive(Debug, Clone, Serialize)]
pub struct Registered {
    /// Its entry.
    pub seq: Seq,
    /// Whether its certificate is out of date today (UTC).
    pub overdue: bool,
    /// The revision.
    #[serde(flatten)]
    pub entry: ReferenceLensEntry,
}

/// How an instrument stands.
#[skip_serializing_none]
#[derive(Debug, Clone, Serialize)]
pub struct Checked {
    /// The instrument.
    pub instrument: String,
    /// Whether its checks are good and in date.
    pub state: CheckState,
    /// Why not, where they are not.
    pub why: Option<String>,
    /// Its last check with each lens.
    pub checks: Vec<Last>,
}

/// Whether an instrument's checks are good and in date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckState {
    /// They are.
    Good,
    /// A check is to be made, or made again.
    Due,
    /// The last check with some lens is bad.
    Bad,
}

/// The last check with one lens.
#[derive(Debug, Clone, Serialize)]
pub struct Last {
    /// The lens.
    pub lens: JobNumber,
    /// The check's entry.
    pub seq: Seq,
    /// When.
    pub time: Timestamp,
    /// What it came to.
    pub outcome: CheckOutcome,
}

impl App {
    /// The register as it stands. Certified values are shown: see [`super::seen`].
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub async fn register(&self, who: &Who) -> Result<Register, Problem> {
        let entries = self.read(|record| record.reference_and_checks(Seq(u64::MAX))).await?;
        let limits = &self.settings.checks.limits;
        let mut standing = Standing::new(limits.drift(), TextHash::of(limits.text()));
        for numbered in &entries {
            standing.take(numbered);
        }
        let now = self.now();
        let today = now.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
        let lenses: Vec<Registered> = standing
            .lenses()
            .map(|(seq, entry)| Registered { seq, overdue: entry.lens.due < today, entry: entry.clone() })
            .collect();
        for registered in &lenses {
            self.shows_lens(who, &registered.entry.lens.name, None);
        }
        let hold = self.settings.checks.hold.clone();
        let terms = hold.clone().unwrap_or(Hold { every_hours: DAILY, lenses: Vec::new() });
        let named: Vec<&str> = self.settings.instruments.iter().map(|of| of.name.as_str()).collect();
        let instruments = standing.instruments(&named).into_iter();
        let instruments =
            instruments.map(|(name, checks)| checked(&standing, name, checks, &terms, now)).collect();
        Ok(Register { lenses, instruments, hold: hold.is_some(), every_hours: terms.every_hours })
    }
}

fn checked(
    standing: &Standing,
    instrument: &str,
    checks: Vec<(&JobNumber, &LastCheck)>,
    terms: &Hold,
    now: Timestamp,
) -> Checked {
    let last = |(lens, last): (&JobNumber, &LastCheck)| Last {
        lens: lens.clone(),
        seq: last.seq,
        time: last.time,
        outcome: last.outcome,
    };
    let checks: Vec<Last> = checks.into_iter().map(last).collect();
    let bad = checks.iter().any(|last| last.outcome == CheckOutcome::Bad);
    let (state, why) = match standing.state(instrument, terms, now) {
        State::InOrder => (CheckState::Good, None),
        State::NotInOrder(why) if bad => (CheckState::Bad, Some(why)),
        State::NotInOrder(why) => (CheckState::Due, Some(why)),
    };
    Checked { instrument: instrument.to_owned(), state, why, checks }
}
