//! Deriving again: every reading from its raw bytes and every verdict from its readings, with the
//! layouts and rule sets that were in force, compared with what is on record.
//!
//! What is not derived again is who chose which job at the station: that is on record as its own
//! entries, not computed.

use super::error::LedgerError;
use super::read::Reader;
use crate::bench::checking::{checked, cross_checked};
use crate::bench::entry::{
    CrossCheckEntry, DriftEntry, Entry, FrameEntry, InForce, InForceEntry, InstrumentCheckEntry, ManualEntry,
    Numbered, ReadingEntry, Seq, TextHash,
};
use crate::bench::job::JobRecord;
use crate::bench::standing::Standing;
use crate::check::Limits;
use crate::judge::RuleSet;
use crate::judge::verdict::{Item, Verdict};
use crate::optics::normal_form;
use crate::parsers::frame::Ended;
use crate::parsers::layout::Reject;
use crate::parsers::reader::Reader as FrameReader;
use crate::parsers::reading::{JobNumber, Reading};
use std::collections::HashMap;
use std::fmt;
use std::sync::Arc;

/// What came of deriving again.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Rederived {
    /// How many readings were derived from their frames.
    pub readings: u64,
    /// How many frames that gave no reading were read again, with the same reason.
    pub rejects: u64,
    /// How many verdicts were derived from their readings and orders.
    pub verdicts: u64,
    /// How many cross-checks were derived from their manual readings and what had been measured.
    pub cross_checks: u64,
    /// How many instrument checks were derived from their readings and certificates.
    pub checks: u64,
    /// How many drifts were derived from the checks before them.
    pub drifts: u64,
    /// Where the result is another than the one on record, or there is none.
    pub differences: Vec<Difference>,
}

/// An entry that could not be derived again as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Which entry.
    pub seq: Seq,
    /// What is different.
    pub what: String,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "entry {}: {}", self.seq, self.what)
    }
}

/// Derives all readings and verdicts again, or those that concern one job. `progress` is told how
/// many entries of how many are done.
///
/// # Errors
/// When the ledger cannot be read. A different result is not an error but a difference.
pub fn rederive(
    record: &Reader,
    job: Option<&JobNumber>,
    mut progress: impl FnMut(u64, u64),
) -> Result<Rederived, LedgerError> {
    let mut again = Again {
        record,
        layouts: HashMap::new(),
        rules: HashMap::new(),
        limits: HashMap::new(),
        standing: Standings::new(record)?,
        found: Rederived::default(),
    };
    if let Some(job) = job {
        let history = record.job_history(job)?;
        let total = history.len() as u64;
        for (done, numbered) in (1..).zip(&history) {
            again.entry(numbered)?;
            progress(done, total);
        }
    } else {
        let head = record.head()?.seq;
        for numbered in record.entries(Seq(1)..=head) {
            let numbered = numbered?;
            again.entry(&numbered)?;
            progress(numbered.seq.0, head.0);
        }
    }
    Ok(again.found)
}

struct Again<'r> {
    record: &'r Reader,
    /// What was in force, ready for use, by hash; or why it cannot be used.
    layouts: HashMap<TextHash, Result<FrameReader, String>>,
    rules: HashMap<String, Result<Arc<RuleSet>, String>>,
    limits: HashMap<TextHash, Result<Arc<Limits>, String>>,
    standing: Standings,
    found: Rederived,
}

