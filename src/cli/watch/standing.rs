//! Where things stand at a station, in a few lines.

use crate::bench::entry::{PortState, Seq, TextHash};
use crate::bench::standing::{Standing, State};
use crate::cli::{plain, show};
use crate::ledger::{LedgerError, Reader};
use crate::station::board::{Board, Judged, PortOnBoard, WaitsFor};
use crate::station::settings::Settings;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use std::fmt;

/// How many verdicts are named.
const VERDICTS: usize = 5;

/// A station as its board has it at a time.
pub(super) struct Stands<'s> {
    pub settings: &'s Settings,
    pub board: &'s Board,
    pub timezone: TimeZone,
    pub now: Timestamp,
    /// Since when it runs, where it does.
    pub runs: Option<Timestamp>,
}

impl Stands<'_> {
    /// The lines, with styles.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn lines(&self, record: &Reader) -> Result<Vec<String>, LedgerError> {
        let head = record.head()?.seq;
        let mut lines =
            vec![format!("{}: {head} entries in {}", self.settings.name, self.settings.ledger.display())];
        if let Some(since) = self.runs {
            lines.push(format!("runs since {}", self.when(since)));
            lines.push(match self.board.current(self.now) {
                Some(current) => format!("job {} chosen ({})", current.job, current.by),
                None => "no job is chosen".to_owned(),
            });
            lines.extend(self.board.ports().iter().map(|port| self.port(port)));
        }
        lines.extend(self.checks(record)?);
        lines.extend(self.waiting());
        // Names may have been typed with anything in them; verdicts bring their styles.
        lines.iter_mut().for_each(|line| *line = plain::text(line).into_owned());
        lines.extend(self.verdicts());
        Ok(lines)
    }

    fn when(&self, time: Timestamp) -> String {
        let [time, now] = [time, self.now].map(|time| time.to_zoned_datetime(self.timezone.clone()));
        let form = if time.date() == now.date() { "%H:%M:%S" } else { "%Y-%m-%d %H:%M:%S" };
        time.strftime(form).to_string()
    }

    fn port(&self, port: &PortOnBoard) -> String {
        let since = port.since.map(|since| format!(" since {}", self.when(since))).unwrap_or_default();
        let why = port.why.as_deref().map(|why| format!(": {why}")).unwrap_or_default();
        format!("{}: {}{since}{why}", port.name, state(port))
    }

    /// How the instruments stand, where verdicts are held back if they are not in order.
    fn checks(&self, record: &Reader) -> Result<Vec<String>, LedgerError> {
        let checks = &self.settings.checks;
        let Some(hold) = &checks.hold else { return Ok(Vec::new()) };
        let mut standing = Standing::new(checks.limits.drift(), TextHash::of(checks.limits.text()));
        for numbered in record.reference_and_checks(Seq(u64::MAX))? {
            standing.take(&numbered);
        }
        let instruments = self.settings.instruments.iter();
        let line = |name: &str| match standing.state(name, hold, self.now) {
            State::InOrder => format!("{name}: in order"),
            State::NotInOrder(why) => {
                format!("NOT IN ORDER, verdicts are held back: {why}")
            }
        };
        Ok(instruments.map(|instrument| line(&instrument.name)).collect())
    }

    fn waiting(&self) -> Option<String> {
        let count = |what| self.board.waiting().filter(|waiting| waiting.waits_for == what).count();
        let parts = [(count(WaitsFor::Job), "a job"), (count(WaitsFor::Eye), "an eye")];
        let parts = parts.into_iter().filter(|(count, _)| *count > 0);
        let parts: Vec<String> = parts.map(|(count, what)| format!("{count} for {what}")).collect();
        (!parts.is_empty()).then(|| format!("readings that wait for a person: {}", parts.join(", ")))
    }

    fn verdicts(&self) -> Option<String> {
        let verdict = |judged: &Judged| {
            let overridden = if judged.overridden.is_some() { " (overridden)" } else { "" };
            format!(
                "{} {}{overridden}",
                plain::text(judged.verdict.job.as_str()),
                show::word(&judged.verdict)
            )
        };
        let verdicts: Vec<String> = self.board.jobs().take(VERDICTS).map(verdict).collect();
        (!verdicts.is_empty()).then(|| format!("last verdicts: {}", verdicts.join(", ")))
    }
}

fn state(port: &PortOnBoard) -> String {
    match port.state {
        None => "not tried yet".to_owned(),
        Some(state @ (PortState::Opened | PortState::Answering)) => state.to_string(),
        Some(state) => state.to_string().to_uppercase(),
    }
}

/// Each port that is not open, or not answered on.
pub(super) fn not_open(board: &Board) -> impl Iterator<Item = String> {
    let open = |port: &&PortOnBoard| matches!(port.state, Some(PortState::Opened | PortState::Answering));
    let ports = board.ports().iter().filter(move |port| !open(port));
    ports.map(|port| plain::text(&format!("{} {}", port.name, state(port))).into_owned())
}

/// How long ago something was, to the second, minute or hour.
pub(super) struct Ago(pub SignedDuration);

impl fmt::Display for Ago {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // A clock that was set back is no reason to speak of the future.
        match self.0.as_secs().max(0) {
            seconds @ ..60 => write!(f, "{seconds} s ago"),
            seconds @ 60..3600 => write!(f, "{} min ago", seconds / 60),
            seconds => write!(f, "{} h ago", seconds / 3600),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ago_is_in_the_unit_that_fits() {
        let ago = |seconds| Ago(SignedDuration::from_secs(seconds)).to_string();
        assert_eq!([-5, 0, 59].map(ago), ["0 s ago", "0 s ago", "59 s ago"]);
        assert_eq!([60, 3599, 3600, 90_000].map(ago), ["1 min ago", "59 min ago", "1 h ago", "25 h ago"]);
    }
}
