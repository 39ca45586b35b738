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
            let note = format!("{what} ({})", table.clause);
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
                (Says::Bands(ours), Says::Bands(theirs)) => looser_band(ours, theirs)
                    .map(|(how, keys)| format!("{how} its base {}: {}", base.name, describe(&keys))),
                (_, Says::Bands(_)) => {
                    Some(format!("looser than its base {}: not judged for {lens} lenses", base.name))
                }
                _ => None,
            }
        })
}

/// Compares two lists of bands at every end and beside it. Limits are linear between ends,
/// so this finds every place where one allows more.
fn looser_band(ours: &[Band], theirs: &[Band]) -> Option<(&'static str, Keys)> {
    let mut places = vec![Keys::default()];
    for key in Key::ALL {
        let points = ends(key, ours, theirs);
        if !points.is_empty() {
            let at_each = |keys: Keys| points.iter().map(move |&point| keys.with(key, point));
            places = places.into_iter().flat_map(at_each).collect();
        }
    }
    places.into_iter().find_map(|keys| {
        let own = ours.iter().find(|band| band.holds(&keys))?;
        let base = theirs.iter().find(|band| band.holds(&keys))?;
        Some((compare(own, base, &keys)?, keys))
    })
}

/// The ends of every band in one key, and what lies beside them; none where no band depends
/// on it. Power always counts: limits may grow with it.
fn ends(key: Key, ours: &[Band], theirs: &[Band]) -> Vec<Decimal> {
    let ranges: Vec<_> = ours.iter().chain(theirs).filter_map(|band| band.range(key)).collect();
    if ranges.is_empty() && key != Key::Power {
        return Vec::new();
    }
    let at = ranges.iter().flat_map(|range| [range.low, range.high]).flatten().map(|end| end.at);
    let mut points: Vec<Decimal> = at
        .chain([Decimal::ZERO, FAR])
        .flat_map(|end| [end - BESIDE, end, end + BESIDE])
        .filter(|point| !point.is_sign_negative())
        .collect();
    points.sort();
    points.dedup();
    points
}

/// How the lab's band lets more pass than the base's, if it does.
fn compare(own: &Band, base: &Band, keys: &Keys) -> Option<&'static str> {
    let power = keys.get(Key::Power).unwrap_or_default();
    // A percentage is taken of what is judged: the cylinder, the addition, or the power.
    let judged = [Key::Cylinder, Key::Addition, Key::Power].into_iter().find_map(|key| keys.get(key));
    let amount = |band: &Band| band.limit.amount(judged.unwrap_or_default(), power);
    let (ours, theirs) = (amount(own), amount(base));
    if ours.is_some() != theirs.is_some() {
        return Some("tests otherwise than");
    }
    let place = match (own.limit.millimetres, base.limit.millimetres) {
        (Some(ours), Some(theirs)) => ours > theirs || (base.limit.each && !own.limit.each),
        (ours, None) => ours.is_some(),
        (None, Some(_)) => false,
    };
    (ours > theirs || place).then_some("looser than")
}

fn describe(keys: &Keys) -> String {
    let parts: Vec<_> = Key::ALL
        .iter()
        .filter_map(|&key| keys.get(key).map(|value| format!("{key} {}", value.round_dp(3).normalize())))
        .collect();
    if parts.is_empty() { "throughout".to_owned() } else { format!("for example at {}", parts.join(", ")) }
}