impl Again<'_> {
    fn entry(&mut self, numbered: &Numbered) -> Result<(), LedgerError> {
        let seq = numbered.seq;
        let compared = match &numbered.entry {
            Entry::Frame(frame) => self.frame(seq, frame)?,
            Entry::Reading(reading) => self.reading(seq, reading)?,
            Entry::Verdict(verdict) => self.verdict(numbered, verdict)?,
            Entry::Manual(manual) => manual_again(manual),
            Entry::CrossCheck(check) => self.cross_check(seq, check)?,
            Entry::InstrumentCheck(check) => self.check(numbered, check)?,
            Entry::Drift(drift) => self.drift(seq, drift)?,
            _ => Ok(()),
        };
        if let Err(what) = compared {
            self.found.differences.push(Difference { seq, what });
        }
        Ok(())
    }

    /// A frame gave a reading, or gives none for the same reason.
    fn frame(&mut self, seq: Seq, frame: &FrameEntry) -> Result<Result<(), String>, LedgerError> {
        let Some(reject) = &frame.reject else {
            let next = self.record.entry(seq.next())?.map(|numbered| numbered.entry);
            let is_there = matches!(next, Some(Entry::Reading(reading)) if reading.frame == seq);
            return Ok(is_there
                .then_some(())
                .ok_or_else(|| "a frame was read and its reading is not there".to_owned()));
        };
        if frame.ended != Ended::Complete || frame.layout.0.is_empty() {
            // Nothing was read of it, so there is nothing to derive.
            return Ok(Ok(()));
        }
        Ok(match self.read(frame)? {
            Err(why) => Err(why),
            Ok(Ok(_)) => Err(format!("the frame gives a reading now; on record it gave none: {reject}")),
            Ok(Err(now)) if now == *reject => {
                self.found.rejects += 1;
                Ok(())
            }
            Ok(Err(now)) => {
                Err(format!("the frame gives no reading for another reason. Now: {now}. On record: {reject}"))
            }
        })
    }

    fn reading(&mut self, seq: Seq, reading: &ReadingEntry) -> Result<Result<(), String>, LedgerError> {
        let frame = match self.record.entry(reading.frame)?.map(|numbered| numbered.entry) {
            Some(Entry::Frame(frame)) if reading.frame < seq => frame,
            _ => return Ok(Err(format!("it was read from entry {}, which is not a frame", reading.frame))),
        };
        Ok(match self.read(&frame)? {
            Err(why) => Err(why),
            Ok(Err(reject)) => {
                Err(format!("its frame, entry {}, gives no reading now: {reject}", reading.frame))
            }
            Ok(Ok(now)) if now == reading.reading && frame.instrument == reading.instrument => {
                self.found.readings += 1;
                Ok(())
            }
            Ok(Ok(now)) => Err(format!(
                "its frame, entry {} of {}, gives another reading. Now: {}. On record, of {}: {}",
                reading.frame,
                frame.instrument,
                json(&now),
                reading.instrument,
                json(&reading.reading)
            )),
        })
    }

    fn verdict(&mut self, numbered: &Numbered, verdict: &Verdict) -> Result<Result<(), String>, LedgerError> {
        let seq = numbered.seq;
        let Some(basis) = &verdict.basis else {
            return Ok(Err("the verdict does not say what it was derived from".to_owned()));
        };
        let rules = match self.rules(&basis.rules)? {
            Ok(rules) => rules,
            Err(why) => return Ok(Err(why)),
        };
        let mut history = self.record.job_history(&verdict.job)?;
        history.retain(|numbered| numbered.seq < seq);
        let record = JobRecord::from_history(verdict.job.clone(), &history);
        let mut now = record.judged(&rules, &basis.rules, &basis.software);
        if let Some(now) = &mut now {
            let instruments = record.instruments(&basis.readings);
            let standing = self.standing.before(seq);
            standing.link(now, &instruments, basis.hold.as_ref(), numbered.time);
        }
        Ok(match now {
            Some(now) if now == *verdict => {
                self.found.verdicts += 1;
                Ok(())
            }
            Some(now) => Err(difference(&now, verdict)),
            None => {
                Err("the job had no order or no measured value then, so there is no verdict to derive"
                    .to_owned())
            }
        })
    }

    /// What the frame's bytes say, in normal form, by the layout that was in force.
    fn read(&mut self, frame: &FrameEntry) -> Result<Result<Result<Reading, Reject>, String>, LedgerError> {
        if !self.layouts.contains_key(&frame.layout) {
            let layout = self.in_force(&frame.layout.0, InForce::Layout)?.and_then(|text| layout(&text));
            self.layouts.insert(frame.layout.clone(), layout);
        }
        Ok(match &self.layouts[&frame.layout] {
            Ok(reader) => Ok(reader.read(&frame.bytes).map(normal_form)),
            Err(why) => Err(why.clone()),
        })
    }

    fn rules(&mut self, hash: &str) -> Result<Result<Arc<RuleSet>, String>, LedgerError> {
        if let Some(known) = self.rules.get(hash) {
            return Ok(known.clone());
        }
        let rules = self.in_force(hash, InForce::Rules)?.and_then(|text| {
            let rules = RuleSet::from_toml(&text.text, &text.name);
            rules.map(Arc::new).map_err(|why| format!("the rule set in force then cannot be used now: {why}"))
        });
        self.rules.insert(hash.to_owned(), rules.clone());
        Ok(rules)
    }

    fn cross_check(&mut self, seq: Seq, check: &CrossCheckEntry) -> Result<Result<(), String>, LedgerError> {
        let limits = match self.limits(&check.limits)? {
            Ok(limits) => limits,
            Err(why) => return Ok(Err(why)),
        };
        let manual = match self.record.entry(check.manual)?.map(|numbered| numbered.entry) {
            Some(Entry::Manual(manual)) if check.manual < seq => manual,
            _ => {
                return Ok(Err(format!("it rests on entry {}, which is not a manual reading", check.manual)));
            }
        };
        let mut history = self.record.job_history(&check.job)?;
        history.retain(|numbered| numbered.seq < seq);
        let record = JobRecord::from_history(check.job.clone(), &history);
        let now = cross_checked(check.manual, &manual, &record, &limits, &check.limits);
        Ok(same(now.as_ref(), check, &mut self.found.cross_checks))
    }

    fn check(
        &mut self,
        numbered: &Numbered,
        check: &InstrumentCheckEntry,
    ) -> Result<Result<(), String>, LedgerError> {
        let limits = match self.limits(&check.limits)? {
            Ok(limits) => limits,
            Err(why) => return Ok(Err(why)),
        };
        let reading = match self.record.entry(check.reading)?.map(|numbered| numbered.entry) {
            Some(Entry::Reading(reading)) if check.reading < numbered.seq => reading,
            _ => return Ok(Err(format!("it rests on entry {}, which is not a reading", check.reading))),
        };
        let standing = self.standing.before(numbered.seq);
        let now = standing.lens(&check.lens).map(|(entry, lens)| {
            let (by, hash) = (&check.by, &check.limits);
            checked(check.reading, &reading, entry, lens, by, &limits, hash, numbered.time)
        });
        Ok(same(now.as_ref(), check, &mut self.found.checks))
    }

    /// The charts are folded from all checks before, by the limits that the entry names.
    fn drift(&mut self, seq: Seq, drift: &DriftEntry) -> Result<Result<(), String>, LedgerError> {
        let limits = match self.limits(&drift.limits)? {
            Ok(limits) => limits,
            Err(why) => return Ok(Err(why)),
        };
        if drift.check >= seq {
            return Ok(Err(format!("it rests on entry {}, which comes later", drift.check)));
        }
        let fired = self.standing.fired(drift.check, &limits, &drift.limits);
        let of = |one: &DriftEntry| (one.quantity, one.chart, one.rule.clone(), one.side.clone());
        let now = fired.iter().find(|now| of(now) == of(drift));
        Ok(same(now, drift, &mut self.found.drifts))
    }

    fn limits(&mut self, hash: &TextHash) -> Result<Result<Arc<Limits>, String>, LedgerError> {
        if let Some(known) = self.limits.get(hash) {
            return Ok(known.clone());
        }
        let limits = self.in_force(&hash.0, InForce::Limits)?.and_then(|text| {
            let limits = Limits::from_toml(&text.text, &text.name);
            limits.map(Arc::new).map_err(|why| format!("the limits in force then cannot be used now: {why}"))
        });
        self.limits.insert(hash.clone(), limits.clone());
        Ok(limits)
    }

    fn in_force(&self, hash: &str, what: InForce) -> Result<Result<InForceEntry, String>, LedgerError> {
        let text = self.record.in_force(hash)?;
        Ok(text.filter(|text| text.what == what && TextHash::of(&text.text).0 == hash).ok_or_else(|| {
            format!("the text with the hash {hash}, by which it was derived, is not on record")
        }))
    }
}

