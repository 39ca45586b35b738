//! A ticket as plain text.

use super::content::{CAUTION, Table, Ticket};
use crate::judge::words;
use crate::parsers::notation::shown;
use std::fmt::Write;
use textwrap::{Options, WordSplitter};

/// How many columns a ticket has where nothing is said.
pub const COLUMNS: usize = 32;
/// Fewer than this no table has room in.
pub const FEWEST: usize = 16;
/// How wide each column of numbers is at least.
const NUMBER: usize = 9;
/// How wide the names of quantities are.
const NAME: usize = 13;

impl Ticket {
    /// The ticket in lines of at most `columns` characters, 16 at the least. Words wrap; a number,
    /// and any other word, is never cut: one that is longer than a line stands out.
    pub fn text(&self, columns: usize) -> String {
        let columns = columns.max(FEWEST);
        let mut out = Writer { text: String::new(), columns };
        out.ends(&self.station, &self.judged);
        out.rule('=');
        out.wrapped(&format!("JOB {}", shown(self.job.as_str())), "");
        self.kind.iter().for_each(|kind| out.wrapped(kind, ""));
        out.line("");
        out.centred(self.word);
        out.line("");
        let said: Vec<&String> = self.overridden.iter().flatten().chain(&self.held).collect();
        said.iter().for_each(|said| out.wrapped(said, ""));
        if !said.is_empty() && !self.findings.is_empty() {
            out.line("");
        }
        for finding in &self.findings {
            out.wrapped(&format!("{}: {}", finding.what, finding.how), "  ");
            finding.by().iter().for_each(|by| out.indented(by));
        }
        self.tables.iter().for_each(|table| out.table(table));
        out.rule('-');
        for (name, value) in self.facts() {
            out.wrapped(&format!("{:<12}{value}", format!("{name}:")), "  ");
        }
        out.rule('-');
        out.wrapped(CAUTION, "");
        // What was only kept together to here.
        out.text.replace('\u{a0}', " ").replace('\u{2212}', "-")
    }
}

struct Writer {
    text: String,
    columns: usize,
}

impl Writer {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end_matches(' '));
        self.text.push('\n');
    }

    fn rule(&mut self, char: char) {
        self.line(&char.to_string().repeat(self.columns));
    }

    fn wrap(&mut self, text: &str, first: &str, rest: &str) {
        let options = Options::new(self.columns)
            .initial_indent(first)
            .subsequent_indent(rest)
            .break_words(false)
            .word_splitter(WordSplitter::NoHyphenation);
        for line in textwrap::wrap(text, options) {
            self.line(&line);
        }
    }

    fn wrapped(&mut self, text: &str, rest: &str) {
        self.wrap(text, "", rest);
    }

    fn indented(&mut self, text: &str) {
        self.wrap(text, "  ", "  ");
    }

    /// Two texts at the ends of a line, or below each other.
    fn ends(&mut self, left: &str, right: &str) {
        let room = self.columns.checked_sub(left.chars().count() + 1);
        match room.filter(|room| *room >= right.chars().count()) {
            Some(room) => self.line(&format!("{left} {right:>room$}")),
            None => {
                self.wrapped(left, "");
                self.wrapped(right, "");
            }
        }
    }

    fn centred(&mut self, text: &str) {
        let columns = self.columns;
        for line in textwrap::wrap(text, columns) {
            self.line(&format!("{line:^columns$}"));
        }
    }

    fn table(&mut self, table: &Table) {
        self.rule('-');
        let side = words::side(table.side).to_uppercase();
        let widest = |of: fn(&super::content::Row) -> &String| {
            table.rows.iter().map(|row| of(row).chars().count()).max().unwrap_or(0).max(NUMBER)
        };
        let (ordered, measured) = (widest(|row| &row.ordered), widest(|row| &row.measured));
        let fits = NAME + ordered + measured < self.columns;
        if fits {
            let name = self.columns - ordered - measured - 1;
            self.line(&format!("{side:<name$}{:>ordered$} {:>measured$}", "ordered", "measured"));
            for row in &table.rows {
                let mark = if row.is_out { "*" } else { "" };
                let label = format!("{}{mark}", row.name);
                let (was, is) = (dash(&row.ordered), dash(&row.measured));
                self.line(&format!("{label:<name$}{was:>ordered$} {is:>measured$}"));
            }
        } else {
            self.line(&side);
            for row in &table.rows {
                let mark = if row.is_out { "*" } else { "" };
                self.line(&format!("{}{mark}", row.name));
                self.indented(&format!("ordered\u{a0}{}", dash(&row.ordered)));
                self.indented(&format!("measured\u{a0}{}", dash(&row.measured)));
            }
        }
        if let Some(written) = &table.written {
            let mut line = String::new();
            let _ = write!(line, "as\u{a0}written: {written}");
            self.wrapped(&line, "  ");
        }
    }
}

fn dash(text: &str) -> &str {
    if text.is_empty() { "-" } else { text }
}
