//! What a cell can be, given what was shown.

use super::number::{Form, Text, core, fit, trimmed};
use super::shown::{Thing, Told, angle};
use super::table::Table;
use crate::layout::{Component, Quantity};
use crate::reading::{Base, Eye, Mode};

/// Codes and what they mean.
pub(super) type Codes<T> = Vec<(Vec<u8>, T)>;

/// What a cell is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Is {
    Number {
        quantity: Quantity,
        form: Form,
    },
    Amount {
        component: Component,
        form: Form,
        base: BaseBy,
    },
    BaseCodes {
        component: Component,
        codes: Codes<Base>,
        missing: Vec<Vec<u8>>,
    },
    BaseDegrees {
        form: Form,
    },
    Eye {
        codes: Codes<Eye>,
        missing: Vec<Vec<u8>>,
    },
    Mode {
        codes: Codes<Mode>,
    },
    Job {
        missing: Vec<Vec<u8>>,
    },
    Literal(Vec<u8>),
    /// Nothing that was shown: kept under a name.
    Keep,
}

impl Is {
    /// Takes over the blanks and codes of another field of the same quantity.
    pub fn learn_from(&mut self, other: &Self) {
        match (self, other) {
            (Self::Number { quantity, form }, Self::Number { quantity: same, form: other })
                if quantity == same =>
            {
                form.learn_from(other);
            }
            (Self::BaseDegrees { form }, Self::BaseDegrees { form: other }) => form.learn_from(other),
            (
                Self::Amount { component, form, base },
                Self::Amount { component: same, form: other, base: other_base },
            ) if component == same => {
                form.learn_from(other);
                if let (BaseBy::Letters { codes, .. }, BaseBy::Letters { codes: others, .. }) =
                    (base, other_base)
                {
                    add_codes(codes, others);
                }
            }
            (
                Self::BaseCodes { component, codes, missing },
                Self::BaseCodes { component: same, codes: others, missing: blanks },
            ) if component == same => {
                add_codes(codes, others);
                add_missing(missing, blanks);
            }
            _ => {}
        }
    }
}

fn add_codes<T: Copy + PartialEq>(codes: &mut Codes<T>, others: &Codes<T>) {
    for (code, meaning) in others {
        if !codes.iter().any(|(known, _)| known == code) {
            codes.push((code.clone(), *meaning));
        }
    }
}

/// Adds texts that mean "not measured".
pub(super) fn add_missing(missing: &mut Vec<Vec<u8>>, others: &[Vec<u8>]) {
    missing.extend(others.iter().cloned());
    missing.sort();
    missing.dedup();
}

/// Where the base of an amount of prism is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum BaseBy {
    Sign(Base),
    Letters { after: bool, codes: Codes<Base> },
    Elsewhere,
}

/// What was shown of one thing, for each row of a table, with the row's eye.
pub(super) type Column<'t> = [(Option<Eye>, Option<&'t Told>)];

/// One way in which a thing can be in a table: one cell, or two where a prism's base has its own.
pub(super) type Way = Vec<(usize, Is)>;

/// Every way in which `thing` can be in `table`.
pub(super) fn ways(thing: Thing, table: &Table<'_>, told: &Column<'_>, free: &[bool]) -> Vec<Way> {
    let cells = (0..table.width()).filter(|cell| free[*cell]);
    match thing {
        Thing::Number(quantity) => {
            cells.filter_map(|cell| Some(vec![(cell, number(quantity, table, cell, told)?)])).collect()
        }
        Thing::Job => cells.filter_map(|cell| Some(vec![(cell, job(table, cell, told)?)])).collect(),
        Thing::Mode => cells.filter_map(|cell| Some(vec![(cell, mode(table, cell, told)?)])).collect(),
        Thing::Prism(component) => prism(component, table, told, free),
    }
}

fn number(quantity: Quantity, table: &Table<'_>, cell: usize, told: &Column<'_>) -> Option<Is> {
    let texts = texts(table, cell, |row| told[row].1.cloned());
    fit(quantity, &texts, true).map(|form| Is::Number { quantity, form })
}

