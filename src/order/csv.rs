//! Orders as CSV: a header line, then one order a line.
//!
//! Columns, in any order: `job`, `lens`, `mounted`, and for each eye `right_` and `left_`
//! before `sphere`, `cylinder`, `axis`, `addition`, `second_addition`, `prism`, `pd`,
//! `near_pd`, `segment_height`, `reference_height`. The first three are needed; a blank cell
//! is not ordered. The delimiter is a comma or a semicolon, whichever the header uses.
//!
//! - numbers: `-1.25`, `+1.25`, `-1,25` (in quotes, or between semicolons), with or without
//!   their unit (`-1.25 D`, `90 deg`, `31.5 mm`); a sphere may be `plano`
//! - lens: `single-vision`, `multifocal`, `progressive`
//! - mounted: `yes` or `no`, `true` or `false`, `mounted` or `uncut`
//! - prism: parts joined by `+`, each an amount and a base: `0.50 in + 0.25 up`, `2.5 at 35`
//!   for degrees; `none` for none
//!
//! Any other column is dropped and named. A line with more or fewer cells than the header is
//! refused: a decimal comma without quotes would move values into other columns.

use super::typed::{number, prism};
use super::{Intake, LensKind, Order, OrderedLens};
use crate::parsers::reading::{Eye, JobNumber};
use ::csv::{ReaderBuilder, StringRecord};
use std::str::FromStr;

const NEEDED: [&str; 3] = ["job", "lens", "mounted"];
/// The columns of one eye.
pub const OF_AN_EYE: [&str; 10] = [
    "sphere",
    "cylinder",
    "axis",
    "addition",
    "second_addition",
    "prism",
    "pd",
    "near_pd",
    "segment_height",
    "reference_height",
];

/// Reads orders from CSV; see this module for the columns. A bad line is refused with the
/// names of its bad columns, and the good lines are kept.
pub fn read_csv(text: &str) -> Intake {
    let text = text.trim_start_matches('\u{feff}');
    let mut intake = Intake::default();
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let delimiter = if header.matches(';').count() > header.matches(',').count() { b';' } else { b',' };
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .trim(::csv::Trim::All)
        .from_reader(text.as_bytes());
    let columns: Vec<String> = match reader.headers() {
        Ok(names) => names.iter().map(column_name).collect(),
        Err(error) => {
            intake.refuse(1, "", format!("the header cannot be read: {error}"));
            return intake;
        }
    };
    if !is_header_good(&mut intake, &columns) {
        return intake;
    }
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(0, |position| position.line() as usize);
                if record.iter().all(str::is_empty) {
                    continue;
                }
                if record.len() != columns.len() {
                    let message = format!(
                        "{} cells under {} column names; put a cell that holds the delimiter in quotes",
                        record.len(),
                        columns.len()
                    );
                    intake.refuse(line, "", message);
                    continue;
                }
                let mut row =
                    Row { intake: &mut intake, line, columns: &columns, record: &record, good: true };
                if let Some(order) = row.order() {
                    intake.accept(line, order, |field| field.replace('.', "_"));
                }
            }
            Err(error) => {
                let line = error.position().map_or(0, |position| position.line() as usize);
                intake.refuse(line, "", format!("the line cannot be read: {error}"));
            }
        }
    }
    intake
}

/// A column's name as it is compared: small letters, blanks and hyphens as underscores.
fn column_name(written: &str) -> String {
    written.trim().to_lowercase().replace([' ', '-'], "_")
}

fn is_known(column: &str) -> bool {
    NEEDED.contains(&column)
        || ["right_", "left_"]
            .iter()
            .any(|eye| column.strip_prefix(eye).is_some_and(|rest| OF_AN_EYE.contains(&rest)))
}

