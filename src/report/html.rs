//! A report as HTML: by itself in one file, or within a page; for a screen of any width, light or
//! dark, and for paper.

use super::document::{Figure, Report, Section, entry_ranges};
use crate::bench::entry::Seq;
use crate::evidence::plot::{self, escape};
use std::fmt::Write;

/// The look of a report. Its plots have theirs: [`plot::LOOK`].
pub const LOOK: &str = include_str!("look.css");

/// What everyone has to know who reads a report.
const CAUTIONS: [&str; 4] = [
    "Measurements support inspection and do not replace it; the responsible licensed person decides.",
    "Local codes and the current edition of the standard prevail over the tables in this program.",
    "Tables were entered from published summaries: check them against your own copy before use.",
    "Safety eyewear has other standards (impact, marking) that this does not judge.",
];

/// Entry numbers up to this many stand open in the file; more are folded away.
const SHOWN: usize = 1000;

/// What a file of its own looks like around the report.
const FILE_LOOK: &str = include_str!("file.css");

pub(super) fn document(report: &Report) -> String {
    let (title, body) = (escape(&report.title), body(report, None));
    let cautions: String = CAUTIONS.iter().map(|caution| format!("<p>{caution}</p>")).collect();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/>\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\
         <title>{title}</title><style>{FILE_LOOK}{LOOK}{}</style></head>\n<body><main><h1>{title}</h1>\n{body}\
         <footer>{cautions}</footer></main></body></html>\n",
        plot::LOOK
    )
}

/// Everything but title and cautions. With `place`, each entry is a link to its number behind it.
pub(super) fn body(report: &Report, place: Option<&'static str>) -> String {
    let mut out = String::new();
    Writer { out: &mut out, place }.report(report).expect("writing into a String cannot fail");
    out
}

struct Writer<'o> {
    out: &'o mut String,
    /// Where entries are, where they are links.
    place: Option<&'static str>,
}

