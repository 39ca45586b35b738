//! How a ticket is laid out: a slip as long as it needs to be, and a label of a fixed size.

use super::barcode::{self, QUIET};
use super::content::{CAUTION, Finding, Row, Table, Ticket};
use super::font::{Font, code};
use super::page::{BLACK, CAPS, MM, Mark, Page, Style};
use super::pdf;
use super::{Size, TicketError};
use crate::judge::verdict::{Quantity, Side};
use crate::judge::words;

/// The narrowest bar that ordinary barcode readers tell apart, and the widest that looks well:
/// 0.19 mm is 7.5 mil, and 0.38 mm is two of it. Common practice, no source.
const NARROWEST_BAR: f32 = 0.19 * MM;
const WIDEST_BAR: f32 = 0.38 * MM;

/// What is said where a job number has no barcode.
const NO_BARCODE: &str = "no barcode: Code 128 has not all of its characters";
const TOO_LONG: &str = "no barcode: the number is too long for this width";
/// What is said of characters that the fonts have not.
const UNKNOWN: &str = "? stands for a character that this font has not; the ledger has it.";

/// The caution where there is one line for it.
const SHORT_CAUTION: &str = "Supports inspection and does not replace it.";

/// The size of figures in a table.
const ROW: f32 = 9.0;
const HEAVY: f32 = 0.9;
const HAIRLINE: f32 = 0.35;

/// Sizes of a label's text that are tried, the largest first.
const LABEL_SIZES: [f32; 11] = [7.5, 7.25, 7.0, 6.75, 6.5, 6.25, 6.0, 5.75, 5.5, 5.25, 5.0];

impl Ticket {
    /// The ticket as a PDF file of one page. A size with a height is that of a label: the page has
    /// exactly this size. Without one the page is as high as the ticket needs.
    ///
    /// # Errors
    /// [`TicketError::TooSmall`], where it does not fit on the label in letters that can be read.
    pub fn pdf(&self, size: Size) -> Result<Vec<u8>, TicketError> {
        let width = size.width_mm as f32 * MM;
        let slip = self.slip(width);
        let Some(height_mm) = size.height_mm else {
            // Whole millimetres, so that a size of paper can be named.
            let height = (slip.height() / MM).ceil() * MM;
            return Ok(pdf::file(self, &slip, height));
        };
        let height = height_mm as f32 * MM;
        let labels = LABEL_SIZES.into_iter().map(|size| self.label(width, size));
        let mut pages = std::iter::once(slip).chain(labels);
        let mut needs = f32::INFINITY;
        match pages.find(|page| {
            needs = needs.min(page.height());
            page.height() <= height
        }) {
            Some(page) => Ok(pdf::file(self, &page, height)),
            None => {
                let needs = (needs / MM).ceil() as u32;
                Err(TicketError::TooSmall { job: self.job.clone(), size, needs })
            }
        }
    }

    fn slip(&self, width: f32) -> Page {
        let regular = |size| Style::new(Font::Regular, size);
        let bold = |size| Style::new(Font::Bold, size);
        let mut page = Page::new(width, 4.0 * MM, 4.0 * MM);
        let station = bold(9.0);
        let judged = regular(8.0).faint().fitted(&self.judged, page.room(), 8.0, 5.0);
        page.put_right(page.right(), page.y, judged, &self.judged);
        if station.width(&self.station) + judged.width(&self.judged) + 8.0 > page.room() {
            page.next(station);
        }
        page.paragraph(station, 0.0, &self.station);
        page.space(2.0);
        page.rule(HEAVY, 7.0);

        page.put(page.margin, page.y, regular(7.0).faint(), "JOB");
        if let Some(kind) = &self.kind {
            page.put_right(page.right(), page.y, regular(7.0).faint(), kind);
        }
        page.next(regular(9.0));
        let job = bold(0.0).fitted(self.job.as_str(), page.room(), 24.0, 9.0);
        page.paragraph(job, 0.0, self.job.as_str());
        page.space(1.0);
        self.barcode(&mut page, 11.0 * MM, regular(7.0).faint());
        page.space(8.0);

        let word = bold(0.0).fitted(self.word, page.room() - 16.0, 24.0, 8.0);
        page.banner(page.margin, page.y, (page.room(), 34.0), word, self.word, !self.is_pass);
        page.space(34.0 + 7.0);
        if let Some([who, why]) = &self.overridden {
            page.paragraph(bold(9.0), 0.0, who);
            page.paragraph(regular(8.5), 0.0, why);
            page.space(4.0);
        }
        if let Some(why) = &self.held {
            page.paragraph(regular(8.5), 0.0, why);
            page.space(4.0);
        }
        for finding in &self.findings {
            page.paragraph(bold(8.5), 0.0, &headline(finding));
            if let Some(by) = finding.by() {
                page.paragraph(regular(7.5).faint(), 0.0, &by);
            }
            page.space(3.0);
        }
        page.space(3.0);
        self.tables.iter().for_each(|table| slip_table(&mut page, table));

        page.rule(HAIRLINE, 5.0);
        let column = regular(7.5).width("Instrument") + 9.0;
        for (name, value) in self.facts() {
            page.put(page.margin, page.y, regular(7.5).faint(), name);
            page.paragraph(regular(7.5), column, &value);
        }
        page.space(2.0);
        page.rule(HAIRLINE, 4.0);
        page.paragraph(regular(6.5).faint(), 0.0, CAUTION);
        self.say_unknown(&mut page, regular(6.5).faint());
        page
    }