fn is_header_good(intake: &mut Intake, columns: &[String]) -> bool {
    for (index, column) in columns.iter().enumerate() {
        if !is_known(column) {
            intake.drop_name(column);
        } else if columns[..index].contains(column) {
            intake.refuse(1, column, "the header has this column twice");
        }
    }
    for needed in NEEDED {
        if !columns.iter().any(|column| column == needed) {
            intake.refuse(1, needed, "the header lacks this column; job, lens and mounted are needed");
        }
    }
    intake.refused.is_empty()
}

/// One line being read; what is wrong with it is collected, not only the first thing.
struct Row<'a> {
    intake: &'a mut Intake,
    line: usize,
    columns: &'a [String],
    record: &'a StringRecord,
    good: bool,
}

impl Row<'_> {
    fn order(&mut self) -> Option<Order> {
        let job =
            self.cell("job", "a job number of 1 to 64 characters", |text| JobNumber::from_str(text).ok());
        let lens = self.cell("lens", "single-vision, multifocal or progressive", lens_kind);
        let mounted = self.cell("mounted", "yes or no", is_mounted);
        for (column, missing) in
            [("job", job.is_none()), ("lens", lens.is_none()), ("mounted", mounted.is_none())]
        {
            if missing && self.text(column).is_none() {
                self.wrong(column, "missing; it is needed in every line");
            }
        }
        let right = self.lens(Eye::Right);
        let left = self.lens(Eye::Left);
        if !self.good {
            return None;
        }
        Some(Order { job: job?, lens: lens?, mounted: mounted?, right, left })
    }

    fn lens(&mut self, eye: Eye) -> Option<OrderedLens> {
        let lens = OrderedLens {
            sphere: self.number(eye, "sphere", &["D", "dpt"]),
            cylinder: self.number(eye, "cylinder", &["D", "dpt"]),
            axis: self.number(eye, "axis", &["degrees", "deg", "\u{b0}"]),
            addition: self.number(eye, "addition", &["D", "dpt"]),
            second_addition: self.number(eye, "second_addition", &["D", "dpt"]),
            prism: self.cell(&format!("{eye}_prism"), "parts such as 0.50 in + 0.25 up", prism),
            pd: self.number(eye, "pd", &["mm"]),
            near_pd: self.number(eye, "near_pd", &["mm"]),
            segment_height: self.number(eye, "segment_height", &["mm"]),
            reference_height: self.number(eye, "reference_height", &["mm"]),
        };
        (lens != OrderedLens::default()).then_some(lens)
    }

    fn number<T: FromStr>(&mut self, eye: Eye, name: &str, units: &[&str]) -> Option<T> {
        let expected = format!("a number in {}", units[0]);
        self.cell(&format!("{eye}_{name}"), &expected, |text| {
            if name == "sphere" && text.eq_ignore_ascii_case("plano") {
                return "0.00".parse().ok();
            }
            number(text, units)
        })
    }

    fn cell<T>(&mut self, column: &str, expected: &str, read: impl Fn(&str) -> Option<T>) -> Option<T> {
        let text = self.text(column)?;
        let value = read(text);
        if value.is_none() {
            let message = format!("{text:?} does not fit; {expected} is expected");
            self.wrong(column, &message);
        }
        value
    }

    fn text(&self, column: &str) -> Option<&str> {
        let index = self.columns.iter().position(|known| known == column)?;
        self.record.get(index).filter(|text| !text.is_empty())
    }

    fn wrong(&mut self, column: &str, message: &str) {
        self.good = false;
        self.intake.refuse(self.line, column, message);
    }
}

fn lens_kind(text: &str) -> Option<LensKind> {
    let name = text.to_lowercase().replace([' ', '_'], "-");
    LensKind::ALL.into_iter().find(|kind| kind.to_string() == name)
}

fn is_mounted(text: &str) -> Option<bool> {
    match text.to_lowercase().as_str() {
        "yes" | "true" | "mounted" => Some(true),
        "no" | "false" | "uncut" => Some(false),
        _ => None,
    }
}