fn texts<'a>(table: &Table<'a>, cell: usize, told: impl Fn(usize) -> Option<Told>) -> Vec<Text<'a>> {
    let text = |(row, cells): (usize, &super::table::Row<'a>)| Text {
        bytes: cells.cells[cell],
        told: told(row).into_iter().collect(),
    };
    table.rows.iter().enumerate().map(text).collect()
}

fn job(table: &Table<'_>, cell: usize, told: &Column<'_>) -> Option<Is> {
    let mut missing = Vec::new();
    let mut found = false;
    for (row, (_, told)) in table.rows.iter().zip(told) {
        let text = row.cells[cell].map(trimmed);
        match told {
            Some(Told::Text(job)) if text == Some(job.as_bytes()) => found = true,
            Some(Told::Text(_)) => return None,
            Some(Told::Absent) => missing.extend(text.filter(|text| !text.is_empty()).map(<[u8]>::to_vec)),
            _ => {}
        }
    }
    missing.sort();
    missing.dedup();
    found.then_some(Is::Job { missing })
}

/// Codes that tell what was shown: each text means one thing.
fn codes<T: Copy + PartialEq>(
    table: &Table<'_>,
    cell: usize,
    means: impl Fn(usize) -> Option<T>,
    may_miss: impl Fn(usize, &[u8]) -> bool,
) -> Option<(Codes<T>, Vec<Vec<u8>>)> {
    let mut codes: Codes<T> = Vec::new();
    for (row, cells) in table.rows.iter().enumerate() {
        let (Some(text), Some(meaning)) = (cells.cells[cell].map(trimmed), means(row)) else { continue };
        match codes.iter().find(|(code, _)| code == text) {
            Some((_, known)) if *known != meaning => return None,
            Some(_) => {}
            None if text.is_empty() || text.len() > 8 || !text.iter().all(u8::is_ascii_graphic) => {
                return None;
            }
            None => codes.push((text.to_vec(), meaning)),
        }
    }
    let mut missing: Vec<Vec<u8>> = Vec::new();
    for (row, cells) in table.rows.iter().enumerate() {
        let text = match cells.cells[cell].map(trimmed) {
            Some(text) if !codes.iter().any(|(code, _)| code == text) => text,
            Some(_) => continue,
            None if means(row).is_some() => return None,
            None => continue,
        };
        if !may_miss(row, text) {
            return None;
        }
        missing.push(text.to_vec());
    }
    missing.sort();
    missing.dedup();
    // A text that comes only once tells nothing: any counter has such.
    let told = (0..table.rows.len()).filter(|row| means(*row).is_some()).count();
    let counter = codes.len() == told && codes.iter().any(|(code, _)| core(code).is_some());
    (!codes.is_empty() && !counter).then_some((codes, missing))
}

/// Whether the codes tell anything: several of them, or one that abbreviates its meaning.
fn telling<T: PartialEq>(codes: &Codes<T>, name: impl Fn(&T) -> &'static str) -> bool {
    let several = codes.iter().any(|(_, meaning)| *meaning != codes[0].1);
    let abbreviates = |(code, meaning): &(Vec<u8>, T)| {
        let first = code.first().map(u8::to_ascii_lowercase);
        first.is_some() && first == name(meaning).bytes().next()
    };
    several || codes.iter().all(abbreviates)
}

fn mode(table: &Table<'_>, cell: usize, told: &Column<'_>) -> Option<Is> {
    let means = |row: usize| match told[row].1 {
        Some(Told::Mode(mode)) => Some(*mode),
        _ => None,
    };
    let (codes, missing) = codes(table, cell, means, |_, _| false)?;
    let name = |mode: &Mode| match mode {
        Mode::Distance => "distance",
        Mode::Near => "near",
        Mode::Progressive => "progressive",
    };
    (missing.is_empty() && telling(&codes, name)).then_some(Is::Mode { codes })
}

fn base_name(base: &Base) -> &'static str {
    match base {
        Base::In => "in",
        Base::Out => "out",
        Base::Up => "up",
        Base::Down => "down",
        Base::Towards(_) => "",
    }
}

fn prism_told<'t>(told: &Column<'t>, row: usize) -> Option<(rust_decimal::Decimal, Option<Base>)> {
    match told[row].1 {
        Some(Told::Prism { amount, base }) => Some((*amount, *base)),
        _ => None,
    }
}