    fn label(&self, width: f32, size: f32) -> Page {
        let (regular, bold) = (Style::new(Font::Regular, size), Style::new(Font::Bold, size));
        let small = regular.sized(size.min(5.5)).faint();
        let mut page = Page::new(width, 2.5 * MM, 2.0 * MM);
        // The word and the number share the first row where there is room for both.
        let height = size * 1.9;
        let word = bold.fitted(self.word, page.room() * 0.55, size * 1.6, size * 0.8);
        let box_width = word.width(self.word) + size * 1.4;
        let room = page.room() - box_width - size;
        let job = bold.fitted(self.job.as_str(), room, size * 1.9, size);
        page.banner(page.right() - box_width, page.y, (box_width, height), word, self.word, !self.is_pass);
        if job.width(self.job.as_str()) <= room {
            page.put(page.margin, page.y + (height - job.size * CAPS) / 2.0, job, self.job.as_str());
            page.space(height + size * 0.5);
        } else {
            page.space(height + size * 0.5);
            page.paragraph(job, 0.0, self.job.as_str());
        }
        let (top, used) = (page.y, self.barcode(&mut page, (size * 2.2).max(5.0 * MM), small));
        let facts = self.short_facts();
        let beside =
            page.room() - used - size >= facts.iter().fold(0.0, |wide, line| small.width(line).max(wide));
        if beside {
            let below = std::mem::replace(&mut page.y, top);
            for line in &facts {
                page.put_right(page.right(), page.y, small, line);
                page.next(small);
            }
            page.y = page.y.max(below);
        }
        page.space(size * 0.6);
        if let Some([who, why]) = &self.overridden {
            page.paragraph(bold, 0.0, who);
            page.paragraph(regular, 0.0, why);
        }
        self.held.iter().for_each(|why| page.paragraph(regular, 0.0, why));
        self.findings.iter().for_each(|finding| label_finding(&mut page, finding, bold, small));
        if self.overridden.is_some() || self.held.is_some() || !self.findings.is_empty() {
            page.space(size * 0.4);
        }
        self.label_lenses(&mut page, regular, bold);
        page.space(size * 0.15);
        page.rule(HAIRLINE, size * 0.35);
        if !beside {
            page.paragraph(small, 0.0, &facts.join(", "));
        }
        page.paragraph(small, 0.0, SHORT_CAUTION);
        self.say_unknown(&mut page, small);
        page
    }

    /// Each lens as the trade writes it: ordered and measured beside each other where there is room,
    /// else below each other.
    fn label_lenses(&self, page: &mut Page, regular: Style, bold: Style) {
        let lens = |table: &Table, of: fn(&Row) -> &String| {
            let rows = table.rows.iter().filter(|row| !of(row).is_empty());
            let values: Vec<String> = rows.map(|row| short(row, of(row))).collect();
            if values.is_empty() { "\u{2013}".to_owned() } else { values.join("  ") }
        };
        let lenses: Vec<(&str, [String; 2])> = self
            .tables
            .iter()
            .map(|table| {
                (letter(table.side), [lens(table, |row| &row.ordered), lens(table, |row| &row.measured)])
            })
            .collect();
        let heads = ["ordered", "measured"];
        let names = regular.size * 2.2;
        let column = (page.room() - names) / 2.0;
        let fits = |line: &String| regular.width(line) + regular.size <= column;
        if lenses.iter().all(|(_, lines)| lines.iter().all(fits)) {
            let places = [page.margin + names, page.margin + names + column];
            for (x, head) in places.into_iter().zip(heads) {
                page.put(x, page.y, regular.faint(), head);
            }
            page.next(regular);
            for (side, lines) in &lenses {
                page.put(page.margin, page.y, bold, side);
                for (x, line) in places.into_iter().zip(lines) {
                    page.put(x, page.y, regular, line);
                }
                page.next(regular);
            }
        } else {
            for (side, lines) in &lenses {
                page.put(page.margin, page.y, bold, side);
                for (head, line) in heads.into_iter().zip(lines) {
                    page.put(page.margin + names, page.y, regular.faint(), head);
                    page.paragraph(regular, names + regular.size * 5.2, line);
                }
            }
        }
    }

    fn short_facts(&self) -> Vec<String> {
        let by = [&self.instruments, &self.rules].into_iter().filter(|part| !part.is_empty());
        let by: Vec<&str> = by.map(String::as_str).collect();
        vec![format!("{}, entry {}", self.station, self.entry), by.join(", "), self.judged.clone()]
    }

