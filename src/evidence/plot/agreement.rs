//! Difference against mean.

use super::Words;
use super::axes::{Frame, Scale, apart, number, signed};
use super::svg::{Anchor, Figure, fitted};
use crate::evidence::agreement::{Agreement, Pair};

/// The agreement plot: each pair's difference over its mean, with bias, limits and their
/// confidence intervals as bands. `first` and `second` name the two sides.
pub fn agreement(pairs: &[Pair], result: &Agreement, first: &str, second: &str, words: Words) -> String {
    let mut figure = Figure::new(478.0, words.title);
    let frame = Frame {
        x: Scale::around(pairs.iter().map(Pair::mean), 84.0, 366.0),
        y: Scale::around(
            pairs.iter().map(Pair::difference).chain([
                0.0,
                result.lower_interval.low,
                result.upper_interval.high,
            ]),
            396.0,
            44.0,
        ),
    };
    let title = format!("{first} − {second} ({})", words.unit);
    frame.vertical(&mut figure, &fitted(&title, 352.0), signed, true);
    let title = format!("mean of both, {}", words.axis());
    frame.horizontal(&mut figure, &fitted(&title, 360.0), number);
    for interval in [result.lower_interval, result.bias_interval, result.upper_interval] {
        let (a, b) = (frame.y.at(interval.low), frame.y.at(interval.high));
        figure.rect((frame.left(), a), (frame.right(), b), "band");
    }
    frame.across(&mut figure, 0.0, "zero");
    for pair in pairs {
        figure.circle(frame.at(pair.mean(), pair.difference()), 4.2, "point");
    }
    frame.across(&mut figure, result.bias, "rule");
    frame.across(&mut figure, result.limits.low, "limit");
    frame.across(&mut figure, result.limits.high, "limit");

    let lines = [
        ("upper limit", result.limits.high, result.upper_interval),
        ("bias", result.bias, result.bias_interval),
        ("lower limit", result.limits.low, result.lower_interval),
    ];
    let places = apart(&lines.map(|l| frame.y.at(l.1)), 50.0);
    for ((name, value, interval), y) in lines.into_iter().zip(places) {
        let x = frame.right() + 10.0;
        figure.text((x, y - 11.0), Anchor::Start, "quiet", name);
        let text = format!("{} {}", signed(value, 3), words.unit);
        figure.text((x, y + 6.0), Anchor::Start, "strong", &text);
        let text = format!("{} to {}", signed(interval.low, 3), signed(interval.high, 3));
        figure.text((x, y + 22.0), Anchor::Start, "quiet", &text);
    }
    let level = 100.0 * result.terms.confidence;
    let description = format!(
        "{first} minus {second} for {n} readings of {lenses} lenses. Bias {bias} {unit}, limits of \
         agreement {low} to {high} {unit}. Bands are {level}% confidence intervals.",
        n = result.n,
        lenses = result.lenses,
        bias = signed(result.bias, 3),
        low = signed(result.limits.low, 3),
        high = signed(result.limits.high, 3),
        unit = words.unit,
    );
    let foot = format!("n = {}, {} lenses; bands: {level}% confidence", result.n, result.lenses);
    figure.text((490.0, 466.0), Anchor::End, "quiet", &foot);
    figure.finish(words.title, &description)
}
