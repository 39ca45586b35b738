//! Rule sets as TOML text. Every key is explained in `contrib/rules/tarnvale.toml`.

use super::band::{Band, End, Key, Limit, Range};
use super::loosened;
use super::rules::{PowerOf, PowerScheme, RuleError, RuleSet, Says, Scope, Subject, Table};
use super::verdict::Quantity;
use crate::optics::normal::REACH;
use crate::order::LensKind;
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::str::FromStr;
use toml::{Spanned, Value};

/// Stands between a lab's own text and its base's in [`RuleSet::text`].
const BASE_FOLLOWS: &str = "\n# ==== the base rule set follows ====\n";

/// A number with its digits: read from the text at its span, never through a float.
type Number = Spanned<Value>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileForm {
    name: Spanned<String>,
    base: Option<Spanned<String>>,
    title: Option<String>,
    edition: Option<String>,
    source: Option<String>,
    applies_to: Option<String>,
    #[serde(default)]
    notes: Vec<String>,
    #[serde(default)]
    required: Vec<Quantity>,
    power: Option<PowerForm>,
    #[serde(default)]
    uncertainty: BTreeMap<Spanned<String>, Number>,
    #[serde(default)]
    table: Vec<Spanned<TableForm>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PowerForm {
    scheme: PowerScheme,
    note: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TableForm {
    judges: Vec<Subject>,
    lens: Option<Vec<LensKind>>,
    mounted: Option<bool>,
    #[serde(default)]
    scope: Scope,
    #[serde(default)]
    power_of: PowerOf,
    clause: String,
    figures: String,
    note: Option<String>,
    not_judged: Option<String>,
    judged_as: Option<Quantity>,
    bands: Option<Vec<Spanned<BandForm>>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BandForm {
    power: Option<Spanned<RangeForm>>,
    cylinder: Option<Spanned<RangeForm>>,
    addition: Option<Spanned<RangeForm>>,
    prism: Option<Spanned<RangeForm>>,
    limit: Option<Number>,
    percent: Option<Number>,
    per_dioptre: Option<Number>,
    limit_mm: Option<Number>,
    #[serde(default)]
    each: bool,
    note: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RangeForm {
    from: Option<Number>,
    above: Option<Number>,
    to: Option<Number>,
    below: Option<Number>,
}

/// The text in hand, for errors that name a line.
struct Source<'a> {
    text: &'a str,
    origin: &'a str,
}

impl Source<'_> {
    fn line(&self, at: usize) -> usize {
        self.text[..at.min(self.text.len())].matches('\n').count() + 1
    }

    fn error(&self, at: usize, message: impl Into<String>) -> RuleError {
        RuleError { origin: self.origin.to_owned(), line: self.line(at), message: message.into() }
    }

    fn number(&self, number: &Number) -> Result<Decimal, RuleError> {
        let written = &self.text[number.span()];
        Decimal::from_str(written)
            .ok()
            .filter(|value| !value.is_sign_negative() && *value < REACH)
            .ok_or_else(|| {
                self.error(
                    number.span().start,
                    format!("{written} is not a magnitude; a number such as 0.12 is expected"),
                )
            })
    }

    fn optional(&self, number: &Option<Number>) -> Result<Option<Decimal>, RuleError> {
        number.as_ref().map(|number| self.number(number)).transpose()
    }
}

/// Reads a rule set; see [`RuleSet::from_toml`].
pub(super) fn read(text: &str, origin: &str) -> Result<RuleSet, RuleError> {
    let (own, carried_base) = match text.split_once(BASE_FOLLOWS) {
        Some((own, base)) => (own, Some(base)),
        None => (text, None),
    };
    let source = Source { text: own, origin };
    let form: FileForm = toml::from_str(own)
        .map_err(|error| source.error(error.span().map_or(0, |span| span.start), error.message().trim()))?;
    let tables = tables(&source, &form.table)?;
    let uncertainty = uncertainty(&source, &form.uncertainty)?;
    let base = base(&source, &form, carried_base)?;

    let scheme = match (&form.power, &base) {
        (Some(power), _) => power.scheme,
        (None, Some(base)) => base.scheme,
        (None, None) => {
            return Err(source.error(
                form.name.span().start,
                "no power scheme: [power] with scheme = \"sphere-meridian\", \"highest-meridian\" or \"both-meridians\" is expected, or a base that has one",
            ));
        }
    };
    let mut notes = vec![match form.power.as_ref().and_then(|power| power.note.as_ref()) {
        Some(note) => format!("the power limit is that {scheme} ({note})"),
        None => format!("the power limit is that {scheme}"),
    }];
    if let Some(base) = &base {
        notes.push(format!("starts from {}", base.name));
        notes.extend(base.notes.iter().skip(1).cloned());
        notes.extend(loosened::notes(scheme, &tables, base));
    }
    notes.extend(form.notes);
    let said = |own: Option<String>, key: &str, of_base: fn(&RuleSet) -> &String| {
        own.or_else(|| base.as_ref().map(|base| of_base(base).clone())).ok_or_else(|| {
            source.error(form.name.span().start, format!("{key} is missing; a text is expected"))
        })
    };
    Ok(RuleSet {
        title: said(form.title, "title", |base| &base.title)?,
        edition: said(form.edition, "edition", |base| &base.edition)?,
        source: said(form.source, "source", |base| &base.source)?,
        applies_to: said(form.applies_to, "applies_to", |base| &base.applies_to)?,
        text: match &base {
            Some(base) => format!("{own}{BASE_FOLLOWS}{}", base.text),
            None => own.to_owned(),
        },
        name: form.name.into_inner(),
        scheme,
        decision: decision(&uncertainty),
        tables: tables.into_iter().chain(base.into_iter().flat_map(|base| base.tables)).collect(),
        required: form.required,
        uncertainty,
        notes,
    })
}

fn base(source: &Source, form: &FileForm, carried: Option<&str>) -> Result<Option<RuleSet>, RuleError> {
    let Some(name) = &form.base else {
        return Ok(None);
    };
    if RuleSet::built_in_text(form.name.as_ref()).is_some() {
        let message =
            format!("{} is a built-in rule set; a name of the lab's own is expected", form.name.as_ref());
        return Err(source.error(form.name.span().start, message));
    }
    let text = carried.or_else(|| RuleSet::built_in_text(name.as_ref())).ok_or_else(|| {
        let known: Vec<_> = RuleSet::built_in_names().collect();
        let message = format!(
            "{:?} is not a built-in rule set; one of {} is expected",
            name.as_ref(),
            known.join(", ")
        );
        source.error(name.span().start, message)
    })?;
    read(text, name.as_ref()).map(Some)
}

fn uncertainty(
    source: &Source,
    form: &BTreeMap<Spanned<String>, Number>,
) -> Result<BTreeMap<Quantity, Decimal>, RuleError> {
    let mut declared = BTreeMap::new();
    for (key, number) in form {
        let quantity =
            serde_json::from_value(serde_json::Value::String(key.as_ref().clone())).map_err(|_| {
                let message =
                    format!("{} is not a quantity; one such as cylinder or axis is expected", key.as_ref());
                source.error(key.span().start, message)
            })?;
        declared.insert(quantity, source.number(number)?);
    }
    Ok(declared)
}

fn decision(uncertainty: &BTreeMap<Quantity, Decimal>) -> String {
    if uncertainty.is_empty() {
        return "simple acceptance: a deviation up to its limit passes".to_owned();
    }
    let declared: Vec<_> = uncertainty.iter().map(|(quantity, u)| format!("{quantity} {u}")).collect();
    format!(
        "guarded acceptance (JCGM 106): up to limit less U passes, beyond limit plus U fails, between is borderline; U (k=2): {}; all else by simple acceptance",
        declared.join(", ")
    )
}

fn tables(source: &Source, forms: &[Spanned<TableForm>]) -> Result<Vec<Table>, RuleError> {
    let mut tables: Vec<(Table, usize)> = Vec::new();
    for form in forms {
        let at = form.span().start;
        let says = says(source, form)?;
        let form = form.as_ref();
        for &subject in &form.judges {
            let table = Table {
                subject,
                lenses: form.lens.clone().unwrap_or(LensKind::ALL.to_vec()),
                mounted: form.mounted,
                scope: form.scope,
                power_of: form.power_of,
                clause: form.clause.clone(),
                figures: form.figures.clone(),
                note: form.note.clone(),
                says: says.clone(),
            };
            let twin = tables.iter().find(|(other, _)| {
                other.subject == subject
                    && other.scope == table.scope
                    && [true, false].iter().any(|&mounted| {
                        table
                            .lenses
                            .iter()
                            .any(|&lens| table.covers(lens, mounted) && other.covers(lens, mounted))
                    })
            });
            if let Some((_, first)) = twin {
                let message = format!(
                    "this table judges lenses that the table of line {} judges already",
                    source.line(*first)
                );
                return Err(source.error(at, message));
            }
            tables.push((table, at));
        }
    }
    Ok(tables.into_iter().map(|(table, _)| table).collect())
}

fn says(source: &Source, form: &Spanned<TableForm>) -> Result<Says, RuleError> {
    let at = form.span().start;
    let form = form.as_ref();
    match (&form.bands, &form.judged_as, &form.not_judged) {
        (Some(forms), None, None) => bands(source, form, forms),
        (None, Some(quantity), None) => Ok(Says::JudgedAs(*quantity)),
        (None, None, Some(why)) => Ok(Says::NotJudged(why.clone())),
        _ => Err(source.error(at, "one of bands, judged_as and not_judged is expected in a table")),
    }
}

fn bands(source: &Source, table: &TableForm, forms: &[Spanned<BandForm>]) -> Result<Says, RuleError> {
    let mut bands: Vec<(Band, usize)> = Vec::new();
    for form in forms {
        let at = form.span().start;
        let band = band(source, table, form)?;
        if let Some((_, first)) = bands.iter().find(|(other, _)| other.overlaps(&band)) {
            let message = format!("this band overlaps the band of line {}", source.line(*first));
            return Err(source.error(at, message));
        }
        bands.push((band, at));
    }
    Ok(Says::Bands(bands.into_iter().map(|(band, _)| band).collect()))
}

fn band(source: &Source, table: &TableForm, form: &Spanned<BandForm>) -> Result<Band, RuleError> {
    let at = form.span().start;
    let form = form.as_ref();
    let mut ranges = [None; 4];
    for (key, range_form) in
        Key::ALL.into_iter().zip([&form.power, &form.cylinder, &form.addition, &form.prism])
    {
        let Some(range_form) = range_form else { continue };
        if let Some(subject) = table.judges.iter().find(|subject| !keys_of(**subject).contains(&key)) {
            let message = format!("a band for {subject:?} cannot depend on {key}");
            return Err(source.error(range_form.span().start, message));
        }
        ranges[key as usize] = Some(range(source, range_form)?);
    }
    let limit = Limit {
        fixed: source.optional(&form.limit)?,
        share: source.optional(&form.percent)?.map(|percent| percent * Decimal::new(1, 2)),
        per_dioptre: source.optional(&form.per_dioptre)?,
        millimetres: source.optional(&form.limit_mm)?,
        each: form.each,
    };
    if limit.fixed.is_none()
        && limit.share.is_none()
        && limit.per_dioptre.is_none()
        && limit.millimetres.is_none()
    {
        return Err(
            source.error(at, "a band without a limit; limit, percent, per_dioptre or limit_mm is expected")
        );
    }
    let prism = table.judges.iter().all(|subject| keys_of(*subject).contains(&Key::Prism));
    let pair = table.judges.iter().all(|subject| {
        matches!(subject, Subject::PrismImbalanceHorizontal | Subject::PrismImbalanceVertical)
    });
    if !prism && (limit.millimetres.is_some() || limit.per_dioptre.is_some()) {
        return Err(source.error(at, "limit_mm and per_dioptre are for prism only"));
    }
    if prism && limit.share.is_some() {
        return Err(source.error(at, "percent is not for prism; limit, per_dioptre or limit_mm is expected"));
    }
    if limit.each && !(pair && limit.millimetres.is_some()) {
        return Err(source.error(at, "each belongs to a limit_mm of prism imbalance"));
    }
    let amount = limit.fixed.is_some() || limit.per_dioptre.is_some();
    if limit.millimetres.is_some() && amount == pair {
        return Err(source.error(
            at,
            if pair {
                "for prism imbalance limit_mm stands alone: above a threshold the place is tested instead"
            } else {
                "for the prism of one lens limit_mm stands beside limit, as the other way to pass"
            },
        ));
    }
    // Prism becomes millimetres through the power: without any there are none.
    let low = ranges[Key::Power as usize].and_then(|range| range.low);
    if pair && limit.millimetres.is_some() && low.is_none_or(|end| end.closed && end.at.is_zero()) {
        return Err(source.error(
            at,
            "limit_mm of prism imbalance needs a power above 0, such as power = { above = 3.375 }",
        ));
    }
    Ok(Band::new(ranges, limit, form.note.clone()))
}

fn range(source: &Source, form: &Spanned<RangeForm>) -> Result<Range, RuleError> {
    let at = form.span().start;
    let form = form.as_ref();
    let end = |closed: &Option<Number>, open: &Option<Number>, names: &str| match (closed, open) {
        (Some(_), Some(_)) => Err(source.error(at, format!("only one of {names} is expected"))),
        (Some(number), None) => Ok(Some(End { at: source.number(number)?, closed: true })),
        (None, Some(number)) => Ok(Some(End { at: source.number(number)?, closed: false })),
        (None, None) => Ok(None),
    };
    let range = Range {
        low: end(&form.from, &form.above, "from and above")?,
        high: end(&form.to, &form.below, "to and below")?,
    };
    if range.is_empty() {
        return Err(source.error(at, "no value lies in this range; its ends are inverted"));
    }
    if range == Range::default() {
        return Err(source.error(at, "a range without ends; from or above, to or below are expected"));
    }
    Ok(range)
}

/// On which ordered values the bands of a subject can depend.
fn keys_of(subject: Subject) -> &'static [Key] {
    match subject {
        Subject::Power => &[Key::Power],
        Subject::Cylinder | Subject::Axis => &[Key::Power, Key::Cylinder],
        Subject::Addition | Subject::SecondAddition => &[Key::Addition],
        Subject::PrismHorizontal
        | Subject::PrismVertical
        | Subject::PrismImbalanceHorizontal
        | Subject::PrismImbalanceVertical => &[Key::Power, Key::Prism],
        Subject::Pd | Subject::NearPd | Subject::SegmentHeight | Subject::ReferenceHeight => &[],
    }
}
