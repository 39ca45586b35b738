//! Proposes a layout from captures and what the instrument's own display showed for each.
//!
//! Every hypothesis about frames, checksum, lines and fields that explains all samples is tried,
//! the most telling first. A proposal is compiled by [`Layout::from_toml`] and must read every
//! sample to exactly what was shown before anybody sees it. What the samples leave open comes
//! with it as [`Question`]s, each with the lens that would decide.
//!
//! Read in the order in which a capture passes through:
//!
//! - `shown`: what a display can show
//! - `envelope`: where frames start and end, and their checksum
//! - `lines`: the kinds of line within frames
//! - `table`, `columns`: lines cut into cells
//! - `number`, `field`: what a cell can be, given what was shown
//! - `solve`: which cell is what
//! - `question`: what is left open
//! - `render`: the proposal as a layout's text
//! - `contradiction`: which samples do not agree
//!
//! ```
//! use fociline_parsers::learn::{learn, Sample, Shown};
//! let sample = |name: &str, bytes: &[u8], told: &[(&str, &str)]| {
//!     let mut shown = Shown::default();
//!     told.iter().for_each(|(what, value)| shown.tell(what, value).unwrap());
//!     Sample { name: name.to_owned(), bytes: bytes.to_vec(), shown }
//! };
//! let samples = [
//!     sample("1", b"R;-1.25;-0.50;91\r", &[("right_sphere", "-1.25"), ("right_cylinder", "-0.50"), ("right_axis", "91")]),
//!     sample("2", b"L;+2.00;-0.75;5\r", &[("left_sphere", "2.00"), ("left_cylinder", "-0.75"), ("left_axis", "5")]),
//!     sample("3", b"R;-0.50;---;---\r", &[("right_sphere", "-0.50"), ("right_cylinder", "-"), ("right_axis", "-")]),
//! ];
//! let proposal = learn(&samples, "bench-7").unwrap();
//! assert!(proposal.questions.iter().all(|question| !question.undecided));
//! let reading = proposal.layout.read(b"L;-3.75;-1.25;170\r").unwrap();
//! assert_eq!(reading.left.unwrap().axis.unwrap().to_string(), "170");
//! ```

mod columns;
mod contradiction;
mod envelope;
mod field;
mod lines;
mod number;
mod question;
mod render;
mod shown;
mod solve;
mod table;

pub use contradiction::NotLearnt;
pub use question::Question;
pub use shown::{Shown, ShownError};

use crate::frame::{Ended, Framer};
use crate::layout::Layout;
use crate::reading::{Lens, Mode, Reading};
use envelope::Envelope;
use lines::Plan;
use shown::{Key, Thing, Told};
use solve::Solved;

/// One measurement: what came in, and what the display showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    /// What people call it: a file's name, say.
    pub name: String,
    /// Every byte of this measurement and no other.
    pub bytes: Vec<u8>,
    /// What the display showed.
    pub shown: Shown,
}

/// A layout that reads every sample to exactly what was shown.
#[derive(Debug)]
pub struct Proposal {
    /// The layout, compiled.
    pub layout: Layout,
    /// What the samples leave open; what is undecided comes first.
    pub questions: Vec<Question>,
    /// What people should know of it.
    pub remarks: Vec<String>,
}

impl Proposal {
    /// The layout's text.
    pub fn text(&self) -> &str {
        self.layout.text()
    }
}

/// How the samples may have been shown otherwise than they were sent.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Variant {
    transposed: bool,
    eyeless: bool,
}

impl Variant {
    const ALL: [Self; 4] = [
        Self { transposed: false, eyeless: false },
        Self { transposed: true, eyeless: false },
        Self { transposed: false, eyeless: true },
        Self { transposed: true, eyeless: true },
    ];

    /// What was shown, as this variant has it sent; nothing where it changes nothing.
    fn of(self, samples: &[Sample]) -> Option<Vec<Shown>> {
        let mut shown: Vec<Shown> = samples.iter().map(|sample| sample.shown.clone()).collect();
        if self.transposed {
            shown = shown.iter().map(Shown::transposed).collect();
        }
        let before = shown.clone();
        if self.eyeless {
            shown = shown.iter().map(Shown::without_eye).collect::<Option<_>>()?;
        }
        let plain = samples.iter().map(|sample| &sample.shown).eq(&before) && self.transposed;
        let same = self.eyeless && before == shown;
        (!plain && !same).then_some(shown)
    }
}

/// Proposes a layout called `name` for the instrument that sent the samples.
///
/// # Errors
/// When no layout explains every sample: says what is nearest, and which samples contradict.
pub fn learn(samples: &[Sample], name: &str) -> Result<Proposal, NotLearnt> {
    contradiction::unusable(samples)?;
    match propose(samples, name) {
        Ok(proposal) => Ok(proposal),
        Err(nearest) => Err(contradiction::explain(samples, nearest)),
    }
}

