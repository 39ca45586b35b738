//! Judging from the JSON texts of an order and a reading.

use super::{RuleSet, judge, verdict::Verdict};
use crate::order::{self, Order};
use crate::parsers::reading::Reading;
use serde::de::DeserializeOwned;

/// Why two texts cannot be judged: one line that says what and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unusable {
    /// The order's text is not one usable order.
    #[error("order: {0}")]
    Order(String),
    /// The reading's text is not a reading.
    #[error("reading, line {line}, column {column}: {message}")]
    Reading {
        /// The line, counted from 1.
        line: usize,
        /// The column, counted from 1.
        column: usize,
        /// What is wrong and what was expected.
        message: String,
    },
    /// The two belong to different jobs.
    #[error("the reading is of job {reading}, the order of job {order}")]
    OtherJob {
        /// The order's job.
        order: String,
        /// The reading's job.
        reading: String,
    },
}

/// Judges the JSON text of a reading against the JSON text of one order.
///
/// # Errors
/// What is wrong with which text.
pub fn judge_texts(order: &str, reading: &str, rules: &RuleSet) -> Result<Verdict, Unusable> {
    let order = one_order(order)?;
    let reading = read_reading(reading)?;
    if let Some(job) = reading.job.as_ref().filter(|job| **job != order.job) {
        return Err(Unusable::OtherJob { order: order.job.to_string(), reading: job.to_string() });
    }
    Ok(judge(&order, &reading, rules))
}

fn one_order(text: &str) -> Result<Order, Unusable> {
    let intake = order::read_json(text);
    if let Some(refusal) = intake.refused.first() {
        return Err(Unusable::Order(refusal.to_string()));
    }
    match <[_; 1]>::try_from(intake.orders) {
        Ok([(_, order)]) => Ok(order),
        Err(orders) => Err(Unusable::Order(format!("{} orders in the text; one is expected", orders.len()))),
    }
}

/// Reads the JSON text of a reading. Unknown keys are errors: a misspelt key would be a value
/// that silently was not judged.
///
/// # Errors
/// The first thing that is wrong, with its line.
pub fn read_reading(text: &str) -> Result<Reading, Unusable> {
    from_json(text).map_err(|NotRead { line, column, message }| Unusable::Reading { line, column, message })
}

/// Why a JSON text is not what was expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {message}")]
pub struct NotRead {
    /// The line, counted from 1.
    pub line: usize,
    /// The column, counted from 1.
    pub column: usize,
    /// The field, what is wrong and what was expected.
    pub message: String,
}

/// What a JSON text says. Where it does not, the field is named, such as `right.sphere`.
///
/// # Errors
/// The first thing that is wrong, with its place.
pub fn from_json<T: DeserializeOwned>(text: &str) -> Result<T, NotRead> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let read = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let (path, error) = (error.path().to_string(), error.into_inner());
        // serde_json hands the digits of a number on under a name of its own.
        let path = path.split(".$serde_json").next().unwrap_or_default();
        let message = plain_message(&error);
        let names_a_field = error.is_data() && path != ".";
        let message = if names_a_field { format!("{path}: {message}") } else { message };
        NotRead { line: error.line(), column: error.column(), message }
    })?;
    let ended = |error: serde_json::Error| NotRead {
        line: error.line(),
        column: error.column(),
        message: plain_message(&error),
    };
    reader.end().map_err(ended)?;
    Ok(read)
}

/// The message without serde's own "at line ...".
fn plain_message(error: &serde_json::Error) -> String {
    let message = error.to_string();
    match message.rfind(" at line ") {
        Some(at) => message[..at].to_owned(),
        None => message,
    }
}
