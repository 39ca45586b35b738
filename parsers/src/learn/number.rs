//! How numbers are written, found from texts and the values that they must be.

use super::shown::Told;
use crate::layout::Quantity;
use rust_decimal::Decimal;

/// A text that holds one number, taken apart.
#[derive(Debug, Clone, Copy)]
pub(super) struct Core<'a> {
    pub before: &'a [u8],
    pub sign: Option<u8>,
    pub sign_after: bool,
    /// Blanks between sign and digits.
    pub gap: bool,
    pub whole: &'a [u8],
    pub point: Option<u8>,
    pub parts: &'a [u8],
    pub after: &'a [u8],
}

/// Takes a text apart; nothing where it does not hold exactly one number.
pub(super) fn core(text: &[u8]) -> Option<Core<'_>> {
    let digit = |at: usize| text.get(at).is_some_and(u8::is_ascii_digit);
    let point = |at: usize| matches!(text.get(at), Some(b'.' | b',')) && digit(at + 1);
    let first = (0..text.len()).find(|at| digit(*at) || point(*at))?;
    let lead = trimmed(&text[..first]);
    let (before, sign) = match lead {
        [before @ .., sign @ (b'+' | b'-')] => (before, Some(*sign)),
        before => (before, None),
    };
    let gap = sign.is_some() && text[first - 1] == b' ';
    let behind = (first..text.len()).find(|at| !digit(*at)).unwrap_or(text.len());
    let whole = &text[first..behind];
    let (found, parts, rest) = if point(behind) {
        let end = (behind + 1..text.len()).find(|at| !digit(*at)).unwrap_or(text.len());
        (Some(text[behind]), &text[behind + 1..end], &text[end..])
    } else {
        (None, &text[behind..behind], &text[behind..])
    };
    let (sign, sign_after, gap, after) = match (sign, trimmed(rest)) {
        (None, [sign @ (b'+' | b'-'), after @ ..]) => (Some(*sign), true, rest[0] == b' ', after),
        (sign, after) => (sign, false, gap, after),
    };
    let (before, after) = (trimmed(before), trimmed(after));
    let one = !after.iter().any(u8::is_ascii_digit) && whole.len() + parts.len() <= 9;
    one.then_some(Core { before, sign, sign_after, gap, whole, point: found, parts, after })
}

impl Core<'_> {
    /// The number as written, without a moved point.
    fn value(&self) -> Decimal {
        let digits = self.whole.iter().chain(self.parts);
        let mantissa = digits.fold(0_i64, |sum, digit| sum * 10 + i64::from(digit - b'0'));
        let value = Decimal::new(mantissa, self.parts.len() as u32);
        if self.sign == Some(b'-') { -value } else { value }
    }
}

/// How one field's number is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Form {
    pub before: Vec<u8>,
    pub after: Vec<u8>,
    /// The points that were seen.
    pub points: Vec<u8>,
    /// The power of ten by which what is sent is too small: -2 where hundredths are sent.
    pub exponent: i32,
    /// More than one exponent explains what was seen, because it is zero everywhere.
    pub scale_open: bool,
    /// An unsigned magnitude that means a negative number.
    pub negated: bool,
    pub sign_after: bool,
    pub gap: bool,
    pub whole: Option<usize>,
    pub decimals: Option<usize>,
    pub missing: Vec<Vec<u8>>,
    pub plus_seen: bool,
    pub minus_seen: bool,
}

impl Form {
    /// Takes over the blanks of another field of the same quantity, and its exceptions.
    pub fn learn_from(&mut self, other: &Self) {
        super::field::add_missing(&mut self.missing, &other.missing);
        let alike = self.exponent == other.exponent;
        self.whole = self.whole.filter(|_| alike && self.whole == other.whole);
        self.decimals = self.decimals.filter(|_| alike && self.decimals == other.decimals);
        self.gap |= other.gap;
        self.plus_seen |= other.plus_seen;
        self.minus_seen |= other.minus_seen;
    }
}

/// One text, and every value that it may be; none where nothing is known of it.
#[derive(Debug, Clone)]
pub(super) struct Text<'a> {
    pub bytes: Option<&'a [u8]>,
    pub told: Vec<Told>,
}

/// The exponents that a quantity can be sent with: the plainest first.
fn exponents(quantity: Quantity, point: bool) -> &'static [i32] {
    let length = quantity.units().iter().any(|(name, _)| *name == "cm");
    let share = quantity.units().iter().any(|(name, _)| *name == "fraction");
    if matches!(quantity, Quantity::Axis | Quantity::PrismBase) {
        return &[0];
    }
    match (length, share, point) {
        (true, _, true) => &[0, 1],
        (_, true, true) => &[0, 2],
        (_, _, true) => &[0],
        (_, _, false) => &[0, -1, -2, -3],
    }
}