/// What a proposal that reads not every sample got wrong.
#[derive(Debug, Default)]
struct Nearest {
    /// How many shown values it reads right.
    right: usize,
    wrong: Vec<(usize, Key, Told, Option<Told>)>,
    refused: Vec<(usize, String)>,
}

/// The first proposal that reads every sample, or the one that reads most.
fn propose(samples: &[Sample], name: &str) -> Result<Proposal, Nearest> {
    let mut nearest: Option<Nearest> = None;
    let envelopes = envelope::hypotheses(samples);
    for variant in Variant::ALL {
        let Some(shown) = variant.of(samples) else { continue };
        for envelope in &envelopes {
            let Some(contents) = envelope.contents(samples) else { continue };
            for plan in lines::plans(&contents) {
                let attempt = Attempt { samples, name, shown: &shown, variant, envelope, plan: &plan };
                match attempt.best() {
                    Ok(proposal) => return Ok(proposal),
                    Err(missed) if nearest.as_ref().is_none_or(|best| best.right < missed.right) => {
                        nearest = Some(missed);
                    }
                    Err(_) => {}
                }
            }
        }
    }
    Err(nearest.unwrap_or_default())
}

/// One hypothesis about everything but the fields.
struct Attempt<'t, 'a> {
    samples: &'t [Sample],
    name: &'t str,
    shown: &'t [Shown],
    variant: Variant,
    envelope: &'t Envelope,
    plan: &'t Plan<'a>,
}

/// How many ways to read lines of one kind are compiled and tried.
const TRIED: usize = 4;

impl Attempt<'_, '_> {
    fn best(&self) -> Result<Proposal, Nearest> {
        let among = self.plan.kinds.len();
        let solutions: Vec<Vec<Solved<'_>>> =
            self.plan.kinds.iter().map(|kind| solve::solutions(kind, self.shown, among)).collect();
        let tries = if among == 1 { TRIED.min(solutions[0].len()) } else { 1 };
        let mut nearest: Option<Nearest> = None;
        for index in 0..tries {
            let lines: Option<Vec<Solved<'_>>> =
                solutions.iter().map(|found| found.get(index).cloned()).collect();
            let Some(mut lines) = lines.filter(|lines| lines.iter().any(|line| line.score > 0)) else {
                break;
            };
            solve::pool(&mut lines);
            match self.check(lines) {
                Ok(proposal) => return Ok(proposal),
                Err(missed) if nearest.as_ref().is_none_or(|best| best.right < missed.right) => {
                    nearest = Some(missed);
                }
                Err(_) => {}
            }
        }
        Err(nearest.unwrap_or_default())
    }

    /// Compiles the layout and reads every sample with it.
    fn check(&self, lines: Vec<Solved<'_>>) -> Result<Proposal, Nearest> {
        let mut questions =
            question::questions(self.envelope, self.plan, &lines, self.shown, self.variant.eyeless);
        let mut remarks = Vec::new();
        if self.variant.transposed {
            remarks.push(
                "The display shows the cylinder transposed: the bytes have the other sign. The reading keeps \
                 what is sent, and both are judged in the same form."
                    .to_owned(),
            );
        }
        let always_mode = self.always_mode(&lines);
        if always_mode.is_some() {
            questions.push(Question {
                open: "nothing in these bytes says the mode; it was the same in every sample".to_owned(),
                measure: "measure one lens in another mode".to_owned(),
                undecided: true,
            });
            questions.sort_by_key(|question| !question.undecided);
        }
        let comments = self.comments(&remarks, &questions);
        let text = render::render(&render::Parts {
            name: self.name,
            title: "Learnt from captures",
            remarks: &comments,
            envelope: self.envelope,
            plan: self.plan,
            lines: &lines,
            always_mode,
        });
        let Ok(layout) = Layout::from_toml(&text, "the proposal") else { return Err(Nearest::default()) };
        let mut missed = Nearest::default();
        for (index, (sample, shown)) in self.samples.iter().zip(self.shown).enumerate() {
            match read(&layout, &sample.bytes) {
                Err(why) => missed.refused.push((index, why)),
                Ok(reading) => {
                    let wrong = shown.differences(&reading);
                    missed.right += shown.all().count() - wrong.len();
                    missed.wrong.extend(wrong.into_iter().map(|(key, told, read)| (index, key, told, read)));
                }
            }
        }
        if missed.refused.is_empty() && missed.wrong.is_empty() {
            Ok(Proposal { layout, questions, remarks })
        } else {
            Err(missed)
        }
    }