impl Writer<'_> {
    fn report(&mut self, report: &Report) -> std::fmt::Result {
        self.out.push_str("<div class=\"report\">\n<dl>");
        for (name, value) in &report.about {
            write!(self.out, "<dt>{}</dt><dd>{}</dd>", escape(name), escape(value))?;
        }
        self.out.push_str("</dl>\n");
        if !report.warnings.is_empty() {
            self.out.push_str("<div class=\"warnings\" role=\"note\">");
            for warning in &report.warnings {
                write!(self.out, "<p>{}</p>", self.words(warning))?;
            }
            self.out.push_str("</div>\n");
        }
        for part in &report.sections {
            self.section(part)?;
        }
        self.entries(&report.entries)?;
        self.out.push_str("</div>\n");
        Ok(())
    }

    fn entries(&mut self, entries: &[Seq]) -> std::fmt::Result {
        let numbers = self.linked(&entry_ranges(entries), |text, at| {
            text.as_bytes()[at].is_ascii_digit() && (at == 0 || !text.as_bytes()[at - 1].is_ascii_digit())
        });
        let out = &mut *self.out;
        out.push_str("<section><h2>Entries</h2>");
        match entries.len() {
            0 => out.push_str("<p>No entry of the ledger lies in this range.</p>"),
            n if n <= SHOWN => write!(
                out,
                "<p>This report rests on {n} entries of the ledger:</p><p class=\"entries\">{numbers}</p>"
            )?,
            n => write!(
                out,
                "<p>This report rests on {n} entries of the ledger; the CSV file names them too.</p>\
                 <details><summary>All {n}</summary><p class=\"entries\">{numbers}</p></details>"
            )?,
        }
        out.push_str("</section>\n");
        Ok(())
    }

    /// Text in which an entry that is named is a link.
    fn words(&self, text: &str) -> String {
        let is_entry =
            |text: &str, at: usize| ["entry ", "reading "].iter().any(|word| text[..at].ends_with(word));
        self.linked(&escape(text), is_entry)
    }

    /// `text`, which is written out already, with the numbers that `is_entry` finds as links.
    fn linked(&self, text: &str, is_entry: impl Fn(&str, usize) -> bool) -> String {
        let Some(place) = self.place else { return text.to_owned() };
        let (mut out, mut done) = (String::with_capacity(text.len()), 0);
        for (at, c) in text.char_indices() {
            if at < done || !c.is_ascii_digit() || !is_entry(text, at) {
                continue;
            }
            let digits = text[at..].find(|c: char| !c.is_ascii_digit()).map_or(text.len(), |end| at + end);
            let number = &text[at..digits];
            let _ = write!(out, "{}<a href=\"{place}{number}\">{number}</a>", &text[done..at]);
            done = digits;
        }
        out.push_str(&text[done..]);
        out
    }

    fn section(&mut self, section: &Section) -> std::fmt::Result {
        write!(self.out, "<section><h2>{}</h2>", escape(&section.heading))?;
        for words in &section.says {
            write!(self.out, "<p>{}</p>", self.words(words))?;
        }
        self.grid(section)?;
        self.list(section)?;
        for plot in &section.plots {
            write!(self.out, "<figure>{plot}</figure>")?;
        }
        self.out.push_str("</section>\n");
        Ok(())
    }

    fn open_table(&mut self, section: &Section) -> std::fmt::Result {
        let label = escape(&section.heading);
        write!(
            self.out,
            "<div class=\"scroll\" role=\"group\" tabindex=\"0\" aria-label=\"{label}\"><table><thead><tr><td></td>"
        )
    }

    /// Figures that stand in columns: a row for each thing. What a cell lacks is said at the row's end.
    fn grid(&mut self, section: &Section) -> std::fmt::Result {
        let mut columns: Vec<&str> = Vec::new();
        let mut rows: Vec<(&str, Vec<&Figure>)> = Vec::new();
        for figure in &section.figures {
            let Some(column) = figure.column else { continue };
            if !columns.contains(&column) {
                columns.push(column);
            }
            match rows.iter_mut().find(|(name, _)| *name == figure.name) {
                Some((_, cells)) => cells.push(figure),
                None => rows.push((&figure.name, vec![figure])),
            }
        }
        if rows.is_empty() {
            return Ok(());
        }
        self.open_table(section)?;
        for column in &columns {
            write!(self.out, "<th scope=\"col\">{}</th>", escape(column))?;
        }
        let has_note = rows.iter().flat_map(|(_, cells)| cells).any(|figure| !figure.note.is_empty());
        let note_head = if has_note { "<td class=\"note\"></td>" } else { "" };
        write!(self.out, "<th scope=\"col\">n</th>{note_head}</tr></thead><tbody>")?;
        for (name, cells) in rows {
            write!(self.out, "<tr><th scope=\"row\">{}</th>", self.words(name))?;
            let mut notes: Vec<&str> = Vec::new();
            for column in &columns {
                let figure = cells.iter().find(|figure| figure.column == Some(column));
                cell(self.out, column, figure.copied())?;
                let note = figure.map(|figure| figure.note.as_str()).unwrap_or_default();
                if !note.is_empty() && !notes.contains(&note) {
                    notes.push(note);
                }
            }
            let n = cells.iter().find_map(|figure| figure.n).map(|n| n.to_string());
            labelled(self.out, "n", &n.unwrap_or_default())?;
            if has_note {
                write!(self.out, "<td class=\"note\">{}</td>", self.words(&notes.join("; ")))?;
            }
            self.out.push_str("</tr>");
        }
        self.out.push_str("</tbody></table></div>");
        Ok(())
    }

    /// Figures that stand by themselves, a row each.
    fn list(&mut self, section: &Section) -> std::fmt::Result {
        let figures = || section.figures.iter().filter(|figure| figure.column.is_none());
        if figures().next().is_none() {
            return Ok(());
        }
        let has_n = figures().any(|figure| figure.n.is_some());
        let has_interval = figures().any(|figure| figure.interval.is_some());
        let head = |shown: bool, words: &'static str| if shown { words } else { "" };
        self.open_table(section)?;
        write!(
            self.out,
            "<th scope=\"col\">value</th>{}{}<td class=\"note\"></td></tr></thead><tbody>",
            head(has_interval, "<th scope=\"col\">95 % interval</th>"),
            head(has_n, "<th scope=\"col\">n</th>")
        )?;
        for figure in figures() {
            self.row(figure, has_interval, has_n)?;
        }
        self.out.push_str("</tbody></table></div>");
        Ok(())
    }

    fn row(&mut self, figure: &Figure, has_interval: bool, has_n: bool) -> std::fmt::Result {
        write!(self.out, "<tr><th scope=\"row\">{}</th>", self.words(&figure.name))?;
        let note = self.words(&figure.note);
        let Some(value) = figure.value else {
            let columns = 2 + usize::from(has_interval) + usize::from(has_n);
            return write!(self.out, "<td class=\"none\" colspan=\"{columns}\">{note}</td></tr>");
        };
        write!(self.out, "<td>{} {}</td>", number(value, figure.unit), sign(figure.unit))?;
        if has_interval {
            labelled(self.out, "95 % interval", &interval(figure).unwrap_or_default())?;
        }
        if has_n {
            labelled(self.out, "n", &figure.n.map(|n| n.to_string()).unwrap_or_default())?;
        }
        write!(self.out, "<td class=\"note\">{note}</td></tr>")
    }
}

/// A cell that says its column's name where rows stand as blocks.
fn labelled(out: &mut String, column: &str, text: &str) -> std::fmt::Result {
    write!(out, "<td data-label=\"{column}\">{text}</td>")
}

fn cell(out: &mut String, column: &str, figure: Option<&Figure>) -> std::fmt::Result {
    let (column, Some(figure)) = (escape(column), figure) else { return out.write_str("<td></td>") };
    let Some(value) = figure.value else {
        return write!(out, "<td class=\"none right\" data-label=\"{column}\">none</td>");
    };
    write!(out, "<td data-label=\"{column}\">{} {}", number(value, figure.unit), sign(figure.unit))?;
    if let Some(words) = interval(figure) {
        write!(out, "<span class=\"within\">{words}</span>")?;
    }
    out.write_str("</td>")
}

fn interval(figure: &Figure) -> Option<String> {
    let within = figure.interval?;
    Some(format!("{} to {}", number(within.low, figure.unit), number(within.high, figure.unit)))
}

/// A unit as people write it.
fn sign(unit: &str) -> &str {
    match unit {
        "deg" => "°",
        "prism-D" => "Δ",
        other => other,
    }
}

/// A number with as many decimals as say something in its unit.
fn number(value: f64, unit: &str) -> String {
    let decimals = match unit {
        "deg" => 2,
        "%" => 1,
        "" if value.fract() == 0.0 => 0,
        "" => 3,
        _ => 4,
    };
    let text = format!("{value:.decimals$}");
    // A minus that is a minus, and none before nothing.
    let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if is_zero { text.trim_start_matches('-').to_owned() } else { text.replace('-', "\u{2212}") }
}
