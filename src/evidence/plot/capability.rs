//! Histogram with limits.

use super::Words;
use super::axes::{Frame, Scale, number, signed};
use super::svg::{Anchor, Figure};
use crate::evidence::capability::Capability;

/// Most bars outside each limit.
const OUTSIDE: f64 = 16.0;

/// Bars of equal width.
struct Bars {
    width: f64,
    /// Left edge and count of each.
    bars: Vec<(f64, usize)>,
    /// Values too far off for the picture, counted in the outermost bars.
    beyond: usize,
}

/// Sorts values into bars. A limit is always an edge, so that no bar holds values from both sides
/// of it; a value on the upper limit counts inside.
fn bars(values: &[f64], result: &Capability) -> Bars {
    let (low, high) = (result.limits.low, result.limits.high);
    let inside = (values.len() as f64).sqrt().ceil().clamp(6.0, 24.0);
    let width = (high - low) / inside;
    let place = |v: f64| {
        let place = (v - low) / width;
        if place.round() == inside && (place - inside).abs() < 1e-6 {
            inside - 1.0
        } else {
            (place + 1e-6).floor()
        }
    };
    let places: Vec<f64> = values.iter().map(|v| place(*v)).collect();
    let clamp = |p: f64| p.clamp(-OUTSIDE, inside - 1.0 + OUTSIDE);
    let first = places.iter().fold(0.0, |f, p| f64::min(f, clamp(*p)));
    let last = places.iter().fold(inside - 1.0, |l, p| f64::max(l, clamp(*p)));
    let mut bars: Vec<(f64, usize)> =
        (0..=(last - first) as usize).map(|i| (low + (first + i as f64) * width, 0)).collect();
    for p in &places {
        bars[(clamp(*p) - first) as usize].1 += 1;
    }
    Bars { width, bars, beyond: places.iter().filter(|p| clamp(**p) != **p).count() }
}

/// The histogram of a process between its limits, with the normal curve of its mean and overall
/// spread.
pub fn capability(values: &[f64], result: &Capability, words: Words) -> String {
    let Bars { width, bars, beyond } = bars(values, result);
    let mut figure = Figure::new(536.0, words.title);
    let (low, high) = (result.limits.low, result.limits.high);
    let highest = bars.iter().map(|b| b.1).max().unwrap_or(1).max(1) as f64;
    let normal = |x: f64| {
        let z = (x - result.mean) / result.sd_overall;
        values.len() as f64 * width / (result.sd_overall * (2.0 * std::f64::consts::PI).sqrt())
            * (-z * z / 2.0).exp()
    };
    let ends = bars.iter().flat_map(|b| [b.0, b.0 + width]);
    let frame = Frame {
        x: Scale::around(ends.chain([low, high]), 84.0, 486.0),
        y: Scale::new(0.0, highest.max(normal(result.mean)) * 1.08, 356.0, 62.0).whole(),
    };
    frame.vertical(&mut figure, "count", number, true);
    for (left, count) in bars.iter().filter(|b| b.1 > 0) {
        let out = *left < low - width * 1e-6 || left + width > high + width * 1e-6;
        let (a, b) = (frame.at(*left, 0.0), frame.at(left + width, *count as f64));
        figure.rect((a.0 + 0.6, a.1), (b.0 - 0.6, b.1), if out { "alarm" } else { "bar" });
    }
    let curve: Vec<(f64, f64)> = (0..=120)
        .map(|i| frame.left() + (frame.right() - frame.left()) * f64::from(i) / 120.0)
        .map(|x| (x, frame.y.at(normal(frame.x.value(x)))))
        .collect();
    figure.path(&curve, false, "rule");
    frame.horizontal(&mut figure, &words.axis(), signed);
    for (name, at) in [("lower limit", low), ("upper limit", high)] {
        frame.upright(&mut figure, at, "limit");
        figure.text((frame.x.at(at), 54.0), Anchor::Middle, "quiet", name);
    }
    if beyond > 0 {
        let foot = format!("{beyond} farther off, counted in the outermost bars");
        figure.text((486.0, 420.0), Anchor::End, "quiet", &foot);
    }
    if (frame.left()..=frame.right()).contains(&frame.x.at(result.mean)) {
        frame.upright(&mut figure, result.mean, "zero");
    }

    let percent = |share: f64| format!("{} %", number(100.0 * share, 1));
    let facts = [
        ("values", result.n.to_string()),
        ("bias", format!("{} {}", signed(result.mean, 3), words.unit)),
        ("spread (SD)", format!("{} {}", number(result.sd_overall, 3), words.unit)),
        ("within limits", percent(result.inside.share)),
        ("Cp", number(result.cp, 2)),
        ("Cpk", number(result.cpk, 2)),
        ("Pp", number(result.pp, 2)),
        ("Ppk", number(result.ppk, 2)),
    ];
    // Below the picture: what the process is on the left, its indices on the right.
    for (i, (name, value)) in facts.iter().enumerate() {
        let (left, right) = if i < 4 { (28.0, 268.0) } else { (330.0, 450.0) };
        let y = 446.0 + 22.0 * (i % 4) as f64;
        figure.text((left, y), Anchor::Start, "", name);
        figure.text((right, y), Anchor::End, "strong", value);
    }
    let share = result.inside.interval;
    let range = format!("({} to {})", percent(share.low), percent(share.high));
    figure.text((268.0, 446.0 + 22.0 * 3.9), Anchor::End, "quiet", &range);
    let description = format!(
        "Histogram of {} values of {} between limits {} and {} {}: bias {}, Cpk {}, Ppk {}, {} within limits.",
        result.n,
        words.quantity,
        signed(low, 3),
        signed(high, 3),
        words.unit,
        signed(result.mean, 3),
        number(result.cpk, 2),
        number(result.ppk, 2),
        percent(result.inside.share),
    );
    figure.finish(words.title, &description)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::{Interval, capability};

    #[test]
    fn no_bar_straddles_a_limit_and_none_is_lost() {
        let mut values: Vec<f64> = (0..200).map(|i| -0.2 + 0.002 * f64::from(i)).collect();
        values.extend([0.12, -0.12, 0.1200001]);
        let result = capability::capability(&values, Interval { low: -0.12, high: 0.12 }, 0.95).unwrap();
        let Bars { width, bars, beyond } = bars(&values, &result);
        assert_eq!(beyond, 0);
        assert_eq!(bars.iter().map(|b| b.1).sum::<usize>(), values.len());
        let inside: usize = bars
            .iter()
            .filter(|b| b.0 > -0.12 - width * 1e-6 && b.0 + width < 0.12 + width * 1e-6)
            .map(|b| b.1)
            .sum();
        // 0.002 apart from -0.12 to 0.12, and both limits once more.
        assert_eq!((inside, result.inside.count), (121 + 2, 121 + 2));
    }

    #[test]
    fn one_wild_value_does_not_make_a_thousand_bars() {
        let result =
            capability::capability(&[0.0, 0.01, 5000.0], Interval { low: -0.12, high: 0.12 }, 0.95).unwrap();
        let made = bars(&[0.0, 0.01, 5000.0], &result);
        assert_eq!((made.bars.len(), made.beyond), (6 + 16, 1));
        assert_eq!(made.bars.last().map(|b| b.1), Some(1));
    }
}
