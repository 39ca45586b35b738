//! Where a lab's own tables allow more than their base.

use super::band::{Band, Key, Keys};
use super::rules::{PowerScheme, RuleSet, Says, Table};
use crate::order::LensKind;
use rust_decimal::Decimal;

/// A step beside a band's end, to look into open ranges; finer than any power is written.
const BESIDE: Decimal = Decimal::from_parts(1, 0, 0, false, 6);
/// Beyond any band's end, to look into ranges without an upper end.
const FAR: Decimal = Decimal::from_parts(1000, 0, 0, false, 0);

/// One note for each way in which the lab's file is looser than its base.
pub(super) fn notes(scheme: PowerScheme, own: &[Table], base: &RuleSet) -> Vec<String> {
    let mut notes = Vec::new();
    if scheme != base.scheme {
        notes.push(format!("differs from its base {}: the power limit is that {scheme}", base.name));
    }
    for table in own {
        if let Some(what) = looser(table, base) {
            let note = format!("looser than its base {}: {}, {what}", base.name, table.clause);
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
    }
    notes
}

/// What is looser in one table, if anything is.
fn looser(own: &Table, base: &RuleSet) -> Option<String> {
    LensKind::ALL
        .into_iter()
        .flat_map(|lens| [(lens, true), (lens, false)])
        .filter(|&(lens, mounted)| own.covers(lens, mounted))
        .find_map(|(lens, mounted)| {
            let standard = base.table(own.subject, lens, mounted, own.scope)?;
            match (&own.says, &standard.says) {
                (Says::Bands(ours), Says::Bands(theirs)) => looser_band(ours, theirs),
                (_, Says::Bands(_)) => Some(format!("not judged for {lens} lenses")),
                _ => None,
            }
        })
}

/// Compares two lists of bands at every end and beside it. Limits are linear between ends,
/// so this finds every place where one allows more.
fn looser_band(ours: &[Band], theirs: &[Band]) -> Option<String> {
    let points: Vec<Vec<Option<Decimal>>> = Key::ALL.iter().map(|&key| ends(key, ours, theirs)).collect();
    for &power in &points[0] {
        for &cylinder in &points[1] {
            for &addition in &points[2] {
                for &prism in &points[3] {
                    let values = [power, cylinder, addition, prism];
                    let keys = Key::ALL.iter().zip(values).fold(Keys::default(), |keys, (&key, value)| {
                        value.map_or(keys, |value| keys.with(key, value))
                    });
                    let (Some(own), Some(base)) = (
                        ours.iter().find(|band| band.holds(&keys)),
                        theirs.iter().find(|band| band.holds(&keys)),
                    ) else {
                        continue;
                    };
                    if allows_more(own, base, &keys) {
                        return Some(describe(&keys));
                    }
                }
            }
        }
    }
    None
}

fn ends(key: Key, ours: &[Band], theirs: &[Band]) -> Vec<Option<Decimal>> {
    let ranges: Vec<_> = ours.iter().chain(theirs).filter_map(|band| band.range(key)).collect();
    if ranges.is_empty() && key != Key::Power {
        return vec![None];
    }
    let at = ranges.iter().flat_map(|range| [range.low, range.high]).flatten().map(|end| end.at);
    let mut points: Vec<Decimal> = at
        .chain([Decimal::ZERO, FAR])
        .flat_map(|end| [end - BESIDE, end, end + BESIDE])
        .filter(|point| !point.is_sign_negative())
        .collect();
    points.sort();
    points.dedup();
    points.into_iter().map(Some).collect()
}

fn allows_more(own: &Band, base: &Band, keys: &Keys) -> bool {
    let power = keys.get(Key::Power).unwrap_or_default();
    // A percentage is taken of what is judged: the cylinder, the addition, or the power.
    let ordered = [Key::Cylinder, Key::Addition, Key::Power]
        .into_iter()
        .find_map(|key| keys.get(key))
        .unwrap_or_default();
    let amount = match (own.limit.amount(ordered, power), base.limit.amount(ordered, power)) {
        (Some(ours), Some(theirs)) => ours > theirs,
        (None, None) => false,
        // Another kind of test cannot be called tighter.
        _ => true,
    };
    let place = match (own.limit.millimetres, base.limit.millimetres) {
        (Some(ours), Some(theirs)) => ours > theirs || (base.limit.each && !own.limit.each),
        (ours, None) => ours.is_some(),
        (None, Some(_)) => false,
    };
    amount || place
}

fn describe(keys: &Keys) -> String {
    let parts: Vec<_> = Key::ALL
        .iter()
        .filter_map(|&key| keys.get(key).map(|value| format!("{key} {}", value.round_dp(3).normalize())))
        .collect();
    format!("for example at {}", parts.join(", "))
}
