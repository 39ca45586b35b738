//! The one model that every instrument's frame becomes.
//!
//! What was not sent is absent, never zero. The same types are the JSON form of a reading in
//! files, in the ledger, in the HTTP API and in the feeds.

use crate::units::{Degree, Dioptre, Millimetre, Percent, PrismDioptre};
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

/// The number by which a lab knows one job: 1 to 64 characters, no control characters, no
/// blanks at the ends.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct JobNumber(String);

/// Why a text is not a job number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not a job number: 1 to 64 characters without control characters are expected")]
pub struct NotAJobNumber(pub String);

impl JobNumber {
    /// The number as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for JobNumber {
    type Err = NotAJobNumber;
    fn from_str(text: &str) -> Result<Self, NotAJobNumber> {
        let trimmed = text.trim();
        if trimmed.is_empty() || trimmed.chars().count() > 64 || trimmed.chars().any(char::is_control) {
            return Err(NotAJobNumber(text.to_owned()));
        }
        Ok(Self(trimmed.to_owned()))
    }
}

impl TryFrom<String> for JobNumber {
    type Error = NotAJobNumber;
    fn try_from(text: String) -> Result<Self, NotAJobNumber> {
        text.parse()
    }
}

impl From<JobNumber> for String {
    fn from(job: JobNumber) -> Self {
        job.0
    }
}

impl fmt::Display for JobNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// The wearer's eye that a lens is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Eye {
    /// The wearer's right eye.
    Right,
    /// The wearer's left eye.
    Left,
}

impl Eye {
    /// Both, in the order in which the trade writes them.
    pub const BOTH: [Eye; 2] = [Eye::Right, Eye::Left];
}

impl fmt::Display for Eye {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Eye::Right => "right",
            Eye::Left => "left",
        })
    }
}

/// Where the base of a prism lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase", expecting = "in, out, up, down or degrees from 0 to 360 are expected")]
pub enum Base {
    /// Towards the nose.
    In,
    /// Towards the temple.
    Out,
    /// Upwards.
    Up,
    /// Downwards.
    Down,
    /// 0 to 360 degrees, counter-clockwise seen from in front of the wearer (ISO 8429): for
    /// the right eye 0 is in, for the left eye 0 is out, 90 is up for both.
    #[serde(untagged)]
    Towards(Degree),
}

impl fmt::Display for Base {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Base::In => f.pad("in"),
            Base::Out => f.pad("out"),
            Base::Up => f.pad("up"),
            Base::Down => f.pad("down"),
            Base::Towards(angle) => write!(f, "{angle} deg"),
        }
    }
}

/// One part of a prism: several parts add up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrismPart {
    /// How much; not negative.
    pub amount: PrismDioptre,
    /// Where its base lies.
    pub base: Base,
}

/// In which mode an instrument took a lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// At the distance reference point, or of a single-vision lens.
    Distance,
    /// At the near reference point or in the segment.
    Near,
    /// Following the corridor of a progressive lens.
    Progressive,
}

/// From which side the vertex power was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Vertex {
    /// Back vertex power.
    Back,
    /// Front vertex power.
    Front,
}

/// The spectral line that powers refer to (ISO 7944).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ReferenceLine {
    /// Helium d, 587.56 nm.
    D,
    /// Mercury e, 546.07 nm.
    E,
}

/// Sphere, cylinder and axis as the instrument sent them.
#[skip_serializing_none]
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AsSent {
    /// Sphere in dioptres.
    pub sphere: Option<Dioptre>,
    /// Cylinder in dioptres, of either sign.
    pub cylinder: Option<Dioptre>,
    /// Axis in degrees.
    pub axis: Option<Degree>,
}

/// What one frame says of one lens.
#[skip_serializing_none]
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lens {
    /// Sphere in dioptres.
    pub sphere: Option<Dioptre>,
    /// Cylinder in dioptres; in the normal form not positive.
    pub cylinder: Option<Dioptre>,
    /// Cylinder axis in degrees; in the normal form above 0 and up to 180.
    pub axis: Option<Degree>,
    /// Near addition in dioptres.
    pub addition: Option<Dioptre>,
    /// Intermediate or second addition in dioptres.
    pub second_addition: Option<Dioptre>,
    /// Prism parts; an empty list means measured and none.
    pub prism: Option<Vec<PrismPart>>,
    /// Monocular distance PD in millimetres.
    pub pd: Option<Millimetre>,
    /// Monocular near PD in millimetres.
    pub near_pd: Option<Millimetre>,
    /// Height of the segment top in millimetres above the lowest tangent of the lens.
    pub segment_height: Option<Millimetre>,
    /// Height of the prism reference point in millimetres above the lowest tangent of the lens.
    pub reference_height: Option<Millimetre>,
    /// Luminous transmittance in percent.
    pub transmittance: Option<Percent>,
    /// In which mode the instrument took it.
    pub mode: Option<Mode>,
    /// Which vertex the power refers to.
    pub vertex: Option<Vertex>,
    /// Present where the normal form differs from what was sent.
    pub as_sent: Option<AsSent>,
}

/// What one frame says was measured.
#[skip_serializing_none]
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The job number in the frame.
    pub job: Option<JobNumber>,
    /// The right lens.
    pub right: Option<Lens>,
    /// The left lens.
    pub left: Option<Lens>,
    /// A lens of which the frame does not say for which eye it is.
    pub unspecified: Option<Lens>,
    /// Who the instrument says measured.
    pub operator: Option<String>,
    /// The instrument's serial number.
    pub serial: Option<String>,
    /// The instrument's own time, as sent.
    pub instrument_time: Option<String>,
    /// The spectral line the powers refer to.
    pub reference_line: Option<ReferenceLine>,
    /// Fault codes, as sent.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
    /// Whether a checksum stood in the frame and was right.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub checksum_verified: bool,
    /// Fields that the layout keeps by name, as sent.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub kept: BTreeMap<String, String>,
}

impl Reading {
    /// The lens for `eye`, where the frame says which eye it is for.
    pub fn lens(&self, eye: Eye) -> Option<&Lens> {
        match eye {
            Eye::Right => self.right.as_ref(),
            Eye::Left => self.left.as_ref(),
        }
    }

    /// Every lens in the frame, with or without an eye.
    pub fn lenses_mut(&mut self) -> impl Iterator<Item = &mut Lens> {
        [self.right.as_mut(), self.left.as_mut(), self.unspecified.as_mut()].into_iter().flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_json_form_round_trips() {
        let text = r#"{"job":"4471","right":{"sphere":-1.25,"cylinder":-0.50,"axis":91,"prism":[{"amount":0.40,"base":"in"},{"amount":0.25,"base":37.5}]},"faults":["E2"]}"#;
        let reading: Reading = serde_json::from_str(text).unwrap();
        assert_eq!(serde_json::to_string(&reading).unwrap(), text);
    }

    #[test]
    fn a_job_number_is_trimmed_and_checked() {
        assert_eq!(" 4471 ".parse::<JobNumber>().unwrap().as_str(), "4471");
        assert!("".parse::<JobNumber>().is_err());
        assert!("44\u{7}71".parse::<JobNumber>().is_err());
    }
}
