//! How an instrument writes its numbers.

use super::miss::{Expected, Miss, Parsed};
use super::quantity::Quantity;
use nom::Parser;
use nom::bytes::complete::{tag, take_while};
use nom::combinator::map;
use rust_decimal::Decimal;

/// What stands between whole units and their parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Point {
    Dot,
    Comma,
    Either,
    /// Nothing: so many of the last digits are parts.
    Implied(u8),
    /// Nothing: there are only whole units.
    Whole,
}

/// Whether a sign stands with the digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    Optional,
    Required,
    /// Minus or nothing.
    MinusOnly,
    Never,
}

/// Where blanks may stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Blanks {
    Nowhere,
    Around,
    /// Around, and between sign and digits.
    Within,
}

/// How one field's number is written.
#[derive(Debug, Clone)]
pub(super) struct NumberForm {
    pub point: Point,
    /// Exact number of digits before the point.
    pub whole: Option<u8>,
    /// Exact number of digits behind the point.
    pub decimals: Option<u8>,
    pub sign: Sign,
    pub sign_after: bool,
    pub blanks: Blanks,
    /// Texts for "not measured", without the blanks around them.
    pub missing: Vec<Vec<u8>>,
    /// Bytes in front of the number and behind it.
    pub before: Vec<u8>,
    pub after: Vec<u8>,
    /// The power of ten by which the unit sent is larger than the reading model's.
    pub exponent: i32,
    /// Whether an unsigned magnitude means a negative number.
    pub negated: bool,
}

/// An exact number: `mantissa` times ten to the power of minus `scale`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Number {
    pub mantissa: i64,
    pub scale: u32,
}

impl Number {
    pub fn decimal(self) -> Decimal {
        Decimal::new(self.mantissa, self.scale)
    }

    fn within(self, (least, most): (i64, i64)) -> bool {
        // Scales are below 13 and limits below 1000: nothing saturates but what is out of range.
        let unit = TENS[self.scale.min(15) as usize];
        (least * unit..=most * unit).contains(&self.mantissa)
    }
}

/// Powers of ten.
const TENS: [i64; 16] = {
    let mut tens = [1; 16];
    let mut power = 1;
    while power < tens.len() {
        tens[power] = 10 * tens[power - 1];
        power += 1;
    }
    tens
};

/// More digits than this are no measurement, and fit no 64 bits after scaling.
pub(super) const MOST_DIGITS: u8 = 9;

impl NumberForm {
    /// The number that the whole of `cell` writes; nothing where it says "not measured".
    pub fn read<'a>(&'a self, quantity: Quantity, cell: &'a [u8]) -> Result<Option<Number>, Miss<'a>> {
        if !self.missing.is_empty() && is_one_of(trimmed(cell), &self.missing) {
            return Ok(None);
        }
        let (rest, ()) = self.pad(self.blanks != Blanks::Nowhere, cell)?;
        let (rest, _) = literal(&self.before, rest)?;
        let (start, ()) = self.pad(self.blanks != Blanks::Nowhere && !self.before.is_empty(), rest)?;
        let (rest, before) = if self.sign_after { (start, false) } else { self.sign(start)? };
        let (rest, ()) = self.pad(self.blanks == Blanks::Within && rest.len() < start.len(), rest)?;
        let (rest, mut number) = self.digits(rest)?;
        let (rest, behind) = if self.sign_after {
            let (rest, ()) = self.pad(self.blanks == Blanks::Within, rest)?;
            self.sign(rest)?
        } else {
            (rest, false)
        };
        let (rest, ()) = self.pad(self.blanks != Blanks::Nowhere && !self.after.is_empty(), rest)?;
        let (rest, _) = literal(&self.after, rest)?;
        let (rest, ()) = self.pad(self.blanks != Blanks::Nowhere, rest)?;
        if !rest.is_empty() {
            return Err(Miss::new(rest, Expected::Words("the end of the number")));
        }
        if before || behind || self.negated {
            number.mantissa = -number.mantissa;
        }
        if number.within(quantity.range()) {
            Ok(Some(number))
        } else {
            Err(Miss::new(cell, Expected::Within(quantity)))
        }
    }

