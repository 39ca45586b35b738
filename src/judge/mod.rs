//! A reading against an order by a rule set. Pure; no tolerance stands in the code.
//!
//! - [`rules`]: a rule set and its tables; [`band`]: bands and limits
//! - `file`: rule sets as TOML text; `loosened`: where a lab's own allows more than its base
//! - `power`, `prism`, `imbalance`, `place`: what is compared; `glass`: one eye's order and
//!   measurement; `sheet`: the comparison and the outcome
//! - `eighths`: orders written with eighths cut to two places
//! - [`verdict`]: what comes out
//! - [`files`]: judging from JSON texts

pub mod band;
mod eighths;
mod file;
pub mod files;
mod glass;
mod imbalance;
mod loosened;
mod place;
mod power;
mod prism;
pub mod rules;
mod sheet;
pub mod verdict;
pub mod words;

pub use rules::{RuleError, RuleSet};

use crate::optics::normal::is_within_reach;
use crate::order::{Order, OrderedLens};
use crate::parsers::reading::{Eye, Lens, Reading};
use glass::Glass;
use power::Form;
use sheet::Sheet;
use verdict::Verdict;

/// Judges what was measured against what was ordered.
///
/// `measured` holds the latest value of each quantity of each eye. Plus and minus writings
/// of either judge alike. A lens of which the eye is not known is not judged, nor is one
/// with an impossible number ([`is_within_reach`]). The order is to be a valid one ([`Order::validate`]).
pub fn judge(order: &Order, measured: &Reading, rules: &RuleSet) -> Verdict {
    let nothing = Lens::default();
    let not_ordered = OrderedLens::default();
    let mut sheet = Sheet::new(rules, order);
    let mut glasses = Vec::with_capacity(2);
    let mut notes = rules.notes().to_vec();
    for eye in Eye::BOTH {
        let ordered = order.lens_for(eye);
        let mut reading = measured.lens(eye);
        if reading.is_some_and(|lens| !is_within_reach(lens)) {
            notes.push(format!("the {eye} lens's reading has an impossible number; it was not judged"));
            reading = None;
        }
        if ordered.is_none() && reading.is_none() {
            continue;
        }
        let glass = Glass::new(eye, ordered.unwrap_or(&not_ordered), reading.unwrap_or(&nothing));
        power::judge(&mut sheet, eye.into(), &glass.form, &Form::measured(glass.measured));
        power::additions(&mut sheet, eye.into(), glass.ordered, glass.measured);
        if ordered.is_some() {
            glasses.push(glass);
        } else {
            prism::recorded(&mut sheet, &glass);
            place::judge(&mut sheet, &[glass]);
        }
    }
    match &glasses[..] {
        [right, left] if order.mounted && imbalance::is_judged(&sheet) => {
            imbalance::judge(&mut sheet, right, left);
        }
        each => each.iter().for_each(|glass| prism::judge(&mut sheet, glass)),
    }
    place::judge(&mut sheet, &glasses);

    let (items, outcome) = sheet.finish();
    if measured.unspecified.is_some() {
        notes.push("a lens without an eye is in the reading; it was not judged".to_owned());
    }
    Verdict {
        job: order.job.clone(),
        rules: rules.name().to_owned(),
        outcome,
        items,
        decision: rules.decision().to_owned(),
        basis: None,
        notes,
        held: None,
    }
}
