//! A report before it is written: sections with their figures, plots and cautions, and the entries
//! that all of it rests on.

use super::html;
use super::records::{Filters, Records, in_words};
use crate::bench::entry::Seq;
use crate::evidence::{Interval, Unfit};

/// One number, or the reason why there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is, or the row that it stands in.
    pub name: String,
    /// The column that it stands in, where many things have the same few figures.
    pub column: Option<&'static str>,
    /// The number, in `unit`.
    pub value: Option<f64>,
    /// Its confidence interval.
    pub interval: Option<Interval>,
    /// How many readings, lenses or decisions it rests on.
    pub n: Option<usize>,
    /// Its unit; empty for a plain number.
    pub unit: &'static str,
    /// What a reader has to know; where there is no number, why.
    pub note: String,
}

impl Figure {
    /// A number.
    pub fn new(name: impl Into<String>, value: f64, unit: &'static str) -> Self {
        let (name, value) = (name.into(), Some(value));
        Self { name, column: None, value, interval: None, n: None, unit, note: String::new() }
    }

    /// Why there is no number.
    pub fn missing(name: impl Into<String>, why: &Unfit) -> Self {
        Self::told(name, why.to_string())
    }

    /// Words in the place of a number.
    pub fn told(name: impl Into<String>, note: impl Into<String>) -> Self {
        let (name, note) = (name.into(), note.into());
        Self { name, column: None, value: None, interval: None, n: None, unit: "", note }
    }

    /// In a column: the name is that of its row.
    pub fn column(mut self, column: &'static str) -> Self {
        self.column = Some(column);
        self
    }

    /// Row and column, or just the name.
    pub fn full_name(&self) -> String {
        match self.column {
            Some(column) => format!("{}: {column}", self.name),
            None => self.name.clone(),
        }
    }

    /// With its interval.
    pub fn within(mut self, interval: Interval) -> Self {
        self.interval = Some(interval);
        self
    }

    /// With the count that it rests on.
    pub fn of(mut self, n: usize) -> Self {
        self.n = Some(n);
        self
    }

    /// With something to know.
    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }
}

/// One part of a report.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Section {
    /// Its heading.
    pub heading: String,
    /// What is said of it, a paragraph each.
    pub says: Vec<String>,
    /// Its numbers.
    pub figures: Vec<Figure>,
    /// Its pictures, SVG.
    pub plots: Vec<String>,
}

impl Section {
    /// An empty section.
    pub fn new(heading: impl Into<String>) -> Self {
        Self { heading: heading.into(), ..Self::default() }
    }
}

/// A report.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Report {
    /// Its title.
    pub title: String,
    /// What it is about: station, ledger, time range, filters; name and value.
    pub about: Vec<(String, String)>,
    /// What was left out or looks wrong.
    pub warnings: Vec<String>,
    /// Its parts.
    pub sections: Vec<Section>,
    /// The entries that it rests on, ascending.
    pub entries: Vec<Seq>,
}

impl Report {
    /// A report without sections yet.
    pub fn new(title: &str, records: &Records, filters: &Filters) -> Self {
        let mut about = vec![
            ("station".to_owned(), records.station.clone().unwrap_or_else(|| "not on record".to_owned())),
            ("ledger".to_owned(), format!("{}, entries up to {}", records.ledger, records.head)),
            ("made".to_owned(), in_words(records.made)),
        ];
        let from = filters.from.or(records.begins).map_or("the beginning".to_owned(), in_words);
        about.push((
            "time".to_owned(),
            format!("{from} to {}", in_words(filters.until.unwrap_or(records.made))),
        ));
        let named = [("instrument", &filters.instrument), ("person", &filters.person)];
        about.extend(named.into_iter().filter_map(|(what, name)| Some((what.to_owned(), name.clone()?))));
        Self { title: title.to_owned(), about, ..Self::default() }
    }

    /// Adds entries that the report rests on.
    pub fn rests_on(&mut self, entries: impl IntoIterator<Item = Seq>) {
        self.entries.extend(entries);
        self.entries.sort_unstable();
        self.entries.dedup();
    }

    /// The report as one HTML file, with its plots and its look in it.
    pub fn html(&self) -> String {
        html::document(self)
    }

    /// The report without its title, for a page that brings its look: [`super::LOOK`] and that of
    /// plots. Entries are links to their number behind `place`.
    pub fn body(&self, place: &'static str) -> String {
        html::body(self, Some(place))
    }

    /// The numbers as CSV: section, figure, value, low, high, n, unit, note; the last row names the
    /// entries. Numbers are [`rounded`].
    pub fn csv(&self) -> String {
        let mut csv = csv::Writer::from_writer(Vec::new());
        let mut row =
            |cells: [&str; 8]| csv.write_record(cells).expect("a Vec takes every row of eight cells");
        row(["section", "figure", "value", "low", "high", "n", "unit", "note"]);
        let number = |value: Option<f64>| value.map(|value| rounded(value).to_string()).unwrap_or_default();
        for section in &self.sections {
            for figure in &section.figures {
                row([
                    &section.heading,
                    &figure.full_name(),
                    &number(figure.value),
                    &number(figure.interval.map(|interval| interval.low)),
                    &number(figure.interval.map(|interval| interval.high)),
                    &figure.n.map(|n| n.to_string()).unwrap_or_default(),
                    figure.unit,
                    &figure.note,
                ]);
            }
        }
        let count = self.entries.len().to_string();
        row(["", "entries", "", "", "", &count, "", &entry_ranges(&self.entries)]);
        let bytes = csv.into_inner().expect("a Vec is always flushed");
        String::from_utf8(bytes).expect("only text went in")
    }
}

/// Six significant digits: no measurement here says more. Whole numbers stay whole.
pub fn rounded(value: f64) -> f64 {
    let short = match value.fract() == 0.0 {
        true => value,
        false => format!("{value:.5e}").parse().unwrap_or(value),
    };
    // No negative zero.
    short + 0.0
}

/// Entry numbers in words: `12, 15-18`.
pub(super) fn entry_ranges(entries: &[Seq]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut rest = entries;
    while let Some(first) = rest.first() {
        let run = rest.iter().zip(first.0..).take_while(|(seq, expected)| seq.0 == *expected).count();
        match run {
            1 => parts.push(first.to_string()),
            2 => parts.push(format!("{first}, {}", first.0 + 1)),
            _ => parts.push(format!("{first}-{}", first.0 + run as u64 - 1)),
        }
        rest = &rest[run..];
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_digits_that_say_something() {
        let text = |value| rounded(value).to_string();
        assert_eq!(text(56.14970317502183), "56.1497");
        assert_eq!(text(-0.0000123456789), "-0.0000123457");
        assert_eq!(
            (text(12_345_678.0), text(-0.0), text(2.9999999)),
            ("12345678".into(), "0".into(), "3".into())
        );
    }

    #[test]
    fn entries_in_a_row_are_named_by_their_ends() {
        let of = |numbers: &[u64]| entry_ranges(&numbers.iter().copied().map(Seq).collect::<Vec<_>>());
        assert_eq!(of(&[]), "");
        assert_eq!(of(&[3]), "3");
        assert_eq!(of(&[3, 4, 6, 8, 9, 10, 12]), "3, 4, 6, 8-10, 12");
    }
}
