//! Intraclass correlation: how much of the readings' variance is the lenses' own.
//!
//! Shrout PE, Fleiss JL. Psychol Bull 1979; 86: 420-428.

use super::Unfit;
use super::anova::Crossed;
use serde::Serialize;

/// The six coefficients, named as the paper names them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Icc {
    /// Lenses.
    pub lenses: usize,
    /// Persons or instruments.
    pub persons: usize,
    /// ICC(1,1): each lens read by other persons, one reading.
    pub one_1: f64,
    /// ICC(2,1): the persons stand for many, one reading (absolute agreement).
    pub two_1: f64,
    /// ICC(3,1): just these persons, one reading (consistency).
    pub three_1: f64,
    /// ICC(1,k): mean of k readings.
    pub one_k: f64,
    /// ICC(2,k): mean of k readings.
    pub two_k: f64,
    /// ICC(3,k): mean of k readings.
    pub three_k: f64,
}

/// Works out all six from readings (lens, person, value), one for each lens and person.
///
/// # Errors
/// Those of [`Crossed::new`]; more than one reading in a cell; lenses whose means are all the same.
pub fn icc<'a>(readings: impl IntoIterator<Item = (&'a str, &'a str, f64)>) -> Result<Icc, Unfit> {
    let table = Crossed::new(readings)?;
    if table.repeats != 1 {
        return Err(Unfit::UnequalRepeats {
            part: table.rows[0].clone(),
            person: table.columns[0].clone(),
            have: table.repeats,
            need: 1,
        });
    }
    let a = table.analyse();
    let (n, k) = (table.rows.len() as f64, table.columns.len() as f64);
    let (lens, person, rest) = (a.rows.ms(), a.columns.ms(), a.interaction.ms());
    let within = a.columns.pooled(&a.interaction).ms();
    if lens <= (64.0 * f64::EPSILON * table.scale()).powi(2) {
        return Err(Unfit::Constant { what: "the lenses' means" });
    }
    Ok(Icc {
        lenses: table.rows.len(),
        persons: table.columns.len(),
        one_1: (lens - within) / (lens + (k - 1.0) * within),
        two_1: (lens - rest) / (lens + (k - 1.0) * rest + k * (person - rest) / n),
        three_1: (lens - rest) / (lens + (k - 1.0) * rest),
        one_k: (lens - within) / lens,
        two_k: (lens - rest) / (lens + (person - rest) / n),
        three_k: (lens - rest) / lens,
    })
}