    /// The mode, where every sample was taken in the same and no cell says so.
    fn always_mode(&self, lines: &[Solved<'_>]) -> Option<Mode> {
        let told = |shown: &Shown| match shown.get(Key { eye: None, thing: Thing::Mode }) {
            Some(Told::Mode(mode)) => Some(*mode),
            _ => None,
        };
        let mut modes = self.shown.iter().map(told);
        let first = modes.next()??;
        let said = lines
            .iter()
            .flat_map(|line| &line.fields)
            .any(|field| matches!(field.is, field::Is::Mode { .. }));
        (!said && modes.all(|mode| mode == Some(first))).then_some(first)
    }

    fn comments(&self, remarks: &[String], questions: &[Question]) -> Vec<String> {
        let names: Vec<&str> = self.samples.iter().map(|sample| sample.name.as_str()).collect();
        let mut lines = vec![format!("Learnt from {} captures: {}", names.len(), names.join(", "))];
        lines.extend(remarks.iter().cloned());
        lines.extend(questions.iter().map(|question| {
            let kind = if question.undecided { "UNDECIDED" } else { "Not seen yet" };
            format!("{kind}: {}. To settle it: {}", question.open, question.measure)
        }));
        // A comment ends with its line, whatever a file is called.
        lines.iter().map(|line| line.replace(|c: char| c.is_control(), " ")).collect()
    }
}

/// What all frames of one measurement say together.
///
/// # Errors
/// Why one of them was not read.
pub fn read(layout: &Layout, bytes: &[u8]) -> Result<Reading, String> {
    let mut frames = Vec::new();
    let mut framer = Framer::new(layout.framing().clone());
    framer.push(bytes, |frame| frames.push(frame));
    frames.extend(framer.idle());
    frames.extend(framer.finish());
    let mut whole = Reading::default();
    for frame in frames {
        if frame.ended != Ended::Complete {
            let shown = crate::notation::to_text(&frame.bytes);
            return Err(format!("these bytes are no whole frame: {shown}"));
        }
        let part = layout.read(&frame.bytes).map_err(|reject| reject.to_string())?;
        join(&mut whole, part);
    }
    Ok(whole)
}

fn join(whole: &mut Reading, part: Reading) {
    fn lens(whole: &mut Option<Lens>, part: Option<Lens>) {
        let Some(part) = part else { return };
        let Some(whole) = whole else {
            *whole = Some(part);
            return;
        };
        whole.sphere = part.sphere.or(whole.sphere);
        whole.cylinder = part.cylinder.or(whole.cylinder);
        whole.axis = part.axis.or(whole.axis);
        whole.addition = part.addition.or(whole.addition);
        whole.second_addition = part.second_addition.or(whole.second_addition);
        whole.prism = part.prism.or(whole.prism.take());
        whole.pd = part.pd.or(whole.pd);
        whole.near_pd = part.near_pd.or(whole.near_pd);
        whole.segment_height = part.segment_height.or(whole.segment_height);
        whole.reference_height = part.reference_height.or(whole.reference_height);
        whole.transmittance = part.transmittance.or(whole.transmittance);
        whole.mode = part.mode.or(whole.mode);
    }
    whole.job = part.job.or(whole.job.take());
    lens(&mut whole.right, part.right);
    lens(&mut whole.left, part.left);
    lens(&mut whole.unspecified, part.unspecified);
}

/// What came of testing a proposal on a sample that it was not learnt from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HeldOut {
    /// It read exactly what was shown.
    Right,
    /// It read something else; each difference in words.
    Wrong(Vec<String>),
    /// It did not read it.
    Refused(String),
    /// The other samples alone give no proposal.
    NothingLearnt,
}

/// Learns from all samples but one and tests the proposal on that one, for each.
pub fn hold_one_out(samples: &[Sample]) -> Vec<HeldOut> {
    let held = |index: usize| {
        let mut others = samples.to_vec();
        let sample = others.remove(index);
        match propose(&others, "held-out") {
            Ok(proposal) => tested(&proposal.layout, &sample),
            Err(_) => HeldOut::NothingLearnt,
        }
    };
    (0..samples.len()).map(held).collect()
}

/// Reads a sample with a layout and compares.
fn tested(layout: &Layout, sample: &Sample) -> HeldOut {
    let reading = match read(layout, &sample.bytes) {
        Ok(reading) => reading,
        Err(why) => return HeldOut::Refused(why),
    };
    let alike = |shown: Shown| shown.differences(&reading).is_empty();
    let shown = &sample.shown;
    let variants = [
        Some(shown.clone()),
        Some(shown.transposed()),
        shown.without_eye(),
        shown.transposed().without_eye(),
    ];
    if variants.into_iter().flatten().any(alike) {
        return HeldOut::Right;
    }
    HeldOut::Wrong(shown.disagreements(&reading))
}
