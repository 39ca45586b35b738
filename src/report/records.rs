//! What a report rests on, gathered from the ledger: only the kinds of entries that it needs.

use super::Kind;
use crate::bench::entry::{CrossCheckEntry, Entry, InForce, InForceEntry, Numbered, Purpose, Says, Seq};
use crate::bench::standing::that_count;
use crate::check::Limits;
use crate::check::crosscheck::Outcome as CrossOutcome;
use crate::judge::verdict::{ItemOutcome, Outcome, Quantity, Side};
use crate::ledger::{Field, LedgerError, Passing, Reader};
use crate::order::LensKind;
use crate::parsers::reading::{Eye, JobNumber, Lens, Mode};
use jiff::Timestamp;
use serde::Deserialize;
use std::borrow::Cow;
use std::collections::{BTreeSet, HashMap, HashSet};

/// Which part of the record a report is about.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filters {
    /// Not before this time.
    pub from: Option<Timestamp>,
    /// Before this time.
    pub until: Option<Timestamp>,
    /// Only this instrument.
    pub instrument: Option<String>,
    /// Only this person.
    pub person: Option<String>,
    /// Of an agreement: the one side, an instrument or a person.
    pub first: Option<String>,
    /// Of an agreement: the other side.
    pub second: Option<String>,
    /// Of a gauge study: only these lenses, as `job` or `job eye`.
    pub lenses: Vec<String>,
    /// Of a gauge study: practice readings instead of production ones.
    pub practice: bool,
    /// Of a gauge study: the full width of the tolerance, dioptres.
    pub tolerance: Option<f64>,
}

/// What a report rests on.
#[derive(Debug, Clone, Default)]
pub struct Records {
    /// The ledger's file.
    pub ledger: String,
    /// The station's name, as its settings said last.
    pub station: Option<String>,
    /// The ledger's last entry then.
    pub head: Seq,
    /// When the ledger's first entry was made; none while it is empty.
    pub begins: Option<Timestamp>,
    /// When this was gathered.
    pub made: Timestamp,
    /// Instruments and persons that have something in the time range; of verdicts only where there are
    /// none.
    pub names: BTreeSet<String>,
    /// Single lenses as instruments and persons read them, in their order. Void readings are left
    /// out.
    pub taken: Vec<Taken>,
    /// Instruments' readings before notes are looked at.
    read: Vec<Read>,
    /// Cross-checks of manual readings that are not void.
    pub cross_checks: Vec<(Seq, CrossCheckEntry)>,
    /// The limits of checks last in force.
    pub limits: Limits,
    /// Every reference lens, and every check up to the end of the time range that was not taken back.
    pub checks: Vec<Numbered>,
    /// The last verdict on each job.
    pub verdicts: Vec<Judged>,
}

/// A lens as an instrument sent it.
#[derive(Debug, Clone)]
struct Read {
    seq: Seq,
    time: Timestamp,
    by: String,
    job: Option<JobNumber>,
    eye: Option<Eye>,
    lens: Lens,
}

/// One lens read once.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// Its entry.
    pub seq: Seq,
    /// When.
    pub time: Timestamp,
    /// The instrument, or the person who read by hand.
    pub by: String,
    /// The purpose of a manual reading; absent for an instrument's.
    pub purpose: Option<Purpose>,
    /// The sitting of a manual reading.
    pub sitting: Option<String>,
    /// The job, or the name of a reference or practice lens.
    pub job: JobNumber,
    /// For which eye it is.
    pub eye: Option<Eye>,
    /// What was read.
    pub lens: Lens,
}

impl Taken {
    /// The lens that was read, as reports name it.
    pub fn lens_name(&self) -> String {
        match self.eye {
            Some(eye) => format!("{} {eye}", self.job),
            None => self.job.to_string(),
        }
    }
}

/// The last verdict on a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Its entry.
    pub seq: Seq,
    /// The kind of lens ordered.
    pub lens: LensKind,
    /// How it came out.
    pub outcome: Outcome,
    /// It was held back.
    pub held: bool,
    /// Each quantity.
    pub items: Vec<JudgedItem>,
}

/// One quantity of a verdict. Numbers are floats here: they were compared with limits as exact
/// decimals when they were judged, and the outcome is that one.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct JudgedItem {
    /// Which lens.
    pub eye: Side,
    /// What.
    pub quantity: Quantity,
    /// What was ordered.
    #[serde(default)]
    pub ordered: Option<f64>,
    /// Measured less ordered.
    #[serde(default)]
    pub deviation: Option<f64>,
    /// The limit.
    #[serde(default)]
    pub limit: Option<f64>,
    /// How it came out.
    pub outcome: ItemOutcome,
}

