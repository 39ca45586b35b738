//! Orders from files: text in, orders out.
//!
//! What is not about the lenses is dropped by name and said so: nothing about a person is
//! taken in.

use super::{Order, read_csv, read_json};
use std::fmt;

/// What came out of one text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Intake {
    /// The good orders, each with the line on which it begins.
    pub orders: Vec<(usize, Order)>,
    /// What was refused.
    pub refused: Vec<Refusal>,
    /// The names of keys or columns that were dropped; never their values.
    pub dropped: Vec<String>,
}

/// Why an order was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The line on which the order begins, counted from 1.
    pub line: usize,
    /// The column or key; empty where the whole record is meant.
    pub field: String,
    /// What is wrong and what was expected.
    pub message: String,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if !self.field.is_empty() {
            write!(f, ", {}", self.field)?;
        }
        write!(f, ": {}", self.message)
    }
}

impl Intake {
    /// Takes the order in, or refuses it with everything that is wrong with it.
    pub(super) fn accept(&mut self, line: usize, order: Order, name_of: impl Fn(&str) -> String) {
        let found = order.validate();
        if found.is_empty() {
            self.orders.push((line, order));
        }
        for invalid in found {
            self.refuse(line, &name_of(&invalid.field), invalid.message);
        }
    }

    pub(super) fn refuse(&mut self, line: usize, field: &str, message: impl Into<String>) {
        self.refused.push(Refusal { line, field: field.to_owned(), message: message.into() });
    }

    pub(super) fn drop_name(&mut self, name: &str) {
        if !self.dropped.iter().any(|known| known == name) {
            self.dropped.push(name.to_owned());
        }
    }
}

/// Reads orders by the file's extension: `.json` and `.jsonl` are JSON, `.csv` is CSV.
pub fn read(name: &str, text: &str) -> Intake {
    let extension = name.rsplit_once('.').map(|(_, extension)| extension.to_ascii_lowercase());
    match extension.as_deref() {
        Some("json" | "jsonl") => read_json(text),
        Some("csv") => read_csv(text),
        _ => {
            let mut intake = Intake::default();
            intake.refuse(1, "", format!("{name} is no order file; .json, .jsonl or .csv is expected"));
            intake
        }
    }
}
