//! What is known of one job: its order as it stands, and the latest value of each quantity.
//!
//! A record can be folded again from the job's entries at any time, and gives the same.

use super::checks::Against;
use super::entry::{Entry, Numbered, OrderEntry, ReadingEntry, Says, Seq};
use crate::judge::verdict::{Basis, Verdict};
use crate::judge::{RuleSet, judge};
use crate::optics::normal_form;
use crate::order::Order;
use crate::parsers::reading::{AsSent, Eye, JobNumber, Lens, Mode, PrismPart, Reading, Vertex};
use crate::parsers::units::{Degree, Dioptre, Millimetre};
use std::collections::{BTreeSet, HashMap};

/// A value and the reading entry that it came from.
type Value<T> = Option<(T, Seq)>;

/// The latest value of each quantity of one lens, as sent.
///
/// Values are kept as sent because sphere, cylinder and axis may come one at a time: only
/// together do they have a normal form.
#[derive(Debug, Clone, Default, PartialEq)]
struct LensSoFar {
    sphere: Value<Dioptre>,
    cylinder: Value<Dioptre>,
    axis: Value<Degree>,
    vertex: Value<Vertex>,
    addition: Value<Dioptre>,
    second_addition: Value<Dioptre>,
    near_sphere: Value<Dioptre>,
    near_vertex: Value<Vertex>,
    prism: Value<Vec<PrismPart>>,
    pd: Value<Millimetre>,
    near_pd: Value<Millimetre>,
    segment_height: Value<Millimetre>,
    reference_height: Value<Millimetre>,
}

impl LensSoFar {
    fn take(&mut self, lens: &Lens, from: Seq) {
        fn put<T: Clone>(slot: &mut Value<T>, sent: &Option<T>, from: Seq) {
            if let Some(value) = sent {
                *slot = Some((value.clone(), from));
            }
        }
        let sent =
            lens.as_sent.unwrap_or(AsSent { sphere: lens.sphere, cylinder: lens.cylinder, axis: lens.axis });
        put(&mut self.addition, &lens.addition, from);
        put(&mut self.second_addition, &lens.second_addition, from);
        put(&mut self.near_pd, &lens.near_pd, from);
        put(&mut self.segment_height, &lens.segment_height, from);
        if lens.mode == Some(Mode::Near) {
            // The power in the segment only serves the addition; distance values stay.
            put(&mut self.near_sphere, &sphere_of(lens), from);
            put(&mut self.near_vertex, &Some(lens.vertex.unwrap_or(Vertex::Back)), from);
            if sent.sphere.is_some() && lens.addition.is_none() {
                self.addition = None;
            }
            return;
        }
        if sent.cylinder.is_some() {
            // The axis of an earlier cylinder says nothing of this one.
            self.axis = None;
        }
        put(&mut self.sphere, &sent.sphere, from);
        put(&mut self.cylinder, &sent.cylinder, from);
        put(&mut self.axis, &sent.axis, from);
        if sent.sphere.is_some() {
            put(&mut self.vertex, &Some(lens.vertex.unwrap_or(Vertex::Back)), from);
        }
        put(&mut self.prism, &lens.prism, from);
        put(&mut self.pd, &lens.pd, from);
        put(&mut self.reference_height, &lens.reference_height, from);
    }

    fn is_empty(&self) -> bool {
        *self == LensSoFar::default()
    }

    /// The lens as measured so far, and the entries that a value was taken from.
    fn lens(&self, sources: &mut BTreeSet<u64>) -> Lens {
        let mut used = |seq: Seq| {
            sources.insert(seq.0);
        };
        macro_rules! value {
            ($field:ident) => {
                self.$field.clone().map(|(value, seq)| {
                    used(seq);
                    value
                })
            };
        }
        let mut lens = Lens {
            sphere: value!(sphere),
            cylinder: value!(cylinder),
            axis: value!(axis),
            addition: value!(addition),
            second_addition: value!(second_addition),
            prism: value!(prism),
            pd: value!(pd),
            near_pd: value!(near_pd),
            segment_height: value!(segment_height),
            reference_height: value!(reference_height),
            vertex: value!(vertex),
            ..Lens::default()
        };
        // Addition as the difference of near and distance vertex power, of the same vertex
        // (ISO 21987; common practice).
        if lens.addition.is_none()
            && let (Some((near, near_seq)), Some(distance)) = (self.near_sphere, sphere_of(&lens))
            && self.near_vertex.map(|(vertex, _)| vertex) == lens.vertex
        {
            used(near_seq);
            lens.addition = Some(near - distance);
        }
        lens
    }
}

/// The most plus principal power, whatever the sign of the cylinder.
fn sphere_of(lens: &Lens) -> Option<Dioptre> {
    let sphere = lens.sphere?;
    Some(match lens.cylinder {
        Some(cylinder) if cylinder > Dioptre::ZERO => sphere + cylinder,
        _ => sphere,
    })
}

/// What is known of one job.
#[derive(Debug, Clone, PartialEq)]
pub struct JobRecord {
    job: JobNumber,
    order: Option<(Seq, u32, Order)>,
    right: LensSoFar,
    left: LensSoFar,
    /// Which instrument each reading came from.
    instruments: HashMap<Seq, String>,
}

