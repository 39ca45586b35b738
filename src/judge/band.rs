//! Bands: for which ordered values a limit holds.

use rust_decimal::Decimal;
use serde::Deserialize;
use std::fmt;

/// An end of a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct End {
    /// Where it lies.
    pub at: Decimal,
    /// Whether the value itself belongs to the range.
    pub closed: bool,
}

/// A range of magnitudes; an absent end is open without bound.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Range {
    /// The lower end: `from` (closed) or `above` (open).
    pub low: Option<End>,
    /// The upper end: `to` (closed) or `below` (open).
    pub high: Option<End>,
}

impl Range {
    /// Whether `value` lies in the range.
    pub fn holds(&self, value: Decimal) -> bool {
        self.low.is_none_or(|end| value > end.at || (end.closed && value == end.at))
            && self.high.is_none_or(|end| value < end.at || (end.closed && value == end.at))
    }

    /// Whether no value at all lies in the range.
    pub fn is_empty(&self) -> bool {
        match (self.low, self.high) {
            (Some(low), Some(high)) => {
                low.at > high.at || (low.at == high.at && !(low.closed && high.closed))
            }
            _ => false,
        }
    }

    fn overlaps(&self, other: &Self) -> bool {
        let low = tighter(self.low, other.low, |a, b| a > b);
        let high = tighter(self.high, other.high, |a, b| a < b);
        !Self { low, high }.is_empty()
    }
}

/// The end of two that shuts out more.
fn tighter(one: Option<End>, two: Option<End>, beyond: fn(Decimal, Decimal) -> bool) -> Option<End> {
    match (one, two) {
        (Some(a), Some(b)) if a.at == b.at => Some(End { at: a.at, closed: a.closed && b.closed }),
        (Some(a), Some(b)) => Some(if beyond(a.at, b.at) { a } else { b }),
        (a, b) => a.or(b),
    }
}

/// What a band can depend on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Key {
    /// Magnitude of the ordered power concerned, D.
    Power,
    /// Magnitude of the ordered cylinder, D.
    Cylinder,
    /// The ordered addition, D.
    Addition,
    /// Magnitude of the ordered prism component, prism dioptres.
    Prism,
}

impl Key {
    /// Every key.
    pub const ALL: [Key; 4] = [Key::Power, Key::Cylinder, Key::Addition, Key::Prism];
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Key::Power => "power",
            Key::Cylinder => "cylinder",
            Key::Addition => "addition",
            Key::Prism => "prism",
        })
    }
}

/// The ordered values by which a band is chosen; absent where not ordered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Keys([Option<Decimal>; 4]);

impl Keys {
    /// These keys and one more.
    pub fn with(mut self, key: Key, value: Decimal) -> Self {
        self.0[key as usize] = Some(value.abs());
        self
    }

    /// The value of a key.
    pub fn get(&self, key: Key) -> Option<Decimal> {
        self.0[key as usize]
    }
}

/// How much a deviation may be: the sum of its parts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Limit {
    /// A fixed amount, in the quantity's unit.
    pub fixed: Option<Decimal>,
    /// A share of the ordered value (0.02 is 2 percent).
    pub share: Option<Decimal>,
    /// So much for each dioptre of the power concerned.
    pub per_dioptre: Option<Decimal>,
    /// A test of the reference point's place in millimetres. Beside an amount it is an
    /// alternative: either test met is a pass.
    pub millimetres: Option<Decimal>,
    /// Whether the place is tested for each lens of a pair by itself.
    pub each: bool,
}

impl Limit {
    /// The amount allowed, not rounded: for the magnitude of the `ordered` value and the
    /// `power` concerned, both as written. Absent where the limit is in millimetres only.
    pub fn amount(&self, ordered: Decimal, power: Decimal) -> Option<Decimal> {
        let parts = [
            self.fixed,
            self.share.map(|share| share * ordered.abs()),
            self.per_dioptre.map(|each| each * power.abs()),
        ];
        parts.into_iter().flatten().reduce(|sum, part| sum + part)
    }
}

/// A limit and the ordered values for which it holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Band {
    ranges: [Option<Range>; 4],
    /// The limit.
    pub limit: Limit,
    /// What every item judged by this band says.
    pub note: Option<String>,
}

impl Band {
    /// A band that holds where every given range holds.
    pub fn new(ranges: [Option<Range>; 4], limit: Limit, note: Option<String>) -> Self {
        Self { ranges, limit, note }
    }

    /// The range of a key, where the band depends on it.
    pub fn range(&self, key: Key) -> Option<&Range> {
        self.ranges[key as usize].as_ref()
    }

    /// Whether the band holds for these ordered values.
    pub fn holds(&self, keys: &Keys) -> bool {
        self.ranges
            .iter()
            .zip(keys.0)
            .all(|(range, value)| range.is_none_or(|range| value.is_some_and(|value| range.holds(value))))
    }

    /// Whether some ordered values would belong to both bands.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.ranges.iter().zip(&other.ranges).all(|pair| match pair {
            (Some(one), Some(two)) => one.overlaps(two),
            _ => true,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(low: Option<(i64, bool)>, high: Option<(i64, bool)>) -> Range {
        let end = |(at, closed)| End { at: Decimal::new(at, 2), closed };
        Range { low: low.map(end), high: high.map(end) }
    }

    #[test]
    fn ends_belong_where_they_are_closed() {
        let half_open = range(Some((25, false)), Some((50, true)));
        assert!(!half_open.holds(Decimal::new(25, 2)));
        assert!(half_open.holds(Decimal::new(2501, 4)));
        assert!(half_open.holds(Decimal::new(500, 3)));
        assert!(!half_open.holds(Decimal::new(5001, 4)));
    }

    #[test]
    fn ranges_that_share_only_an_open_end_do_not_overlap() {
        let low = range(None, Some((50, true)));
        assert!(!low.overlaps(&range(Some((50, false)), None)));
        assert!(low.overlaps(&range(Some((50, true)), None)));
        assert!(range(Some((60, true)), Some((50, true))).is_empty());
        assert!(!range(Some((50, true)), Some((50, true))).is_empty());
        assert!(range(Some((50, true)), Some((50, false))).is_empty());
    }

    #[test]
    fn percent_limits_are_not_rounded() {
        let limit = Limit { share: Some(Decimal::new(2, 2)), ..Limit::default() };
        assert_eq!(limit.amount(Decimal::new(-737, 2), Decimal::ZERO), Some(Decimal::new(1474, 4)));
    }
}
