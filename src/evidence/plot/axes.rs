//! Scales, ticks and the frame around a plot.

use super::svg::{Anchor, Figure};

/// Maps values to places.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
    whole: bool,
}

impl Scale {
    /// `low` drawn at `from`, `high` at `to`.
    pub fn new(low: f64, high: f64, from: f64, to: f64) -> Scale {
        Scale { low, high, from, to, whole: false }
    }

    /// A scale that holds all `values` with some air, drawn between two places.
    pub fn around(values: impl IntoIterator<Item = f64>, from: f64, to: f64) -> Scale {
        let (low, high) = values
            .into_iter()
            .filter(|v| v.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
        let air = if high > low { (high - low) * 0.06 } else { low.abs().max(1.0) * 0.1 };
        Scale { low: low - air, high: high + air, from, to, whole: false }
    }

    /// The same scale for counts: no tick between whole numbers.
    pub fn whole(self) -> Scale {
        Scale { whole: true, ..self }
    }

    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// The value drawn at a place.
    pub fn value(&self, place: f64) -> f64 {
        self.low + (place - self.from) / (self.to - self.from) * (self.high - self.low)
    }

    /// About `count` round values, with the decimals they need.
    pub fn ticks(&self, count: f64) -> (Vec<f64>, usize) {
        let rough = (self.high - self.low) / count.max(1.0);
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * power).into_iter().find(|s| *s >= rough * 0.75);
        let step = step.unwrap_or(power).max(if self.whole { 1.0 } else { 0.0 });
        let decimals = (-(step * 1.000_001).log10().floor()).max(0.0) as usize;
        let (first, last) = ((self.low / step).ceil() as i64, (self.high / step).floor() as i64);
        // A scale so narrow that its ticks coincide gets none.
        let enough = first <= last && last.saturating_sub(first) <= 50;
        let ticks = if enough { (first..=last).map(|i| i as f64 * step).collect() } else { Vec::new() };
        (ticks, decimals)
    }
}

/// A number with a true minus sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    match text.strip_prefix('-') {
        Some(digits) if zero => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => text,
    }
}

/// The same with a plus sign where it is above 0.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if text.starts_with('−') || zero { text } else { format!("+{text}") }
}

/// Two scales and the rectangle they span.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    pub x: Scale,
    pub y: Scale,
}

impl Frame {
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x.at(x), self.y.at(y))
    }

    pub fn left(&self) -> f64 {
        self.x.from
    }

    pub fn right(&self) -> f64 {
        self.x.to
    }

    pub fn bottom(&self) -> f64 {
        self.y.from
    }

    pub fn top(&self) -> f64 {
        self.y.to
    }

    /// A line across at `y`.
    pub fn across(&self, figure: &mut Figure, y: f64, class: &str) {
        let y = self.y.at(y);
        figure.line((self.left(), y), (self.right(), y), class);
    }

    /// A line from bottom to top at `x`.
    pub fn upright(&self, figure: &mut Figure, x: f64, class: &str) {
        let x = self.x.at(x);
        figure.line((x, self.bottom()), (x, self.top()), class);
    }

    /// Tick labels and title of the vertical axis, with lines across if `grid`.
    pub fn vertical(&self, figure: &mut Figure, title: &str, label: fn(f64, usize) -> String, grid: bool) {
        let (ticks, decimals) = self.y.ticks(((self.bottom() - self.top()) / 46.0).max(2.0));
        for y in ticks {
            if grid {
                self.across(figure, y, "grid");
            }
            let at = (self.left() - 8.0, self.y.at(y) + 5.0);
            figure.text(at, Anchor::End, "", &label(y, decimals));
        }
        figure.line((self.left(), self.top()), (self.left(), self.bottom()), "frame");
        figure.upright((self.left() - 66.0, (self.top() + self.bottom()) / 2.0), title);
    }

    /// Tick labels and title of the horizontal axis.
    pub fn horizontal(&self, figure: &mut Figure, title: &str, label: fn(f64, usize) -> String) {
        let (ticks, decimals) = self.x.ticks(((self.right() - self.left()) / 80.0).max(2.0));
        for x in ticks {
            let at = self.x.at(x);
            figure.line((at, self.bottom()), (at, self.bottom() + 5.0), "frame");
            figure.text((at, self.bottom() + 21.0), Anchor::Middle, "", &label(x, decimals));
        }
        figure.line((self.left(), self.bottom()), (self.right(), self.bottom()), "frame");
        let middle = ((self.left() + self.right()) / 2.0, self.bottom() + 43.0);
        figure.text(middle, Anchor::Middle, "", title);
    }
}

/// Moves label places apart until neighbours are `gap` away, keeping their order and their middle.
pub(super) fn apart(wanted: &[f64], gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    let mut places = wanted.to_vec();
    // Each pass halves what is left of an overlap; a plot has a handful of labels.
    for _ in 0..40 {
        for pair in order.windows(2) {
            let short = gap - (places[pair[1]] - places[pair[0]]);
            if short > 0.0 {
                places[pair[0]] -= short / 2.0;
                places[pair[1]] += short / 2.0;
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let (ticks, decimals) = Scale::new(-0.13, 0.27, 0.0, 400.0).ticks(5.0);
        let labels: Vec<String> = ticks.iter().map(|t| signed(*t, decimals)).collect();
        assert_eq!(labels, ["−0.1", "0.0", "+0.1", "+0.2"]);
        let (ticks, decimals) = Scale::new(0.0, 24.0, 0.0, 400.0).ticks(5.0);
        assert_eq!((ticks, decimals), (vec![0.0, 5.0, 10.0, 15.0, 20.0], 0));
    }

    #[test]
    fn a_negative_zero_has_no_sign() {
        assert_eq!(signed(-0.0001, 2), "0.00");
        assert_eq!(number(-1.5, 1), "−1.5");
    }

    #[test]
    fn labels_are_moved_apart() {
        let places = apart(&[10.0, 100.0, 12.0], 16.0);
        assert!((places[2] - places[0] - 16.0).abs() < 1e-6 && places[1] == 100.0);
        assert!((places[2] + places[0] - 22.0).abs() < 1e-6);
    }
}