/// The base shown in a row; nothing for no prism, which has none.
fn base_told(told: &Column<'_>, row: usize) -> Option<Base> {
    prism_told(told, row).filter(|(amount, _)| !amount.is_zero()).and_then(|(_, base)| base)
}

fn prism(component: Component, table: &Table<'_>, told: &Column<'_>, free: &[bool]) -> Vec<Way> {
    let mut strong = Vec::new();
    let mut weak = Vec::new();
    let quantity = component.amount();
    let amount = |row: usize| match told[row].1 {
        Some(Told::Absent) => Some(Told::Absent),
        _ => prism_told(told, row).map(|(amount, _)| Told::Number(amount)),
    };
    for cell in (0..table.width()).filter(|cell| free[*cell]) {
        for after in [true, false] {
            if let Some((form, codes)) = lettered(table, cell, quantity, told, after, &amount) {
                let base = BaseBy::Letters { after, codes };
                strong.push(vec![(cell, Is::Amount { component, form, base })]);
            }
        }
        for positive in signs(component) {
            let signed = |row: usize| match prism_told(told, row) {
                Some((amount, Some(base))) if base != positive => Some(Told::Number(-amount)),
                _ => amount(row),
            };
            let Some(form) = fit(quantity, &texts(table, cell, signed), true) else { continue };
            let bases = || (0..table.rows.len()).filter_map(|row| base_told(told, row));
            // All of one base, and opposite to a plus sign: possible, but not what anyone writes.
            let way = |form: Form| vec![(cell, Is::Amount { component, form, base: BaseBy::Sign(positive) })];
            if form.minus_seen || form.plus_seen {
                strong.push(way(form));
            } else if bases().all(|base| base == positive) && bases().next().is_some() {
                weak.push(way(form));
            }
        }
        let Some(form) = fit(quantity, &texts(table, cell, amount), true) else { continue };
        if form.minus_seen || form.plus_seen {
            continue;
        }
        for other in (0..table.width()).filter(|other| free[*other] && *other != cell) {
            if let Some(is) = base_cell(component, table, other, told) {
                let amount = Is::Amount { component, form: form.clone(), base: BaseBy::Elsewhere };
                strong.push(vec![(cell, amount), (other, is)]);
            }
        }
    }
    if strong.is_empty() { weak } else { strong }
}

fn signs(component: Component) -> Vec<Base> {
    match component {
        Component::Horizontal => vec![Base::In, Base::Out],
        Component::Vertical => vec![Base::Up, Base::Down],
        Component::Whole => Vec::new(),
    }
}

/// An amount with letters for its base in the same cell.
fn lettered<'a>(
    table: &Table<'a>,
    cell: usize,
    quantity: Quantity,
    told: &Column<'_>,
    after: bool,
    amount: &impl Fn(usize) -> Option<Told>,
) -> Option<(Form, Codes<Base>)> {
    let mut codes: Codes<Base> = Vec::new();
    let letters = |text: &'a [u8]| {
        let core = core(text)?;
        let letters = if after { core.after } else { core.before };
        letters.iter().all(u8::is_ascii_alphabetic).then_some(letters)
    };
    for (row, cells) in table.rows.iter().enumerate() {
        let Some(base) = base_told(told, row) else { continue };
        let letters = letters(cells.cells[cell]?)?;
        match codes.iter().find(|(code, _)| code == letters) {
            Some((_, known)) if *known != base => return None,
            Some(_) => {}
            None if letters.is_empty() => return None,
            None => codes.push((letters.to_vec(), base)),
        }
    }
    if codes.is_empty()
        || codes.iter().any(|(_, base)| matches!(base, Base::Towards(_)))
        || !telling(&codes, base_name)
    {
        return None;
    }
    let mut plain = texts(table, cell, amount);
    for text in &mut plain {
        let Some(bytes) = text.bytes else { continue };
        let bytes = trimmed(bytes);
        let code = codes.iter().find(
            |(code, _)| {
                if after { bytes.ends_with(code) } else { bytes.starts_with(code) }
            },
        );
        let length = code.map_or(0, |(code, _)| code.len());
        text.bytes = Some(if after { &bytes[..bytes.len() - length] } else { &bytes[length..] });
    }
    let form = fit(quantity, &plain, true)?;
    (!form.plus_seen && !form.minus_seen).then_some((form, codes))
}

