//! Why nothing was learnt: which samples do not agree, or what no place in the bytes explains.

use super::shown::{Key, Told, difference};
use super::{HeldOut, Nearest, Sample, propose, tested};
use std::fmt;

/// Why no layout explains the samples.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotLearnt {
    /// There is nothing to learn from.
    #[error("{0}")]
    TooLittle(String),
    /// Two samples cannot both be right.
    #[error("{one} and {other} contradict each other: {why}")]
    Contradiction {
        /// The name of one sample.
        one: String,
        /// The name of the other.
        other: String,
        /// In what.
        why: String,
    },
    /// One sample does not fit what all others agree on.
    #[error("{odd} contradicts all others: {why}")]
    Odd {
        /// The name of the sample.
        odd: String,
        /// In what.
        why: String,
    },
    /// No single layout that this program can propose explains the samples.
    #[error("no layout explains all samples. Nearest: {}", .nearest.join("; "))]
    Unexplained {
        /// What the nearest one reads otherwise.
        nearest: Vec<String>,
    },
}

/// Refuses samples of which nothing can be learnt, and those that contradict on their face.
pub(super) fn unusable(samples: &[Sample]) -> Result<(), NotLearnt> {
    if samples.len() < 2 {
        let why =
            "one measurement explains too much: capture at least two lenses, better four different ones";
        return Err(NotLearnt::TooLittle(why.to_owned()));
    }
    for sample in samples {
        if sample.bytes.is_empty() {
            return Err(NotLearnt::TooLittle(format!("{}: the capture is empty", sample.name)));
        }
        if sample.shown.is_empty() {
            return Err(NotLearnt::TooLittle(format!(
                "{}: nothing is said of what the display showed",
                sample.name
            )));
        }
    }
    for (index, one) in samples.iter().enumerate() {
        for other in samples[index + 1..].iter().filter(|other| other.bytes == one.bytes) {
            let differs = |(key, told): (Key, &Told)| {
                other
                    .shown
                    .get(key)
                    .filter(|shown| *shown != told)
                    .map(|shown| (key, told.clone(), shown.clone()))
            };
            if let Some((key, told, shown)) = one.shown.all().find_map(differs) {
                let why = format!(
                    "their bytes are the same, and {key} is {told} for one and {shown} for the other"
                );
                return Err(NotLearnt::Contradiction {
                    one: one.name.clone(),
                    other: other.name.clone(),
                    why,
                });
            }
        }
    }
    Ok(())
}

/// Which samples do not agree: those without which the others are explained.
pub(super) fn explain(samples: &[Sample], nearest: Nearest) -> NotLearnt {
    let mut odd: Vec<(usize, String)> = Vec::new();
    for index in (0..samples.len()).filter(|_| samples.len() > 2) {
        let mut others = samples.to_vec();
        let sample = others.remove(index);
        if let Ok(proposal) = propose(&others, "without-one") {
            let why = match tested(&proposal.layout, &sample) {
                HeldOut::Wrong(differences) => differences.join("; "),
                HeldOut::Refused(why) => why,
                HeldOut::Right | HeldOut::NothingLearnt => "the others are explained without it".to_owned(),
            };
            odd.push((index, why));
        }
    }
    let name = |index: usize| samples[index].name.clone();
    match odd.as_slice() {
        [] => {}
        [(one, why)] => return NotLearnt::Odd { odd: name(*one), why: why.clone() },
        [(one, why), (other, counter), ..] => {
            return NotLearnt::Contradiction {
                one: name(*one),
                other: name(*other),
                why: format!(
                    "leaving out either explains the rest. By the rest, {}: {why}; {}: {counter}",
                    name(*one),
                    name(*other)
                ),
            };
        }
    }
    let refused = nearest.refused.iter().map(|(sample, why)| format!("{}: {why}", samples[*sample].name));
    let wrong = nearest.wrong.iter().map(|(sample, key, told, read)| {
        format!("{}: {}", samples[*sample].name, difference(*key, told, read.as_ref()))
    });
    let mut nearest: Vec<String> = wrong.chain(refused).collect();
    if nearest.is_empty() {
        nearest.push("none of the shown values stands in the bytes as a number".to_owned());
    }
    if samples.len() == 2 {
        nearest.push("with a third sample it can be said which one is wrong".to_owned());
    }
    NotLearnt::Unexplained { nearest }
}

impl fmt::Display for HeldOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Right => f.write_str("read right"),
            Self::Wrong(differences) => write!(f, "READ WRONG: {}", differences.join("; ")),
            Self::Refused(why) => write!(f, "refused: {why}"),
            Self::NothingLearnt => f.write_str("not tested: the other samples alone give no proposal"),
        }
    }
}