/// The form in which every text is one of its values. `affixes` says whether letters may stand
/// beside the number.
pub(super) fn fit(quantity: Quantity, texts: &[Text<'_>], affixes: bool) -> Option<Form> {
    let mut missing: Vec<Vec<u8>> = Vec::new();
    let mut numbers: Vec<(Core<'_>, &[Told])> = Vec::new();
    let mut marks_of_nothing: Vec<&[u8]> = Vec::new();
    for text in texts {
        let number_told = text.told.iter().any(|told| matches!(told, Told::Number(_)));
        let absent_told = text.told.contains(&Told::Absent);
        let Some(bytes) = text.bytes else {
            if number_told && !absent_told {
                return None;
            }
            continue;
        };
        match core(bytes) {
            Some(core) if !absent_told || number_told => numbers.push((core, &text.told)),
            Some(core) => {
                // A number that means nothing is zeros or nines throughout.
                let digits = || core.whole.iter().chain(core.parts);
                if !(digits().all(|digit| *digit == b'0') || digits().all(|digit| *digit == b'9')) {
                    return None;
                }
                marks_of_nothing.push(trimmed(bytes));
            }
            None if number_told && !absent_told => return None,
            None => {
                let mark = trimmed(bytes);
                let letters = mark.iter().any(u8::is_ascii_alphanumeric);
                if !mark.iter().all(|byte| matches!(byte, b' '..=b'~')) || letters && !absent_told {
                    return None;
                }
                missing.push(mark.to_vec());
            }
        }
    }
    let (first, _) = numbers.first()?;
    let same = |get: fn(&Core<'_>) -> Vec<u8>| numbers.iter().all(|(core, _)| get(core) == get(first));
    let bare = first.before.is_empty() && first.after.is_empty();
    if !(same(|core| core.before.to_vec()) && same(|core| core.after.to_vec()) && (affixes || bare)) {
        return None;
    }
    let told = |told: &[Told]| told.iter().any(|told| matches!(told, Told::Number(_)));
    if !numbers.iter().any(|(_, values)| told(values)) {
        return None;
    }
    let signed = numbers.iter().any(|(core, _)| core.sign.is_some());
    let sign_after = numbers.iter().any(|(core, _)| core.sign_after);
    if sign_after && numbers.iter().any(|(core, _)| core.sign.is_some() && !core.sign_after) {
        return None;
    }
    let point = numbers.iter().any(|(core, _)| core.point.is_some());
    let agrees = |exponent: i32, negated: bool| {
        numbers.iter().all(|(core, values)| {
            let value = scaled(core.value(), exponent);
            let value = if negated { -value } else { value };
            !told(values) || values.contains(&Told::Number(value))
        })
    };
    let mut found = Vec::new();
    for exponent in exponents(quantity, point) {
        for negated in [false, true] {
            if (!negated || quantity == Quantity::Cylinder && !signed) && agrees(*exponent, negated) {
                found.push((*exponent, negated));
            }
        }
    }
    let (exponent, negated) = *found.first()?;
    missing.extend(marks_of_nothing.iter().map(|mark| mark.to_vec()));
    missing.sort();
    missing.dedup();
    let lengths = |get: fn(&Core<'_>) -> usize| {
        let first = get(&numbers[0].0);
        numbers.iter().all(|(core, _)| get(core) == first).then_some(first)
    };
    let padded = |core: &Core<'_>| core.whole.len() > 1 && core.whole[0] == b'0';
    let decimals = lengths(|core| core.parts.len()).filter(|length| *length > 0 && numbers.len() > 1);
    let whole = lengths(|core| core.whole.len())
        .filter(|_| numbers.len() > 1 && numbers.iter().any(|(core, _)| padded(core)));
    let mut points: Vec<u8> = numbers.iter().filter_map(|(core, _)| core.point).collect();
    points.sort_unstable();
    points.dedup();
    Some(Form {
        before: first.before.to_vec(),
        after: first.after.to_vec(),
        points,
        exponent,
        scale_open: found.iter().any(|(other, _)| *other != exponent),
        negated,
        sign_after,
        gap: numbers.iter().any(|(core, _)| core.gap),
        whole,
        decimals,
        missing,
        plus_seen: numbers.iter().any(|(core, _)| core.sign == Some(b'+')),
        minus_seen: numbers.iter().any(|(core, _)| core.sign == Some(b'-')),
    })
}

fn scaled(value: Decimal, exponent: i32) -> Decimal {
    let factor = Decimal::from(10_i64.pow(exponent.unsigned_abs()));
    if exponent < 0 { value / factor } else { value * factor }
}

/// Without the blanks around it.
pub(super) fn trimmed(mut text: &[u8]) -> &[u8] {
    while let [b' ', rest @ ..] | [rest @ .., b' '] = text {
        text = rest;
    }
    text
}
