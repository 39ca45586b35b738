//! What was prescribed and asked of the lab for one job.
//!
//! - this file: the order model
//! - [`validate`]: what an order must be to be worked to
//! - [`intake`]: orders from files: [`read`] chooses by the file's name
//! - `json`, `csv`: the two formats

mod csv;
pub mod intake;
mod json;
pub mod typed;
pub mod validate;

pub use self::csv::{OF_AN_EYE, read_csv};
pub use intake::{Intake, Refusal, read};
pub use json::read_json;
pub use validate::Invalid;

use crate::parsers::reading::{Eye, JobNumber, Lens, PrismPart};
use crate::parsers::units::{Degree, Dioptre, Millimetre};
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::fmt;

/// The kind of lens ordered: it chooses the tables of a rule set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LensKind {
    /// One power.
    SingleVision,
    /// A distance portion and one or more segments.
    Multifocal,
    /// Power that varies along a corridor (power-variation lens).
    Progressive,
}

impl LensKind {
    /// Every kind.
    pub const ALL: [LensKind; 3] = [LensKind::SingleVision, LensKind::Multifocal, LensKind::Progressive];
}

impl fmt::Display for LensKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            LensKind::SingleVision => "single-vision",
            LensKind::Multifocal => "multifocal",
            LensKind::Progressive => "progressive",
        })
    }
}

/// What was ordered for one eye. What was not ordered is absent.
#[skip_serializing_none]
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OrderedLens {
    /// Sphere in dioptres.
    pub sphere: Option<Dioptre>,
    /// Cylinder in dioptres, of either sign.
    pub cylinder: Option<Dioptre>,
    /// Cylinder axis in degrees, 0 to 180.
    pub axis: Option<Degree>,
    /// Near addition in dioptres.
    pub addition: Option<Dioptre>,
    /// Intermediate or second addition in dioptres.
    pub second_addition: Option<Dioptre>,
    /// Prism parts; absent and an empty list both order none.
    pub prism: Option<Vec<PrismPart>>,
    /// Monocular distance PD in millimetres.
    pub pd: Option<Millimetre>,
    /// Monocular near PD in millimetres.
    pub near_pd: Option<Millimetre>,
    /// Height of the segment top in millimetres above the lowest tangent of the lens.
    pub segment_height: Option<Millimetre>,
    /// Height of the prism reference point in millimetres above the lowest tangent of the lens.
    pub reference_height: Option<Millimetre>,
}

impl From<&OrderedLens> for Lens {
    /// The lens that fulfils the order to the last digit.
    fn from(ordered: &OrderedLens) -> Self {
        let OrderedLens { sphere, cylinder, axis, addition, second_addition, pd, near_pd, .. } = *ordered;
        let OrderedLens { segment_height, reference_height, .. } = *ordered;
        let prism = ordered.prism.clone();
        Self {
            sphere,
            cylinder,
            axis,
            addition,
            second_addition,
            prism,
            pd,
            near_pd,
            segment_height,
            reference_height,
            ..Self::default()
        }
    }
}

/// One revision of one job's order.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Order {
    /// The job it is for.
    pub job: JobNumber,
    /// The kind of lens.
    pub lens: LensKind,
    /// Whether the lenses are judged as a mounted pair or uncut.
    pub mounted: bool,
    /// The right lens.
    pub right: Option<OrderedLens>,
    /// The left lens.
    pub left: Option<OrderedLens>,
}

impl Order {
    /// What was ordered for `eye`.
    pub fn lens_for(&self, eye: Eye) -> Option<&OrderedLens> {
        match eye {
            Eye::Right => self.right.as_ref(),
            Eye::Left => self.left.as_ref(),
        }
    }
}
