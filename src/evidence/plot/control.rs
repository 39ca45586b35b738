//! Control charts.

use super::Words;
use super::axes::{Frame, Scale, apart, number, signed};
use super::svg::{Anchor, Figure, fitted, text_width};
use crate::evidence::Interval;
use crate::evidence::chart::{Baseline, CusumPoint, EwmaPoint, IndividualsPoint, MOVING_RANGE, Signal, Step};

const LEFT: f64 = 84.0;
const RIGHT: f64 = 384.0;

/// The checks that a chart's points stand for.
#[derive(Debug, Clone, Copy)]
pub struct Checks<'a> {
    /// What is written along the bottom.
    pub title: &'a str,
    /// How many checks the baseline was made from: the charted ones are counted on from there.
    pub before: usize,
    /// The last of those, as far as they are to be seen in front of the charted ones.
    pub baseline: &'a [f64],
}

impl Checks<'_> {
    /// The number of the check of a point.
    fn number(&self, index: usize) -> f64 {
        (self.before + index) as f64 + 1.0
    }

    /// A scale for the checks of these points.
    fn places(&self, mut indices: impl DoubleEndedIterator<Item = usize>) -> Scale {
        let first = indices.next().unwrap_or(0);
        let last = indices.next_back().unwrap_or(first);
        Scale::new(self.number(first) - 0.6, self.number(last) + 0.6, LEFT, RIGHT).whole()
    }
}

/// The rules that fired, each with its letter: A for the first to fire, B for the next.
struct Key(Vec<&'static str>);

impl Key {
    fn of<'a>(signals: impl Iterator<Item = &'a Signal>) -> Key {
        let mut rules: Vec<&'static str> = Vec::new();
        for signal in signals {
            if !rules.contains(&signal.rule) {
                rules.push(signal.rule);
            }
        }
        Key(rules)
    }

    fn letter(&self, rule: &str) -> char {
        let place = self.0.iter().position(|r| *r == rule).unwrap_or(0);
        char::from(b'A' + place.min(25) as u8)
    }

    fn height(&self) -> f64 {
        20.0 * self.0.len().max(1) as f64 + 10.0
    }

    fn write(&self, figure: &mut Figure, mut y: f64) {
        if self.0.is_empty() {
            figure.text((LEFT, y), Anchor::Start, "quiet", "no rule fired");
        }
        for rule in &self.0 {
            figure.rect((LEFT, y - 10.0), (LEFT + 9.0, y - 1.0), "alarm");
            let letter = self.letter(rule).to_string();
            figure.text((LEFT + 18.0, y), Anchor::Start, "strong", &letter);
            figure.text((LEFT + 36.0, y), Anchor::Start, "", rule);
            y += 20.0;
        }
    }
}

/// What is drawn in one panel: points, lines across with their names, and what fired.
struct Panel<'a> {
    points: Vec<(usize, f64)>,
    lines: Vec<(&'a str, f64, &'a str)>,
    signals: Vec<&'a Signal>,
    label: fn(f64, usize) -> String,
    /// A point at 0 is a sum at rest: the line says enough.
    rests_at_zero: bool,
    checks: Checks<'a>,
}

impl Panel<'_> {
    /// Line, points, and a square with its letters for each point at which a rule fires.
    fn draw(&self, figure: &mut Figure, frame: Frame, key: &Key) {
        for (_, y, class) in &self.lines {
            frame.across(figure, *y, class);
        }
        let place = |p: &(usize, f64)| frame.at(self.checks.number(p.0), p.1);
        let path: Vec<(f64, f64)> = self.points.iter().map(place).collect();
        figure.path(&path, false, "trace");
        let mut taken = Vec::new();
        for point in &self.points {
            let at = place(point);
            let fired: Vec<&&Signal> = self.signals.iter().filter(|s| s.point == point.0).collect();
            if fired.is_empty() {
                if !(self.rests_at_zero && point.1 == 0.0) {
                    figure.circle(at, if self.points.len() > 120 { 1.8 } else { 3.4 }, "bar");
                }
                continue;
            }
            figure.rect((at.0 - 4.5, at.1 - 4.5), (at.0 + 4.5, at.1 + 4.5), "alarm");
            // Only what is new gets its letter; a pattern that goes on is a square alone.
            let letters: String = fired.iter().filter(|s| !s.continues).map(|s| key.letter(s.rule)).collect();
            if !letters.is_empty() {
                let y = free(&mut taken, at, text_width(&letters), frame);
                figure.text((at.0, y), Anchor::Middle, "tag", &letters);
            }
        }
        let places = apart(&self.lines.iter().map(|l| frame.y.at(l.1)).collect::<Vec<_>>(), 17.0);
        let named = self.lines.iter().zip(places).filter(|(l, _)| !l.0.is_empty());
        for ((name, value, _), y) in named {
            let text = format!("{name} {}", (self.label)(*value, 3));
            figure.text((RIGHT + 8.0, y + 5.0), Anchor::Start, "", &text);
        }
    }

    fn values(&self) -> impl Iterator<Item = f64> + '_ {
        self.points.iter().map(|p| p.1).chain(self.lines.iter().map(|l| l.1))
    }
}