#[derive(Deserialize)]
struct VerdictForm<'a> {
    #[serde(borrow)]
    job: Cow<'a, str>,
    outcome: Outcome,
    items: Vec<JudgedItem>,
    basis: Option<BasisForm>,
    #[serde(borrow)]
    held: Option<Cow<'a, str>>,
}

#[derive(Deserialize)]
struct BasisForm {
    order: u64,
}

#[derive(Deserialize)]
struct OrderForm {
    order: LensForm,
}

#[derive(Deserialize)]
struct LensForm {
    lens: LensKind,
}

/// Gathers what a report needs.
///
/// # Errors
/// When the ledger cannot be read.
pub fn gather(ledger: &Reader, kind: Kind, filters: &Filters) -> Result<Records, LedgerError> {
    let mut records = Records {
        ledger: ledger.path().display().to_string(),
        station: last_text(ledger, InForce::Settings)?.map(|text| text.name),
        limits: limits(ledger)?,
        head: ledger.head()?.seq,
        begins: ledger.entry(Seq(1))?.map(|first| first.time),
        made: Timestamp::now(),
        ..Records::default()
    };
    let last = ledger.days_between(None, filters.until)?.map_or(Seq(0), |range| *range.end());
    if matches!(kind, Kind::Drift | Kind::Practice) {
        records.checks = that_count(ledger.reference_and_checks(last)?);
        records.checks.retain(|numbered| filters.until.is_none_or(|until| numbered.time < until));
    }
    let Some(range) = ledger.days_between(filters.from, filters.until)? else { return Ok(records) };
    match kind {
        Kind::Agreement | Kind::Gauge | Kind::Practice => {
            let mut unread = None;
            ledger.pass(range, &["reading", "manual", "cross-check"], |passing| {
                if unread.is_none() && filters.holds_time(passing.time) {
                    unread = take(passing, &mut records).err();
                }
            })?;
            if let Some(seq) = unread {
                // Says in words what is wrong with it.
                ledger.entry(seq)?;
            }
            noted(ledger, &mut records)?;
            let counts = |taken: &&Taken| match taken.purpose {
                None => kind != Kind::Practice,
                Some(purpose) => {
                    (purpose == Purpose::Practice) == (kind == Kind::Practice || filters.practice)
                }
            };
            records.names = records.taken.iter().filter(counts).map(|taken| taken.by.clone()).collect();
        }
        Kind::Capability | Kind::Pareto => {
            let only = |field, name: &Option<String>| {
                name.as_deref().map(|name| ledger.numbers_of(field, name, &range)).transpose()
            };
            let of_instrument = only(Field::Instrument, &filters.instrument)?;
            let of_person = only(Field::Person, &filters.person)?;
            verdicts(ledger, filters, range.clone(), &[of_instrument, of_person], &mut records)?;
            let asked = [(Field::Instrument, &filters.instrument), (Field::Person, &filters.person)];
            for (field, _) in asked.iter().filter(|(_, name)| name.is_some() && records.verdicts.is_empty()) {
                records.names.extend(named(ledger, *field, &range)?);
            }
        }
        Kind::Drift => {
            let in_range =
                records.checks.iter().filter(|check| filters.from.is_none_or(|from| check.time >= from));
            records.names = in_range
                .filter_map(|numbered| match &numbered.entry {
                    Entry::InstrumentCheck(check) => Some(check.instrument.clone()),
                    _ => None,
                })
                .collect();
        }
    }
    Ok(records)
}

/// How many names are looked through for those that a range holds.
const NAMES: usize = 200;

/// Names of a field that the range holds.
fn named(
    ledger: &Reader,
    field: Field,
    range: &std::ops::RangeInclusive<Seq>,
) -> Result<Vec<String>, LedgerError> {
    let mut held = Vec::new();
    for name in ledger.values(field, "", NAMES)? {
        if !ledger.numbers_of(field, &name, range)?.is_empty() {
            held.push(name);
        }
    }
    Ok(held)
}