/// How instruments stood before each entry, for entries asked for in their order.
struct Standings {
    /// Every reference lens and check.
    entries: Vec<Numbered>,
    taken: usize,
    standing: Standing,
    /// The charts by one set of limits, as far as they were asked for.
    charts: Option<Charted>,
}

struct Charted {
    limits: TextHash,
    taken: usize,
    standing: Standing,
    /// What the last check taken came to.
    last: (Seq, Vec<DriftEntry>),
}

impl Standings {
    fn new(record: &Reader) -> Result<Self, LedgerError> {
        let terms = Limits::default().drift();
        let nothing = Standing::new(terms, TextHash(String::new()));
        let entries = record.reference_and_checks(Seq(u64::MAX))?;
        Ok(Self { entries, taken: 0, standing: nothing, charts: None })
    }

    fn before(&mut self, seq: Seq) -> &Standing {
        while let Some(next) = self.entries.get(self.taken).filter(|next| next.seq < seq) {
            self.standing.take(next);
            self.taken += 1;
        }
        &self.standing
    }

    /// What the charts said at the check `check`.
    fn fired(&mut self, check: Seq, limits: &Limits, hash: &TextHash) -> &[DriftEntry] {
        let goes_on = |charted: &Charted| charted.limits == *hash && charted.last.0 <= check;
        if !self.charts.as_ref().is_some_and(goes_on) {
            self.charts = None;
        }
        let charted = self.charts.get_or_insert_with(|| Charted {
            limits: hash.clone(),
            taken: 0,
            standing: Standing::new(limits.drift(), hash.clone()),
            last: (Seq(0), Vec::new()),
        });
        while let Some(next) = self.entries.get(charted.taken).filter(|next| next.seq <= check) {
            charted.last = (next.seq, charted.standing.take(next));
            charted.taken += 1;
        }
        if charted.last.0 == check { &charted.last.1 } else { &[] }
    }
}