/// A height for letters at a point, nearest first, that keeps clear of the letters placed so far.
/// `taken` holds left end, right end and height of each.
fn free(taken: &mut Vec<(f64, f64, f64)>, at: (f64, f64), width: f64, frame: Frame) -> f64 {
    let ends = (at.0 - width / 2.0, at.0 + width / 2.0);
    let clear = |y: f64| {
        let apart = |t: &(f64, f64, f64)| t.1 <= ends.0 || t.0 >= ends.1 || (t.2 - y).abs() >= 15.0;
        y - 11.0 >= frame.top() && y <= frame.bottom() && taken.iter().all(apart)
    };
    let steps = (0..12).map(|i| 16.0 * f64::from(i));
    let y = steps.flat_map(|s| [at.1 - 9.0 - s, at.1 + 21.0 + s]).find(|y| clear(*y)).unwrap_or(at.1 - 9.0);
    taken.push((ends.0, ends.1, y));
    y
}

fn described(kind: &str, count: usize, signals: &[&Signal], checks: Checks) -> String {
    let new: Vec<String> = signals
        .iter()
        .filter(|s| !s.continues)
        .map(|s| format!("{} at check {}", s.rule, checks.number(s.point)))
        .collect();
    let what = if new.is_empty() { "no rule fired".to_owned() } else { new.join("; ") };
    format!("{kind} of {count} points: {what}.")
}

/// Individuals and moving range, one above the other, with one and two sigma shaded; in front of them
/// what the baseline was made from.
pub fn individuals(
    steps: &[Step<IndividualsPoint>],
    baseline: Baseline,
    checks: Checks,
    words: Words,
) -> String {
    let all: Vec<&Signal> = steps.iter().flat_map(|s| &s.signals).collect();
    let key = Key::of(all.iter().copied());
    let has_baseline = !checks.baseline.is_empty();
    let mut figure = Figure::new(500.0 + key.height() + if has_baseline { 20.0 } else { 0.0 }, words.title);
    let three = baseline.limits(3.0);
    let of_range = |s: &&Signal| s.rule == MOVING_RANGE.0;
    let top = Panel {
        points: steps.iter().map(|s| (s.point.index, s.point.value)).collect(),
        lines: vec![
            ("upper", three.high, "limit"),
            ("centre", baseline.centre, "rule"),
            ("lower", three.low, "limit"),
        ],
        signals: all.iter().copied().filter(|s| !of_range(s)).collect(),
        label: number,
        rests_at_zero: false,
        checks,
    };
    let indices = steps.iter().map(|s| s.point.index);
    let mut x = checks.places(indices);
    if has_baseline {
        let (first, last) = (checks.before - checks.baseline.len(), x.value(RIGHT));
        x = Scale::new(first as f64 + 0.4, last, LEFT, RIGHT).whole();
    }
    let values = top.values().chain(checks.baseline.iter().copied());
    let frame = Frame { x, y: Scale::around(values, 290.0, 44.0) };
    frame.vertical(&mut figure, &fitted(&words.axis(), 246.0), number, false);
    for sigmas in [2.0, 1.0] {
        let zone = baseline.limits(sigmas);
        let corners = [zone.low, zone.high].map(|y| frame.y.at(y));
        figure.rect((LEFT, corners[0]), (RIGHT, corners[1]), "shade");
    }
    for (i, value) in checks.baseline.iter().rev().enumerate() {
        figure.circle(frame.at((checks.before - i) as f64, *value), 3.0, "third");
    }
    top.draw(&mut figure, frame, &key);

    let limit = baseline.moving_range_limit();
    let ranges: Vec<(usize, f64)> =
        steps.iter().filter_map(|s| Some((s.point.index, s.point.moving_range?.range))).collect();
    let bottom = Panel {
        points: ranges,
        lines: vec![("upper", limit, "limit")],
        signals: all.iter().copied().filter(of_range).collect(),
        label: number,
        rests_at_zero: false,
        checks,
    };
    let frame =
        Frame { x: frame.x, y: Scale::new(0.0, bottom.values().fold(0.0, f64::max) * 1.12, 440.0, 320.0) };
    frame.vertical(&mut figure, "moving range", number, false);
    frame.horizontal(&mut figure, checks.title, number);
    bottom.draw(&mut figure, frame, &key);
    key.write(&mut figure, 507.0);
    if has_baseline {
        let y = 507.0 + key.height() - 10.0;
        figure.circle((LEFT + 4.5, y - 5.0), 3.0, "third");
        figure.text((LEFT + 18.0, y), Anchor::Start, "quiet", "checks that the baseline was made from");
    }
    figure.finish(words.title, &described("Individuals chart", steps.len(), &all, checks))
}