impl JobRecord {
    /// A job of which nothing is known yet.
    pub fn new(job: JobNumber) -> Self {
        Self {
            job,
            order: None,
            right: LensSoFar::default(),
            left: LensSoFar::default(),
            instruments: HashMap::new(),
        }
    }

    /// The record that the job's entries, in order, add up to. Entries that do not concern the
    /// job do no harm.
    pub fn from_history<'a>(job: JobNumber, history: impl IntoIterator<Item = &'a Numbered> + Clone) -> Self {
        let mut notes: HashMap<Seq, Standing> = HashMap::new();
        for numbered in history.clone() {
            if let Entry::Note(note) = &numbered.entry {
                let standing = notes.entry(note.about).or_default();
                match note.says {
                    Says::Void => standing.void = true,
                    Says::Assign => {
                        standing.job = note.job.clone().or(standing.job.take());
                        standing.eye = note.eye.or(standing.eye);
                    }
                    Says::Remark => {}
                }
            }
        }
        let mut record = Self::new(job);
        for numbered in history {
            match &numbered.entry {
                Entry::Order(order) if order.order.job == record.job => {
                    record.take_order(numbered.seq, order);
                }
                Entry::Reading(reading) => {
                    let standing = notes.remove(&numbered.seq).unwrap_or_default();
                    let job = standing.job.as_ref().or(reading.job.as_ref());
                    if !standing.void && job == Some(&record.job) {
                        record.take_reading(numbered.seq, reading, standing.eye);
                    }
                }
                _ => {}
            }
        }
        record
    }

    /// The job's number.
    pub fn job(&self) -> &JobNumber {
        &self.job
    }

    /// The order as it stands.
    pub fn order(&self) -> Option<&Order> {
        self.order.as_ref().map(|(_, _, order)| order)
    }

    /// How many revisions the order has had; 0 where there is none.
    pub fn revision(&self) -> u32 {
        self.order.as_ref().map_or(0, |(_, revision, _)| *revision)
    }

    /// Takes in a revision of the order.
    pub fn take_order(&mut self, seq: Seq, order: &OrderEntry) {
        self.order = Some((seq, order.revision, order.order.clone()));
    }

    /// Takes in a reading; `eye` says for which eye an unspecified lens is. A lens of which
    /// nobody has said for which eye it is counts for neither.
    pub fn take_reading(&mut self, seq: Seq, entry: &ReadingEntry, eye: Option<Eye>) {
        let reading = &entry.reading;
        self.instruments.insert(seq, entry.instrument.clone());
        for side in Eye::BOTH {
            let asked = reading.unspecified.as_ref().filter(|_| eye == Some(side));
            for lens in reading.lens(side).into_iter().chain(asked) {
                match side {
                    Eye::Right => self.right.take(lens, seq),
                    Eye::Left => self.left.take(lens, seq),
                }
            }
        }
    }

    /// What has been measured so far, as one reading.
    pub fn so_far(&self) -> Reading {
        self.assembled(&mut BTreeSet::new())
    }

    /// The instruments that these readings came from.
    pub fn instruments(&self, readings: &[u64]) -> BTreeSet<&str> {
        readings.iter().filter_map(|seq| self.instruments.get(&Seq(*seq))).map(String::as_str).collect()
    }

    /// What has been measured of one lens, and from which readings; nothing where nothing has.
    pub fn measured(&self, eye: Eye) -> Option<(Lens, Against)> {
        let so_far = match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        };
        let mut sources = BTreeSet::new();
        let lens = so_far.lens(&mut sources);
        let last = sources.last()?;
        let instrument = self.instruments.get(&Seq(*last))?.clone();
        let lens = normal_form(Reading { right: Some(lens), ..Reading::default() }).right?;
        Some((lens, Against { instrument, readings: sources.into_iter().map(Seq).collect() }))
    }

    fn assembled(&self, sources: &mut BTreeSet<u64>) -> Reading {
        let mut lens = |so_far: &LensSoFar| (!so_far.is_empty()).then(|| so_far.lens(sources));
        Reading {
            job: Some(self.job.clone()),
            right: lens(&self.right),
            left: lens(&self.left),
            ..Reading::default()
        }
    }

    /// The job judged as it stands; nothing where there is no order or no measured value.
    pub fn judged(&self, rules: &RuleSet, rules_hash: &str, software: &str) -> Option<Verdict> {
        let (order_seq, _, order) = self.order.as_ref()?;
        let mut sources = BTreeSet::new();
        let measured = self.assembled(&mut sources);
        if sources.is_empty() {
            return None;
        }
        let mut verdict = judge(order, &measured, rules);
        verdict.basis = Some(Basis {
            order: order_seq.0,
            readings: sources.into_iter().collect(),
            rules: rules_hash.to_owned(),
            software: software.to_owned(),
            checks: Vec::new(),
            hold: None,
        });
        Some(verdict)
    }
}

/// What notes say of one reading.
#[derive(Default)]
struct Standing {
    void: bool,
    job: Option<JobNumber>,
    eye: Option<Eye>,
}