/// Whether what a manual reading means is what is on record.
fn manual_again(manual: &ManualEntry) -> Result<(), String> {
    match manual.read.lens() {
        Ok(lens) if lens == manual.lens => Ok(()),
        Ok(lens) => Err(format!(
            "what was read means another lens. Now: {}. On record: {}",
            json(&lens),
            json(&manual.lens)
        )),
        Err(why) => Err(format!("what was read means no lens: {why}")),
    }
}

fn same<T: PartialEq + serde::Serialize>(
    now: Option<&T>,
    recorded: &T,
    found: &mut u64,
) -> Result<(), String> {
    match now {
        Some(now) if now == recorded => {
            *found += 1;
            Ok(())
        }
        Some(now) => {
            Err(format!("it comes out otherwise now. Now: {}. On record: {}", json(now), json(recorded)))
        }
        None => Err("nothing comes out of it now".to_owned()),
    }
}

/// What read by a text in force.
fn layout(text: &InForceEntry) -> Result<FrameReader, String> {
    FrameReader::from_record(&text.name, &text.text)
        .map_err(|why| format!("the layout in force then cannot be used by this version: {why}"))
}

/// Where two verdicts differ first.
fn difference(now: &Verdict, recorded: &Verdict) -> String {
    let show = |item: Option<&Item>| item.map_or_else(|| "nothing".to_owned(), json);
    let items = now.items.len().max(recorded.items.len());
    let differing =
        (0..items).map(|at| (now.items.get(at), recorded.items.get(at))).find(|(now, then)| now != then);
    let what = match differing {
        Some((now, then)) => format!("Now: {}. On record: {}", show(now), show(then)),
        None => {
            let bare = |verdict: &Verdict| json(&Verdict { items: Vec::new(), ..verdict.clone() });
            format!("Now: {}. On record: {}", bare(now), bare(recorded))
        }
    };
    let version = recorded.basis.as_ref().map_or("an unknown version", |basis| &basis.software);
    format!("the verdict is another one now (it was judged by version {version}). {what}")
}

fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string(value).expect("these forms hold only text keys and finite decimals")
}