/// The weighted average between its limits.
pub fn ewma(steps: &[Step<EwmaPoint>], baseline: Baseline, checks: Checks, words: Words) -> String {
    let all: Vec<&Signal> = steps.iter().flat_map(|s| &s.signals).collect();
    let key = Key::of(all.iter().copied());
    let mut figure = Figure::new(400.0 + key.height(), words.title);
    let edge = |f: fn(&Interval) -> f64| steps.last().map_or(baseline.centre, |s| f(&s.point.limits));
    let panel = Panel {
        points: steps.iter().map(|s| (s.point.index, s.point.average)).collect(),
        lines: vec![
            ("upper", edge(|l| l.high), ""),
            ("centre", baseline.centre, "rule"),
            ("lower", edge(|l| l.low), ""),
        ],
        signals: all.clone(),
        label: number,
        rests_at_zero: false,
        checks,
    };
    let frame = Frame {
        x: checks.places(steps.iter().map(|s| s.point.index)),
        y: Scale::around(panel.values(), 340.0, 44.0),
    };
    let title = format!("weighted average, {}", words.axis());
    frame.vertical(&mut figure, &fitted(&title, 296.0), number, false);
    frame.horizontal(&mut figure, checks.title, number);
    // The limits as stairs, each as wide as its point.
    for end in [(|l: &Interval| l.low) as fn(&Interval) -> f64, |l| l.high] {
        let ends = |s: &Step<EwmaPoint>| {
            [-0.5, 0.5].map(|side| frame.at(checks.number(s.point.index) + side, end(&s.point.limits)))
        };
        let stairs: Vec<(f64, f64)> = steps.iter().flat_map(ends).collect();
        figure.path(&stairs, false, "limit");
    }
    panel.draw(&mut figure, frame, &key);
    key.write(&mut figure, 407.0);
    figure.finish(words.title, &described("EWMA chart", steps.len(), &all, checks))
}

/// Both cumulative sums, the one above the centre drawn upwards, the one below downwards.
pub fn cusum(steps: &[Step<CusumPoint>], decision: f64, checks: Checks, words: Words) -> String {
    use crate::evidence::chart::Side;
    let all: Vec<&Signal> = steps.iter().flat_map(|s| &s.signals).collect();
    let key = Key::of(all.iter().copied());
    let mut figure = Figure::new(400.0 + key.height(), words.title);
    let half = |side: Side, value: fn(&CusumPoint) -> f64| Panel {
        points: steps.iter().map(|s| (s.point.index, value(&s.point))).collect(),
        lines: Vec::new(),
        signals: all.iter().copied().filter(|s| s.side == side).collect(),
        label: signed,
        rests_at_zero: true,
        checks,
    };
    let mut above = half(Side::Above, |p| p.above);
    let below = half(Side::Below, |p| -p.below);
    // Both in one panel, where names are kept apart.
    above.lines = vec![("limit", decision, "limit"), ("limit", -decision, "limit")];
    let frame = Frame {
        x: checks.places(steps.iter().map(|s| s.point.index)),
        y: Scale::around(above.values().chain(below.values()), 340.0, 44.0),
    };
    let title = format!("cumulative sum, {}", words.axis());
    frame.vertical(&mut figure, &fitted(&title, 296.0), signed, false);
    frame.horizontal(&mut figure, checks.title, number);
    frame.across(&mut figure, 0.0, "rule");
    above.draw(&mut figure, frame, &key);
    below.draw(&mut figure, frame, &key);
    key.write(&mut figure, 407.0);
    figure.finish(words.title, &described("CUSUM chart", steps.len(), &all, checks))
}
