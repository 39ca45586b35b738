//! What a check allows, as data: the errors of an instrument, drift charts, cross-checks.
//!
//! Every key is explained in `limits/iso-8598-1-2014.toml`.

use crate::optics::normal::REACH;
use rust_decimal::Decimal;
use serde::Deserialize;
use std::str::FromStr;
use toml::{Spanned, Value};

/// The limits where nothing names others.
pub const DEFAULT: &str = "iso-8598-1-2014";

const BUILT_IN: [(&str, &str); 1] = [(DEFAULT, include_str!("limits/iso-8598-1-2014.toml"))];

/// A limit that holds up to a magnitude, that magnitude included.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// The greatest magnitude.
    pub up_to: Decimal,
    /// The greatest error, in the same unit.
    pub limit: Decimal,
    /// Where the figure comes from.
    pub figures: String,
}

/// Thresholds of a cross-check, in the unit of what is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Threshold {
    /// Up to here two readings agree.
    pub agree: Decimal,
    /// Up to here they differ within tolerance.
    pub tolerance: Decimal,
}

/// How drift charts are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftTerms {
    /// How many checks of one lens make the baseline.
    pub baseline: usize,
    /// The instrument's step for powers, dioptres.
    pub power_step: f64,
    /// The instrument's step for the axis, degrees.
    pub axis_step: f64,
    /// The instrument's step for prism, prism dioptres.
    pub prism_step: f64,
    /// Weight of the newest check in the weighted average, 0 to 1.
    pub ewma_weight: f64,
    /// Sigmas of the average to its limits.
    pub ewma_sigmas: f64,
    /// Allowance of the cumulative sums, in sigmas.
    pub cusum_allowance: f64,
    /// Decision limit of the cumulative sums, in sigmas.
    pub cusum_decision: f64,
}

/// A set of limits, ready for use.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    text: String,
    name: String,
    title: String,
    source: String,
    power: Vec<Row>,
    prism: Vec<Row>,
    axis: Row,
    drift: DriftTerms,
    crosscheck_source: String,
    crosscheck_power: Vec<(Option<Decimal>, Threshold)>,
    crosscheck_addition: Threshold,
    crosscheck_prism: Threshold,
}

/// Why a text is not a set of limits.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{origin}:{line}: {message}")]
pub struct LimitsError {
    /// Where the text comes from.
    pub origin: String,
    /// The line, counted from 1.
    pub line: usize,
    /// What is wrong and what was expected.
    pub message: String,
}

impl Default for Limits {
    /// The limits where nothing names others.
    fn default() -> Self {
        Self::built_in(DEFAULT).expect("it is among the built-in ones")
    }
}

impl Limits {
    /// The names of the built-in limits.
    pub fn built_in_names() -> impl Iterator<Item = &'static str> {
        BUILT_IN.iter().map(|(name, _)| *name)
    }

    /// Built-in limits.
    pub fn built_in(name: &str) -> Option<Self> {
        let (name, text) = BUILT_IN.iter().find(|(known, _)| *known == name)?;
        Some(Self::from_toml(text, name).expect("built-in limits are read by a test"))
    }

    /// Reads limits; `origin` names the text in errors.
    ///
    /// # Errors
    /// The first thing that is wrong, with its line.
    pub fn from_toml(text: &str, origin: &str) -> Result<Self, LimitsError> {
        let source = Source { text, origin };
        let form: Form = toml::from_str(text)
            .map_err(|error| source.error(error.span().map_or(0, |span| span.start), error.message()))?;
        source.limits(form)
    }

    /// The whole text: [`Self::from_toml`] gives the same limits again.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The standard's or the lab's title.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Where the figures come from as a whole.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The limit for a vertex power of this magnitude, dioptres.
    pub fn power(&self, power: Decimal) -> Option<&Row> {
        self.power.iter().find(|row| power.abs() <= row.up_to)
    }

    /// The limit for a prism of this magnitude, prism dioptres.
    pub fn prism(&self, prism: Decimal) -> Option<&Row> {
        self.prism.iter().find(|row| prism.abs() <= row.up_to)
    }

    /// The limit for the cylinder axis, degrees.
    pub fn axis(&self) -> &Row {
        &self.axis
    }

    /// How drift charts are drawn.
    pub fn drift(&self) -> DriftTerms {
        self.drift
    }

    /// Where the thresholds of cross-checks come from.
    pub fn crosscheck_source(&self) -> &str {
        &self.crosscheck_source
    }

    /// Thresholds for the power, by the greatest principal power, dioptres.
    pub fn crosscheck_power(&self, power: Decimal) -> Threshold {
        let holds = |up_to: &Option<Decimal>| up_to.is_none_or(|end| power.abs() <= end);
        let row = self.crosscheck_power.iter().find(|(up_to, _)| holds(up_to));
        row.expect("the last row has no end: checked when read").1
    }

    /// Thresholds for the addition, dioptres.
    pub fn crosscheck_addition(&self) -> Threshold {
        self.crosscheck_addition
    }

    /// Thresholds for prism, prism dioptres.
    pub fn crosscheck_prism(&self) -> Threshold {
        self.crosscheck_prism
    }
}