/// A cell that says the base of an amount in another cell.
fn base_cell(component: Component, table: &Table<'_>, cell: usize, told: &Column<'_>) -> Option<Is> {
    // Where there is no prism any letter may stand, and says nothing.
    let may_miss =
        |row: usize, text: &[u8]| base_told(told, row).is_none() && !text.iter().any(u8::is_ascii_digit);
    let named = |row: usize| base_told(told, row).filter(|base| !matches!(base, Base::Towards(_)));
    let all_named = (0..table.rows.len()).all(|row| base_told(told, row).is_none() || named(row).is_some());
    if all_named
        && let Some((codes, missing)) = codes(table, cell, named, may_miss)
        && telling(&codes, base_name)
        && !codes.iter().any(|(code, _)| code.iter().any(u8::is_ascii_digit))
    {
        return Some(Is::BaseCodes { component, codes, missing });
    }
    if component != Component::Whole {
        return None;
    }
    let degrees = |row: usize| match told[row].1 {
        Some(Told::Absent) => Some(Told::Absent),
        _ => base_told(told, row).and_then(|base| angle(told[row].0, base)).map(Told::Number),
    };
    let form = fit(Quantity::PrismBase, &texts(table, cell, degrees), true)?;
    (form.exponent == 0).then_some(Is::BaseDegrees { form })
}

/// Words for an eye that need no proof.
const EYES: [(&str, Eye); 10] = [
    ("R", Eye::Right),
    ("L", Eye::Left),
    ("RE", Eye::Right),
    ("LE", Eye::Left),
    ("OD", Eye::Right),
    ("OS", Eye::Left),
    ("RIGHT", Eye::Right),
    ("LEFT", Eye::Left),
    ("RT", Eye::Right),
    ("LT", Eye::Left),
];

/// The eye that a word plainly names.
pub(super) fn eye_word(text: &[u8]) -> Option<Eye> {
    EYES.iter().find(|(word, _)| word.as_bytes().eq_ignore_ascii_case(trimmed(text))).map(|(_, eye)| *eye)
}

/// An eye mark: its cell, its codes, and the texts that name no eye.
pub(super) type Mark = (usize, Codes<Eye>, Vec<Vec<u8>>);

/// Every cell that could be an eye mark, with every meaning that its texts could have.
pub(super) fn marks(table: &Table<'_>, both_told: bool) -> Vec<Mark> {
    let mut marks = Vec::new();
    for cell in 0..table.width() {
        let mut texts: Vec<&[u8]> =
            table.rows.iter().filter_map(|row| row.cells[cell].map(trimmed)).collect();
        texts.sort_unstable();
        texts.dedup();
        let (words, rest): (Vec<&[u8]>, Vec<&[u8]>) = texts.iter().partition(|text| eye_word(text).is_some());
        let nothing = |text: &&[u8]| !text.iter().any(u8::is_ascii_alphanumeric);
        let missing = || rest.iter().map(|text| text.to_vec()).collect();
        if !words.is_empty() && rest.iter().all(nothing) {
            let codes = words.iter().filter_map(|word| Some((word.to_vec(), eye_word(word)?)));
            marks.push((cell, codes.collect(), missing()));
        } else if both_told && let [one, other] = texts.as_slice() {
            let short = |text: &[u8]| (1..=8).contains(&text.len()) && text.iter().all(u8::is_ascii_graphic);
            if short(one) && short(other) {
                let (one, other) = (one.to_vec(), other.to_vec());
                marks.push((cell, vec![(one.clone(), Eye::Right), (other.clone(), Eye::Left)], Vec::new()));
                marks.push((cell, vec![(one, Eye::Left), (other, Eye::Right)], Vec::new()));
            }
        }
    }
    // Words first: they need no proof.
    marks.sort_by_key(|(_, codes, _)| !codes.iter().all(|(code, _)| eye_word(code).is_some()));
    marks
}
