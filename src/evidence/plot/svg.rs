//! Writes SVG.
//!
//! Not a plotting crate: those write fixed colours into their SVG and know neither `currentColor` nor
//! CSS variables nor `<title>`, and these few plots need no more than lines, circles and words.

use std::fmt::{Display, Write};

/// Where a text is anchored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How wide every picture is: narrow enough for its words to be read on a telephone, where nothing is
/// pushed sideways.
pub(super) const WIDTH: f64 = 500.0;

/// A picture in the making. Lengths in user units, origin at the top left.
#[derive(Debug)]
pub(super) struct Figure {
    /// Where it begins: above 0 where the heading takes more than a line.
    top: f64,
    height: f64,
    body: String,
}

/// A length with at most two decimals. What is not a number is drawn at 0 rather than break the file.
pub(super) fn length(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    if rounded.is_finite() && rounded != 0.0 { rounded.to_string() } else { "0".to_owned() }
}

/// Text with the characters that mean something to XML written out, and what XML forbids left out.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// About how wide a text of size 14 is drawn.
pub(super) fn text_width(text: &str) -> f64 {
    text.chars().count() as f64 * 7.7
}

/// `text` cut to about `width`, with an ellipsis where something is missing.
pub(super) fn fitted(text: &str, width: f64) -> String {
    cut(text, (width / 7.7).max(2.0) as usize)
}

/// `text` of at most so many characters, with an ellipsis where something is missing.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['…']).collect()
}

/// `text` in lines of at most so many characters, broken at spaces; a longer word is cut.
fn lines(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = cut(word, most);
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Characters in a line of a heading.
const HEADING: usize = 53;

impl Figure {
    /// An empty picture with a heading, in two lines at most.
    pub fn new(height: f64, heading: &str) -> Figure {
        let mut lines = lines(heading, HEADING);
        if lines.len() > 2 {
            lines = vec![lines.remove(0), cut(&lines.join(" "), HEADING)];
        }
        let above = 20.0 * lines.len().saturating_sub(1) as f64;
        let mut figure = Figure { top: -above, height: height + above, body: String::new() };
        for (i, line) in lines.iter().enumerate() {
            let at = (WIDTH / 2.0, 22.0 - above + 20.0 * i as f64);
            figure.text(at, Anchor::Middle, "heading", line);
        }
        figure
    }

    /// Words at the foot, centred, in as many lines as they need; the first of them at `y`.
    pub fn foot(&mut self, y: f64, text: &str) {
        for (i, line) in lines(text, 68).iter().enumerate() {
            self.text((WIDTH / 2.0, y + 18.0 * i as f64), Anchor::Middle, "quiet", line);
        }
    }

    fn element(&mut self, text: impl Display) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.body, "{text}");
    }

    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        let [x1, y1, x2, y2] = [from.0, from.1, to.0, to.1].map(length);
        self.element(format_args!(
            "<line class=\"{class}\" x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\"/>"
        ));
    }

    /// A polyline, closed if `closed`.
    pub fn path(&mut self, points: &[(f64, f64)], closed: bool, class: &str) {
        let mut d = String::new();
        for (i, p) in points.iter().enumerate() {
            let _ = write!(d, "{}{} {}", if i == 0 { "M" } else { "L" }, length(p.0), length(p.1));
        }
        self.element(format_args!("<path class=\"{class}\" d=\"{d}{}\"/>", if closed { "Z" } else { "" }));
    }

    /// A rectangle between two corners, in any order.
    pub fn rect(&mut self, a: (f64, f64), b: (f64, f64), class: &str) {
        let [x, y] = [a.0.min(b.0), a.1.min(b.1)].map(length);
        let [w, h] = [(a.0 - b.0).abs(), (a.1 - b.1).abs()].map(length);
        self.element(format_args!(
            "<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/>"
        ));
    }

    pub fn circle(&mut self, at: (f64, f64), radius: f64, class: &str) {
        let [x, y, r] = [at.0, at.1, radius].map(length);
        self.element(format_args!("<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>"));
    }

    /// An ellipse whose first half axis is turned anti-clockwise by `turn` degrees.
    pub fn ellipse(&mut self, at: (f64, f64), half: (f64, f64), turn: f64, class: &str) {
        let [x, y, a, b, turn] = [at.0, at.1, half.0, half.1, -turn].map(length);
        self.element(format_args!(
            "<ellipse class=\"{class}\" cx=\"{x}\" cy=\"{y}\" rx=\"{a}\" ry=\"{b}\" \
             transform=\"rotate({turn} {x} {y})\"/>"
        ));
    }

    pub fn text(&mut self, at: (f64, f64), anchor: Anchor, class: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let ([x, y], text) = ([at.0, at.1].map(length), escape(text));
        self.element(format_args!(
            "<text class=\"{class}\" x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{text}</text>"
        ));
    }

    /// A text that reads upwards, centred at a point.
    pub fn upright(&mut self, at: (f64, f64), text: &str) {
        let ([x, y], text) = ([at.0, at.1].map(length), escape(text));
        self.element(format_args!(
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"middle\" transform=\"rotate(-90 {x} {y})\">{text}</text>"
        ));
    }

    /// The picture. Its look comes with [`super::LOOK`].
    pub fn finish(self, title: &str, description: &str) -> String {
        let [top, w, h] = [self.top, WIDTH, self.height].map(length);
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"plot\" role=\"img\" viewBox=\"0 {top} {w} {h}\">\n\
             <title>{}</title>\n<desc>{}</desc>\n{}</svg>\n",
            escape(title),
            escape(description),
            self.body
        )
    }
}