    #[inline]
    fn pad<'a>(&self, allowed: bool, input: &'a [u8]) -> Parsed<'a, ()> {
        if allowed && input.first() == Some(&b' ') {
            return map(take_while(|byte| byte == b' '), |_| ()).parse(input);
        }
        Ok((input, ()))
    }

    #[inline]
    /// Whether there is a minus.
    fn sign<'a>(&self, input: &'a [u8]) -> Parsed<'a, bool> {
        match (input, self.sign) {
            ([b'-', rest @ ..], Sign::Optional | Sign::Required | Sign::MinusOnly) => Ok((rest, true)),
            ([b'+', rest @ ..], Sign::Optional | Sign::Required) => Ok((rest, false)),
            (_, Sign::Required) => Err(nom::Err::Error(Miss::new(input, Expected::Words("a sign, + or -")))),
            _ => Ok((input, false)),
        }
    }

    #[inline]
    fn digits<'a>(&self, input: &'a [u8]) -> Parsed<'a, Number> {
        if let Point::Implied(decimals) = self.point {
            let exactly = self.whole.map(|whole| whole + decimals);
            let (rest, digits) = run(input, exactly, 1)?;
            return Ok((rest, self.scaled(value(0, digits), decimals.into())));
        }
        let (rest, whole) = run(input, self.whole, 0)?;
        let behind = match (rest, self.point) {
            ([b'.', behind @ ..], Point::Dot | Point::Either)
            | ([b',', behind @ ..], Point::Comma | Point::Either) => Some(behind),
            _ => None,
        };
        if let Some(behind) = behind {
            let (rest, parts) = run(behind, self.decimals, 1)?;
            let mantissa = value(value(0, whole), parts);
            // A run has at most `MOST_DIGITS` digits.
            return Ok((rest, self.scaled(mantissa, parts.len() as u32)));
        }
        let needed = match self.point {
            _ if whole.is_empty() => "a digit",
            Point::Dot if self.decimals.is_some() => "a decimal point",
            Point::Comma if self.decimals.is_some() => "a decimal comma",
            Point::Either if self.decimals.is_some() => "a decimal point or comma",
            _ => return Ok((rest, self.scaled(value(0, whole), 0))),
        };
        Err(nom::Err::Error(Miss::new(rest, Expected::Words(needed))))
    }

    #[inline]
    fn scaled(&self, mantissa: i64, decimals: u32) -> Number {
        match decimals.checked_add_signed(-self.exponent) {
            Some(scale) => Number { mantissa, scale },
            None => {
                let up = (self.exponent - decimals.cast_signed()).unsigned_abs();
                Number { mantissa: mantissa.saturating_mul(10_i64.saturating_pow(up)), scale: 0 }
            }
        }
    }
}

#[inline]
/// A run of digits: exactly so many where that is said, else at least `least`.
fn run(input: &[u8], exactly: Option<u8>, least: usize) -> Parsed<'_, &[u8]> {
    let (rest, digits) = take_while(|byte: u8| byte.is_ascii_digit()).parse(input)?;
    let miss = |expected| Err(nom::Err::Error(Miss::new(input, expected)));
    match exactly {
        Some(count) if digits.len() != usize::from(count) => miss(Expected::Digits(count)),
        None if digits.len() < least => miss(Expected::Words("a digit")),
        None if digits.len() > usize::from(MOST_DIGITS) => miss(Expected::Words("at most 9 digits")),
        _ => Ok((rest, digits)),
    }
}

#[inline]
fn value(before: i64, digits: &[u8]) -> i64 {
    digits.iter().fold(before, |value, digit| value.wrapping_mul(10).wrapping_add(i64::from(digit - b'0')))
}

#[inline]
/// `bytes` themselves.
pub(super) fn literal<'a>(bytes: &'a [u8], input: &'a [u8]) -> Parsed<'a, &'a [u8]> {
    if bytes.is_empty() {
        return Ok((input, &input[..0]));
    }
    tag(bytes)
        .parse(input)
        .map_err(|_: nom::Err<Miss<'a>>| nom::Err::Error(Miss::new(input, Expected::Bytes(bytes))))
}

