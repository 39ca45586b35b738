//! What an order must be to be worked to, and a lens that is read by hand or certified. Ranges are wide: they catch a misplaced decimal
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

/// The values that a quantity may have, both ends among them.
#[derive(Debug, Clone, Copy)]
pub struct Range {
    low: i64,
    high: i64,
    unit: &'static str,
}

impl Range {
    /// From `low` to `high`; `unit` as a message says it.
    pub const fn new(low: i64, high: i64, unit: &'static str) -> Self {
        Self { low, high, unit }
    }

    /// What is wrong with a value of this field; nothing where it lies within.
    pub fn outside(self, field: &str, value: Decimal) -> Option<Invalid> {
        let Range { low, high, unit } = self;
        let within = (Decimal::from(low)..=Decimal::from(high)).contains(&value);
        let message = || format!("{value} is out of range; {low} to {high} {unit} is expected");
        (!within).then(|| Invalid { field: field.to_owned(), message: message() })
    }
}

const SPHERE: Range = Range::new(-40, 40, "D");
const CYLINDER: Range = Range::new(-20, 20, "D");
const AXIS: Range = Range::new(0, 180, "degrees");
/// The upper end is for low-vision aids.
const ADDITION: Range = Range::new(0, 20, "D");
/// One part of a prism.
const PRISM: Range = Range::new(0, 40, "prism dioptres; the base says the direction");
const BASE: Range = Range::new(0, 360, "degrees of base");
const PD: Range = Range::new(10, 50, "mm for one eye");
const HEIGHT: Range = Range::new(0, 60, "mm");

impl Order {
    /// Everything that is wrong with the order; empty for a good one.
    pub fn validate(&self) -> Vec<Invalid> {
        let mut found = Vec::new();
        if self.right.is_none() && self.left.is_none() {
            let message = "nothing is ordered for either eye; right, left or both are expected".to_owned();
            found.push(Invalid { field: "right".to_owned(), message });
        }
        for eye in Eye::BOTH {
            let Some(lens) = self.lens_for(eye) else { continue };
            if *lens == OrderedLens::default() {
                let message = "nothing is ordered for this eye; leave the eye out or give a value".to_owned();
                found.push(Invalid { field: format!("{eye}.sphere"), message });
            }
            let of_eye = |wrong: Invalid| Invalid { field: format!("{eye}.{}", wrong.field), ..wrong };
            found.extend(lens.validate().into_iter().map(of_eye));
        }
        found
    }
}

impl OrderedLens {
    /// Everything that is wrong with the values of one lens; empty for a good one. Lenses that are read
    /// by hand or certified are held to the same.
    pub fn validate(&self) -> Vec<Invalid> {
        let mut found = Vec::new();
        let mut within = |field: &str, value: Option<Decimal>, range: Range| {
            found.extend(value.and_then(|value| range.outside(field, value)));
        };
        within("sphere", self.sphere.map(|v| v.value()), SPHERE);
        within("cylinder", self.cylinder.map(|v| v.value()), CYLINDER);
        within("axis", self.axis.map(|v| v.value()), AXIS);
        within("addition", self.addition.map(|v| v.value()), ADDITION);
        within("second_addition", self.second_addition.map(|v| v.value()), ADDITION);
        within("pd", self.pd.map(|v| v.value()), PD);
        within("near_pd", self.near_pd.map(|v| v.value()), PD);
        within("segment_height", self.segment_height.map(|v| v.value()), HEIGHT);
        within("reference_height", self.reference_height.map(|v| v.value()), HEIGHT);
        let parts = || self.prism.iter().flatten();
        for part in parts() {
            within("prism", Some(part.amount.value()), PRISM);
            if let Base::Towards(angle) = part.base {
                within("prism", Some(angle.value()), BASE);
            }
        }
        let mut wrong = |field: &str, message: String| {
            found.push(Invalid { field: field.to_owned(), message });
        };
        for (one, other, words) in
            [(Base::In, Base::Out, "in and out"), (Base::Up, Base::Down, "up and down")]
        {
            let is = |base| parts().any(|part| part.base == base && !part.amount.is_zero());
            if is(one) && is(other) {
                wrong("prism", format!("{words} at once; one of the two, or their difference, is expected"));
            }
        }
        if let Some(cylinder) = self.cylinder.filter(|cylinder| !cylinder.is_zero()) {
            if self.axis.is_none() {
                wrong("axis", format!("missing beside a cylinder of {cylinder} D; 0 to 180 is expected"));
            }
            if self.sphere.is_none() {
                wrong("sphere", format!("missing beside a cylinder of {cylinder} D; plano is written 0.00"));
            }
        } else if self.cylinder.is_none() && self.axis.is_some_and(|axis| !axis.is_zero()) {
            wrong("cylinder", "missing beside an axis; a lens without cylinder has no axis".to_owned());
        }
        found
    }
}