    /// Draws the barcode at the left margin, and gives its width with the quiet zone on its right.
    fn barcode(&self, page: &mut Page, height: f32, style: Style) -> f32 {
        let Some(modules) = barcode::modules(self.job.as_str()) else {
            page.paragraph(style, 0.0, NO_BARCODE);
            return page.room();
        };
        // The margins are the quiet zones.
        let widest = (page.margin / QUIET as f32).min(WIDEST_BAR);
        let module = (page.room() / modules.len() as f32).min(widest);
        if module < NARROWEST_BAR {
            page.paragraph(style, 0.0, TOO_LONG);
            return page.room();
        }
        page.bars(page.margin, page.y, module, height, &modules);
        page.space(height);
        (modules.len() + QUIET) as f32 * module
    }

    fn say_unknown(&self, page: &mut Page, style: Style) {
        let unknown = |mark: &Mark| match mark {
            Mark::Text { text, .. } => text.chars().any(|char| code(char).is_none()),
            Mark::Fill { .. } => false,
        };
        if page.marks.iter().any(unknown) {
            page.paragraph(style, 0.0, UNKNOWN);
        }
    }
}

fn slip_table(page: &mut Page, table: &Table) {
    // Three columns, in smaller figures where they would touch each other.
    let widest = |of: fn(&Row) -> &str| {
        let widths = table.rows.iter().map(|row| Style::new(Font::Bold, ROW).width(of(row)));
        widths.fold(Style::new(Font::Regular, 7.0).width("measured"), f32::max)
    };
    let columns = [widest(|row| row.name), widest(|row| &row.ordered), widest(|row| &row.measured)];
    let gap = 6.0;
    let scale = ((page.room() - 2.0 * gap) / columns.iter().sum::<f32>()).min(1.0);
    let head = Style::new(Font::Bold, 8.5 * scale);
    let faint = Style::new(Font::Regular, 7.0 * scale).faint();
    let measured = page.right();
    let ordered = measured - (columns[2] * scale + gap).max(page.room() * 0.31);
    page.put(page.margin, page.y, head, &capital(words::side(table.side)));
    page.put_right(ordered, page.y + 1.0, faint, "ordered");
    page.put_right(measured, page.y + 1.0, faint, "measured");
    page.next(head);
    page.rule(HAIRLINE, 3.5);
    for row in &table.rows {
        let style = Style::new(if row.is_out { Font::Bold } else { Font::Regular }, ROW * scale);
        if row.is_out {
            // In the margin, so that the names stand under each other.
            let above = (ROW * scale * CAPS - 3.6) / 2.0;
            page.fill(page.margin - 6.0, page.y + above, 3.6, 3.6, BLACK);
        }
        page.put(page.margin, page.y, style, row.name);
        page.put_right(ordered, page.y, style, dash(&row.ordered));
        page.put_right(measured, page.y, style, dash(&row.measured));
        page.space(11.5 * scale);
    }
    if let Some(written) = &table.written {
        page.line(faint, &format!("as written: {written}"));
    }
    page.space(5.0);
}

/// What is wrong, and the clause behind it where there is room, else below it.
fn label_finding(page: &mut Page, finding: &Finding, bold: Style, small: Style) {
    let headline = headline(finding);
    let Some(clause) = &finding.clause else { return page.paragraph(bold, 0.0, &headline) };
    let used = bold.width(&headline) + bold.size * 0.6;
    if used + small.width(clause) <= page.room() {
        // On one base line.
        page.put(page.margin + used, page.y + (bold.size - small.size) * CAPS, small, clause);
        page.line(bold, &headline);
    } else {
        page.paragraph(bold, 0.0, &headline);
        page.paragraph(small, 0.0, clause);
    }
}

fn headline(finding: &Finding) -> String {
    format!("{}: {}", capital(&finding.what), finding.how)
}

fn letter(side: Side) -> &'static str {
    match side {
        Side::Right => "R",
        Side::Left => "L",
        Side::Pair => "R+L",
    }
}

/// A value with as much of a name as the trade gives it.
fn short(row: &Row, value: &str) -> String {
    match row.quantity {
        Quantity::SphereMeridian
        | Quantity::Cylinder
        | Quantity::PrismHorizontal
        | Quantity::PrismVertical => value.to_owned(),
        Quantity::Axis => format!("\u{d7}\u{a0}{value}"),
        Quantity::Addition => format!("Add\u{a0}{value}"),
        Quantity::SecondAddition => format!("2nd\u{a0}add\u{a0}{value}"),
        Quantity::Prism => format!("\u{394}\u{a0}{value}"),
        _ => format!("{}\u{a0}{value}", row.name.replace(' ', "\u{a0}")),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn dash(text: &str) -> &str {
    if text.is_empty() { "\u{2013}" } else { text }
}