/// A time in words, to the second.
pub(super) fn in_words(time: Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

impl Filters {
    /// Refuses what cannot be meant.
    ///
    /// # Errors
    /// Says what contradicts what, and what to do.
    pub fn check(&self, kind: Kind) -> Result<(), String> {
        if let (Some(from), Some(until)) = (self.from, self.until)
            && from >= until
        {
            return Err(format!(
                "since {} is not before until {}: nothing lies between them; the earlier time is since",
                in_words(from),
                in_words(until)
            ));
        }
        if kind == Kind::Agreement {
            self.sides()?;
        }
        Ok(())
    }

    /// Of an agreement: both sides, as far as they are named. An instrument or a person of the filters
    /// takes the side that is free; where both are, the instrument is the first.
    ///
    /// # Errors
    /// When more than two are named, or one twice.
    pub fn sides(&self) -> Result<[Option<&str>; 2], String> {
        let mut sides = [self.first.as_deref(), self.second.as_deref()];
        let others = [self.instrument.as_deref(), self.person.as_deref()];
        if sides == [None, None] {
            sides = others;
        }
        if let [Some(first), Some(second)] = sides
            && first == second
        {
            return Err(format!("both sides are {first}: name two instruments or persons"));
        }
        for other in
            others.into_iter().flatten().filter(|other| !sides.contains(&Some(other))).collect::<Vec<_>>()
        {
            match sides.iter_mut().find(|side| side.is_none()) {
                Some(free) => *free = Some(other),
                None => {
                    return Err(format!(
                        "an agreement has two sides, and {other} is a third: leave one of them out"
                    ));
                }
            }
        }
        Ok(sides)
    }

    /// The names that a report of this kind looks for.
    fn names(&self, kind: Kind) -> impl Iterator<Item = &str> {
        let wanted: &[&Option<String>] = match kind {
            Kind::Agreement => &[&self.first, &self.second, &self.instrument, &self.person],
            Kind::Gauge | Kind::Capability | Kind::Pareto => &[&self.instrument, &self.person],
            Kind::Drift => &[&self.instrument],
            Kind::Practice => &[&self.person],
        };
        wanted.iter().filter_map(|name| name.as_deref()).collect::<Vec<_>>().into_iter()
    }

    /// Whether a time, as the ledger writes it, lies in the range.
    fn holds_time(&self, time: &str) -> bool {
        if self.from.is_none() && self.until.is_none() {
            return true;
        }
        let Ok(time) = time.parse::<Timestamp>() else { return false };
        self.from.is_none_or(|from| time >= from) && self.until.is_none_or(|until| time < until)
    }
}

/// How many texts are looked through for the one last in force: those of several starts.
const TEXTS: usize = 64;

fn last_text(ledger: &Reader, what: InForce) -> Result<Option<InForceEntry>, LedgerError> {
    let texts = ledger.latest_of_kind("in-force", TEXTS)?;
    Ok(texts.into_iter().find_map(|numbered| match numbered.entry {
        Entry::InForce(text) if text.what == what => Some(text),
        _ => None,
    }))
}

fn limits(ledger: &Reader) -> Result<Limits, LedgerError> {
    let text = last_text(ledger, InForce::Limits)?;
    Ok(text.and_then(|text| Limits::from_toml(&text.text, &text.name).ok()).unwrap_or_default())
}

/// Takes in a reading or cross-check; the entry's number where it cannot be read.
fn take(passing: Passing<'_>, records: &mut Records) -> Result<(), Seq> {
    let seq = passing.seq;
    let entry = Entry::from_payload(passing.kind, passing.payload).map_err(|_| seq)?;
    let time: Timestamp = passing.time.parse().map_err(|_| seq)?;
    match entry {
        Entry::Reading(reading) => {
            let (job, by, read) = (reading.job, reading.instrument, reading.reading);
            let lenses =
                [(Some(Eye::Right), read.right), (Some(Eye::Left), read.left), (None, read.unspecified)];
            for (eye, lens) in lenses {
                // A near portion is no lens to compare with one read at a distance.
                let Some(lens) = lens.filter(|lens| lens.mode != Some(Mode::Near)) else { continue };
                let (job, by) = (job.clone(), by.clone());
                records.read.push(Read { seq, time, by, job, eye, lens });
            }
        }
        Entry::Manual(manual) => records.taken.push(Taken {
            seq,
            time,
            by: manual.by,
            purpose: Some(manual.purpose),
            sitting: Some(manual.sitting),
            job: manual.job,
            eye: manual.eye,
            lens: manual.lens,
        }),
        Entry::CrossCheck(check) => records.cross_checks.push((seq, *check)),
        _ => {}
    }
    Ok(())
}

/// Takes readings in as notes have them: void ones are left out, also those by hand with their
/// cross-checks, and instruments' that were assigned belong where they were assigned to.
fn noted(ledger: &Reader, records: &mut Records) -> Result<(), LedgerError> {
    let mut void = HashSet::new();
    let by_hand = records.taken.iter().map(|taken| taken.seq);
    let by_hand: HashSet<Seq> =
        by_hand.chain(records.cross_checks.iter().map(|(_, check)| check.manual)).collect();
    for seq in by_hand {
        if ledger.notes_on(seq)?.iter().any(|note| note.says == Says::Void) {
            void.insert(seq);
        }
    }
    records.taken.retain(|taken| !void.contains(&taken.seq));
    records.cross_checks.retain(|(_, check)| !void.contains(&check.manual));
    for read in std::mem::take(&mut records.read) {
        let (mut job, mut eye, mut void) = (read.job, read.eye, false);
        let sent = eye.is_some();
        for note in ledger.notes_on(read.seq)? {
            match note.says {
                Says::Void => void = true,
                Says::Assign => {
                    job = note.job.or(job);
                    eye = if sent { eye } else { note.eye.or(eye) };
                }
                Says::Remark => {}
            }
        }
        let Some(job) = job.filter(|_| !void) else { continue };
        let (seq, time, by, lens) = (read.seq, read.time, read.by, read.lens);
        records.taken.push(Taken { seq, time, by, purpose: None, sitting: None, job, eye, lens });
    }
    records.taken.sort_by_key(|taken| taken.seq);
    Ok(())
}

impl Records {
    /// What to say of names that are asked for and that the range does not hold.
    pub(super) fn unknown(&self, kind: Kind, filters: &Filters) -> Vec<String> {
        if matches!(kind, Kind::Capability | Kind::Pareto) && !self.verdicts.is_empty() {
            return Vec::new();
        }
        let known: Vec<String> = self.names.iter().cloned().collect();
        let known = if known.is_empty() { "nobody".to_owned() } else { super::agreement::names(&known) };
        let unknown = filters.names(kind).filter(|name| !self.names.contains(*name));
        unknown
            .map(|name| format!("nothing in this range is by {name}; there is something by {known}"))
            .collect()
    }

    /// The manual readings that a cross-check takes for those of another lens, with that check.
    pub fn other_lenses(&self) -> HashMap<Seq, &(Seq, CrossCheckEntry)> {
        let is = |check: &&(Seq, CrossCheckEntry)| check.1.outcome == CrossOutcome::DifferentLens;
        self.cross_checks.iter().filter(is).map(|check| (check.1.manual, check)).collect()
    }
}

fn verdicts(
    ledger: &Reader,
    filters: &Filters,
    range: std::ops::RangeInclusive<Seq>,
    only: &[Option<HashSet<u64>>],
    records: &mut Records,
) -> Result<(), LedgerError> {
    let mut last: HashMap<String, (Judged, u64)> = HashMap::new();
    let mut kinds: HashMap<u64, LensKind> = HashMap::new();
    let mut unread = None;
    ledger.pass(range, &["verdict", "order"], |passing| {
        let seq = passing.seq.0;
        if passing.kind == "order" {
            if let Ok(form) = serde_json::from_str::<OrderForm>(passing.payload) {
                kinds.insert(seq, form.order.lens);
            }
            return;
        }
        let wanted = only.iter().flatten().all(|numbers| numbers.contains(&seq));
        if !wanted || !filters.holds_time(passing.time) {
            return;
        }
        let Ok(form) = serde_json::from_str::<VerdictForm>(passing.payload) else {
            unread = unread.or(Some(passing.seq));
            return;
        };
        let judged = Judged {
            seq: passing.seq,
            lens: LensKind::SingleVision,
            outcome: form.outcome,
            held: form.held.is_some(),
            items: form.items,
        };
        let order = form.basis.map_or(0, |basis| basis.order);
        match last.get_mut(form.job.as_ref()) {
            Some(known) => *known = (judged, order),
            None => {
                last.insert(form.job.into_owned(), (judged, order));
            }
        }
    })?;
    if let Some(seq) = unread {
        // Says in words what is wrong with it.
        ledger.entry(seq)?;
    }
    let mut verdicts = Vec::with_capacity(last.len());
    for (mut judged, order) in last.into_values() {
        judged.lens = match kinds.get(&order) {
            Some(kind) => *kind,
            None => match ledger.entry(Seq(order))?.map(|numbered| numbered.entry) {
                Some(Entry::Order(found)) => found.order.lens,
                _ => LensKind::SingleVision,
            },
        };
        verdicts.push(judged);
    }
    verdicts.sort_by_key(|judged| judged.seq);
    records.verdicts = verdicts;
    Ok(())
}
