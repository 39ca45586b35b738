//! What an order must be to be worked to. Ranges are wide: they catch a misplaced decimal
//! point or swapped columns, not an unusual lens. Steps need not be quarters.

use super::{Order, OrderedLens};
use crate::parsers::reading::{Base, Eye};
use rust_decimal::Decimal;

/// One thing that is wrong with an order.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {message}")]
pub struct Invalid {
    /// The field, such as `right.axis`.
    pub field: String,
    /// What is wrong and what was expected.
    pub message: String,
}

/// Sphere from -40 to 40 D.
const SPHERE: (i64, i64) = (-40, 40);
/// Cylinder from -20 to 20 D.
const CYLINDER: (i64, i64) = (-20, 20);
/// Axis from 0 to 180 degrees.
const AXIS: (i64, i64) = (0, 180);
/// Addition from 0 to 20 D: the upper end is for low-vision aids.
const ADDITION: (i64, i64) = (0, 20);
/// One prism part from 0 to 40 prism dioptres.
const PRISM: (i64, i64) = (0, 40);
/// Base from 0 to 360 degrees.
const BASE: (i64, i64) = (0, 360);
/// Monocular PD from 10 to 50 mm.
const PD: (i64, i64) = (10, 50);
/// Heights from 0 to 60 mm.
const HEIGHT: (i64, i64) = (0, 60);

impl Order {
    /// Everything that is wrong with the order; empty for a good one.
    pub fn validate(&self) -> Vec<Invalid> {
        let mut found = Vec::new();
        if self.right.is_none() && self.left.is_none() {
            let message = "nothing is ordered for either eye; right, left or both are expected".to_owned();
            found.push(Invalid { field: "right".to_owned(), message });
        }
        for eye in Eye::BOTH {
            if let Some(lens) = self.lens_for(eye) {
                Check { eye, found: &mut found }.lens(lens);
            }
        }
        found
    }
}

struct Check<'a> {
    eye: Eye,
    found: &'a mut Vec<Invalid>,
}

impl Check<'_> {
    fn lens(&mut self, lens: &OrderedLens) {
        if *lens == OrderedLens::default() {
            self.wrong(
                "sphere",
                "nothing is ordered for this eye; leave the eye out or give a value".to_owned(),
            );
        }
        self.within("sphere", lens.sphere.map(|v| v.value()), SPHERE, "D");
        self.within("cylinder", lens.cylinder.map(|v| v.value()), CYLINDER, "D");
        self.within("axis", lens.axis.map(|v| v.value()), AXIS, "degrees");
        self.within("addition", lens.addition.map(|v| v.value()), ADDITION, "D");
        self.within("second_addition", lens.second_addition.map(|v| v.value()), ADDITION, "D");
        self.within("pd", lens.pd.map(|v| v.value()), PD, "mm for one eye");
        self.within("near_pd", lens.near_pd.map(|v| v.value()), PD, "mm for one eye");
        self.within("segment_height", lens.segment_height.map(|v| v.value()), HEIGHT, "mm");
        self.within("reference_height", lens.reference_height.map(|v| v.value()), HEIGHT, "mm");
        for part in lens.prism.iter().flatten() {
            self.within(
                "prism",
                Some(part.amount.value()),
                PRISM,
                "prism dioptres; the base says the direction",
            );
            if let Base::Towards(angle) = part.base {
                self.within("prism", Some(angle.value()), BASE, "degrees of base");
            }
        }
        if let Some(cylinder) = lens.cylinder.filter(|cylinder| !cylinder.is_zero()) {
            if lens.axis.is_none() {
                self.wrong(
                    "axis",
                    format!("missing beside a cylinder of {cylinder} D; 0 to 180 is expected"),
                );
            }
            if lens.sphere.is_none() {
                self.wrong(
                    "sphere",
                    format!("missing beside a cylinder of {cylinder} D; plano is written 0.00"),
                );
            }
        } else if lens.cylinder.is_none() && lens.axis.is_some_and(|axis| !axis.is_zero()) {
            self.wrong("cylinder", "missing beside an axis; a lens without cylinder has no axis".to_owned());
        }
    }

    fn within(&mut self, field: &str, value: Option<Decimal>, (low, high): (i64, i64), unit: &str) {
        if let Some(value) = value
            && !(Decimal::from(low)..=Decimal::from(high)).contains(&value)
        {
            self.wrong(field, format!("{value} is out of range; {low} to {high} {unit} is expected"));
        }
    }

    fn wrong(&mut self, field: &str, message: String) {
        self.found.push(Invalid { field: format!("{}.{field}", self.eye), message });
    }
}
