//! Whether the instrument's value of a lens was shown to somebody: a manual reading after that is
//! not blind.
//!
//! Counted is what this station's pages and its API show of a job: the bench, the job and its
//! certificate, readings that wait, last frames, searches and entries of the ledger, comparisons,
//! and certified values in the register. Not known is what is seen elsewhere, such as on the
//! instrument's own display; what a program is sent as a download or a live stream; and what was
//! seen before the last start.

use super::app::App;
use super::session::{Key, Who};
use super::view::{EntryView, JobView};
use crate::bench::entry::Entry;
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::board::Board;
use jiff::Timestamp;
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

/// How much is remembered. Beyond it the older half is forgotten.
const KEPT: usize = 100_000;
/// Every lens of a job, and one that is for no eye.
const ALL: [Option<Eye>; 3] = [Some(Eye::Right), Some(Eye::Left), None];

/// A person wherever they are signed in; where nobody signs in, whoever sits at the browser.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Viewer {
    Person(String),
    Browser(Key),
    Address(IpAddr),
}

impl Viewer {
    fn of(who: &Who) -> Self {
        match (&who.person, who.session) {
            (Some(person), _) => Self::Person(person.name.clone()),
            (None, Some(key)) => Self::Browser(key),
            (None, None) => Self::Address(who.from),
        }
    }
}

/// To whom, and the value of which lens.
type Shown = (Viewer, JobNumber, Option<Eye>);

/// Which lenses' values were shown to whom, and when first.
#[derive(Debug, Default)]
pub struct Seen(Mutex<HashMap<Shown, Timestamp>>);

impl Seen {
    fn note(&self, who: &Who, job: &JobNumber, eyes: impl IntoIterator<Item = Option<Eye>>, now: Timestamp) {
        let mut seen = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if seen.len() >= KEPT {
            let mut times: Vec<Timestamp> = seen.values().copied().collect();
            times.sort_unstable();
            let middle = times[times.len() / 2];
            seen.retain(|_, time| *time > middle);
        }
        for eye in eyes {
            seen.entry((Viewer::of(who), job.clone(), eye)).or_insert(now);
        }
    }

    /// When the value of this lens was first shown to them, if it was.
    pub fn when(&self, who: &Who, job: &JobNumber, eye: Option<Eye>) -> Option<Timestamp> {
        let seen = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        seen.get(&(Viewer::of(who), job.clone(), eye)).copied()
    }
}

impl App {
    /// Notes that the value of one lens is shown.
    pub(super) fn shows_lens(&self, who: &Who, job: &JobNumber, eye: Option<Eye>) {
        self.seen.note(who, job, [eye], self.now());
    }

    /// Notes that whatever was measured of a job is shown. A lens without an eye may be either.
    pub(super) fn shows_job(&self, who: &Who, view: &JobView) {
        for reading in view.readings.iter().map(|reading| &reading.entry.reading) {
            let either = reading.unspecified.is_some();
            let eyes = Eye::BOTH.into_iter().filter(|eye| either || reading.lens(*eye).is_some());
            // Reference and practice lenses are read by hand for no eye.
            self.seen.note(who, &view.job, eyes.map(Some).chain([None]), self.now());
        }
    }

    /// Notes that an entry of this kind, which concerns these jobs, is shown.
    pub(super) fn shows_entry(&self, who: &Who, kind: &str, jobs: &[JobNumber]) {
        if matches!(kind, "reading" | "verdict" | "cross-check" | "reference-lens" | "instrument-check") {
            for job in jobs {
                self.seen.note(who, job, ALL, self.now());
            }
        }
    }

    /// Notes that readings that wait for a person are shown.
    pub(super) fn shows_waiting(&self, who: &Who, board: &Board) {
        for job in board.waiting().filter_map(|waiting| waiting.job.as_ref()) {
            self.shows_entry(who, "reading", std::slice::from_ref(job));
        }
    }

    /// Notes that an entry is shown with what came of it: a frame is its reading, an order its verdicts.
    pub(super) fn shows_whole_entry(&self, who: &Who, view: &EntryView) {
        self.shows_entry(who, &view.kind, &view.jobs);
        for later in &view.later {
            self.shows_entry(who, later.kind, &view.jobs);
            if let Ok(Entry::Reading(reading)) = Entry::from_payload(later.kind, later.payload.get()) {
                self.shows_entry(who, later.kind, &reading.job.into_iter().collect::<Vec<_>>());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::entry::Role;
    use crate::page::session::Person;

    fn who(name: Option<&str>, session: u8) -> Who {
        let person = name.map(|name| Person {
            name: name.to_owned(),
            role: Role::Bench,
            since: Timestamp::UNIX_EPOCH,
        });
        let from = [127, 0, 0, 1].into();
        Who { person, from, session: Some([session; 32]), csrf: String::new() }
    }

    #[test]
    fn a_person_has_seen_it_wherever_they_sign_in_and_a_browser_is_whoever_sits_at_it() {
        let (seen, job) = (Seen::default(), "4471".parse().unwrap());
        let right = Some(Eye::Right);
        seen.note(&who(Some("A"), 1), &job, [right], Timestamp::UNIX_EPOCH);
        assert!(seen.when(&who(Some("A"), 2), &job, right).is_some());
        assert!(seen.when(&who(Some("B"), 1), &job, right).is_none());
        assert!(seen.when(&who(Some("A"), 1), &job, Some(Eye::Left)).is_none());
        seen.note(&who(None, 3), &job, [right], Timestamp::UNIX_EPOCH);
        assert!(seen.when(&who(None, 3), &job, right).is_some());
        assert!(seen.when(&who(None, 4), &job, right).is_none());
    }

    #[test]
    fn what_was_seen_last_is_remembered() {
        let (seen, job) = (Seen::default(), |n: usize| n.to_string().parse::<JobNumber>().unwrap());
        for n in 0..=KEPT {
            let time = Timestamp::from_second(i64::try_from(n).unwrap()).unwrap();
            seen.note(&who(None, 1), &job(n), [None], time);
        }
        assert!(seen.when(&who(None, 1), &job(0), None).is_none());
        assert!(seen.when(&who(None, 1), &job(KEPT), None).is_some());
    }
}