/// Without the blanks around it.
pub(super) fn trimmed(mut cell: &[u8]) -> &[u8] {
    while let [b' ', rest @ ..] | [rest @ .., b' '] = cell {
        cell = rest;
    }
    cell
}

pub(super) fn is_one_of(cell: &[u8], texts: &[Vec<u8>]) -> bool {
    texts.iter().any(|text| text == cell)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> NumberForm {
        NumberForm {
            point: Point::Dot,
            whole: None,
            decimals: None,
            sign: Sign::Optional,
            sign_after: false,
            blanks: Blanks::Around,
            missing: vec![b"----".to_vec(), Vec::new()],
            before: Vec::new(),
            after: Vec::new(),
            exponent: 0,
            negated: false,
        }
    }

    fn check(form: &NumberForm, cell: &str, expected: &str) {
        let got = match form.read(Quantity::Sphere, cell.as_bytes()) {
            Ok(Some(number)) => number.decimal().to_string(),
            Ok(None) => "absent".to_owned(),
            Err(miss) => format!("{} at {}", miss.expected, cell.len() - miss.at.len()),
        };
        assert_eq!(got, expected, "{cell:?}");
    }

    #[test]
    fn plain_numbers() {
        let form = form();
        check(&form, "-1.25", "-1.25");
        check(&form, " +01.50 ", "1.50");
        check(&form, ".5", "0.5");
        check(&form, "12", "12");
        check(&form, "----", "absent");
        check(&form, "   ", "absent");
        check(&form, "-1.2x", "the end of the number at 4");
        check(&form, "- 1.2", "a digit at 1");
        check(&form, "1.", "a digit at 2");
        check(&form, "--1", "a digit at 1");
        check(&form, "1,5", "the end of the number at 1");
        check(&form, "40.01", "sphere from -40 to 40 D at 0");
        check(&form, "-40.00", "-40.00");
        check(&form, "0000000001", "at most 9 digits at 0");
    }

    #[test]
    fn exact_digits_refuse_a_number_cut_short() {
        let form = NumberForm { whole: Some(2), decimals: Some(2), ..form() };
        check(&form, "-01.25", "-1.25");
        check(&form, "-01.2", "2 digits at 4");
        check(&form, "-1.25", "2 digits at 1");
        check(&form, "-01", "a decimal point at 3");
    }

    #[test]
    fn other_ways_to_write_a_number() {
        let implied = NumberForm { point: Point::Implied(2), whole: Some(2), ..form() };
        check(&implied, "-0125", "-1.25");
        check(&implied, "-125", "4 digits at 1");
        let comma = NumberForm { point: Point::Comma, ..form() };
        check(&comma, "1,25", "1.25");
        check(&comma, "1.25", "the end of the number at 1");
        let behind = NumberForm { sign_after: true, sign: Sign::Required, blanks: Blanks::Within, ..form() };
        check(&behind, "1.25 -", "-1.25");
        check(&behind, "1.25", "a sign, + or - at 4");
        let apart = NumberForm { blanks: Blanks::Within, ..form() };
        check(&apart, "-  1.25", "-1.25");
        let magnitude = NumberForm { sign: Sign::Never, negated: true, ..form() };
        check(&magnitude, "0.50", "-0.50");
        check(&magnitude, "-0.50", "a digit at 0");
        let minus_only = NumberForm { sign: Sign::MinusOnly, ..form() };
        check(&minus_only, "+1", "a digit at 0");
        let framed = NumberForm { before: b"S".to_vec(), after: b"D".to_vec(), ..form() };
        check(&framed, "S -1.25 D", "-1.25");
        check(&framed, "C-1.25D", "\"S\" at 0");
    }

    #[test]
    fn units_move_the_point_exactly() {
        let hundredths = NumberForm { point: Point::Whole, exponent: -2, ..form() };
        check(&hundredths, "-125", "-1.25");
        let centimetres = NumberForm { exponent: 1, ..form() };
        check(&centimetres, "3.15", "31.5");
        check(&centimetres, "3", "30");
    }
}