/// A number with its digits: read from the text at its span, never through a float.
type Number = Spanned<Value>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Form {
    name: String,
    title: String,
    #[serde(rename = "edition")]
    _edition: String,
    source: String,
    power: Spanned<Vec<RowForm>>,
    prism: Spanned<Vec<RowForm>>,
    axis: AxisForm,
    drift: DriftForm,
    crosscheck: CrossCheckForm,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RowForm {
    up_to: Number,
    limit: Number,
    figures: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AxisForm {
    limit: Number,
    figures: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DriftForm {
    baseline: Spanned<usize>,
    power_step: Number,
    axis_step: Number,
    prism_step: Number,
    ewma_weight: Number,
    ewma_sigmas: Number,
    cusum_allowance: Number,
    cusum_decision: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CrossCheckForm {
    source: String,
    power: Spanned<Vec<ThresholdForm>>,
    addition: ThresholdForm,
    prism: ThresholdForm,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ThresholdForm {
    up_to: Option<Number>,
    agree: Number,
    tolerance: Number,
}

struct Source<'a> {
    text: &'a str,
    origin: &'a str,
}

impl Source<'_> {
    fn error(&self, at: usize, message: &str) -> LimitsError {
        let line = self.text[..at.min(self.text.len())].matches('\n').count() + 1;
        LimitsError { origin: self.origin.to_owned(), line, message: message.trim().to_owned() }
    }

    fn number(&self, number: &Number) -> Result<Decimal, LimitsError> {
        let written = &self.text[number.span()];
        Decimal::from_str(written)
            .ok()
            .filter(|value| !value.is_sign_negative() && *value < REACH)
            .ok_or_else(|| {
                let message = format!("{written} is not a magnitude; a number such as 0.06 is expected");
                self.error(number.span().start, &message)
            })
    }

    /// A number above 0, for charts.
    fn positive(&self, number: &Number) -> Result<f64, LimitsError> {
        let value = self.number(number)?;
        if value.is_zero() {
            return Err(
                self.error(number.span().start, "0 has no meaning here; a number above 0 is expected")
            );
        }
        Ok(crate::optics::float(value))
    }

    fn rows(&self, forms: &Spanned<Vec<RowForm>>) -> Result<Vec<Row>, LimitsError> {
        let mut rows: Vec<Row> = Vec::new();
        for form in forms.get_ref() {
            let up_to = self.number(&form.up_to)?;
            if rows.last().is_some_and(|last| last.up_to >= up_to) {
                let message = "up_to does not rise: rows are expected from the smallest to the greatest";
                return Err(self.error(form.up_to.span().start, message));
            }
            rows.push(Row { up_to, limit: self.number(&form.limit)?, figures: form.figures.clone() });
        }
        if rows.is_empty() {
            return Err(self.error(forms.span().start, "no rows; at least one is expected"));
        }
        Ok(rows)
    }

    fn threshold(&self, form: &ThresholdForm) -> Result<Threshold, LimitsError> {
        let (agree, tolerance) = (self.number(&form.agree)?, self.number(&form.tolerance)?);
        if tolerance < agree {
            let at = form.tolerance.span().start;
            return Err(self.error(at, "tolerance is smaller than agree; it is expected to be the wider one"));
        }
        Ok(Threshold { agree, tolerance })
    }

    fn thresholds(
        &self,
        forms: &Spanned<Vec<ThresholdForm>>,
    ) -> Result<Vec<(Option<Decimal>, Threshold)>, LimitsError> {
        let mut rows: Vec<(Option<Decimal>, Threshold)> = Vec::new();
        for form in forms.get_ref() {
            let up_to = form.up_to.as_ref().map(|end| self.number(end)).transpose()?;
            let rises = match (rows.last(), up_to) {
                (Some((None, _)), _) => false,
                (Some((Some(last), _)), Some(end)) => end > *last,
                _ => true,
            };
            if !rises {
                let message =
                    "rows are expected from the smallest up_to to the greatest, the last without one";
                return Err(self.error(form.agree.span().start, message));
            }
            rows.push((up_to, self.threshold(form)?));
        }
        match rows.last() {
            Some((None, _)) => Ok(rows),
            _ => Err(self.error(forms.span().start, "the last row is expected to have no up_to")),
        }
    }

    fn limits(&self, form: Form) -> Result<Limits, LimitsError> {
        let drift = &form.drift;
        if *drift.baseline.get_ref() < 2 {
            return Err(self.error(drift.baseline.span().start, "baseline: at least 2 checks are expected"));
        }
        let ewma_weight = self.positive(&drift.ewma_weight)?;
        if ewma_weight > 1.0 {
            return Err(self.error(drift.ewma_weight.span().start, "ewma_weight: at most 1 is expected"));
        }
        Ok(Limits {
            text: self.text.to_owned(),
            power: self.rows(&form.power)?,
            prism: self.rows(&form.prism)?,
            axis: Row {
                up_to: Decimal::from(180),
                limit: self.number(&form.axis.limit)?,
                figures: form.axis.figures,
            },
            drift: DriftTerms {
                baseline: *drift.baseline.get_ref(),
                power_step: self.positive(&drift.power_step)?,
                axis_step: self.positive(&drift.axis_step)?,
                prism_step: self.positive(&drift.prism_step)?,
                ewma_weight,
                ewma_sigmas: self.positive(&drift.ewma_sigmas)?,
                cusum_allowance: self.positive(&drift.cusum_allowance)?,
                cusum_decision: self.positive(&drift.cusum_decision)?,
            },
            crosscheck_power: self.thresholds(&form.crosscheck.power)?,
            crosscheck_addition: self.threshold(&form.crosscheck.addition)?,
            crosscheck_prism: self.threshold(&form.crosscheck.prism)?,
            crosscheck_source: form.crosscheck.source,
            name: form.name,
            title: form.title,
            source: form.source,
        })
    }
}
