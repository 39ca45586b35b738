//! Numbers and prisms as people type them.

use crate::parsers::reading::{Base, PrismPart};
use std::str::FromStr;

/// What stands for a minus where text is set well, and where it is copied from there.
pub const MINUS: char = '\u{2212}';

/// A number with or without one of its units, with a decimal point or comma, and a hyphen or
/// [`MINUS`] for a minus.
pub fn number<T: FromStr>(text: &str, units: &[&str]) -> Option<T> {
    let text = text.trim();
    let bare = units
        .iter()
        .find_map(|unit| {
            let split = text.len().checked_sub(unit.len())?;
            let (head, tail) = text.split_at_checked(split)?;
            tail.eq_ignore_ascii_case(unit).then(|| head.trim_end())
        })
        .unwrap_or(text);
    let bare = &bare.replace(MINUS, "-");
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-');
    if !bare.chars().all(plain) || bare.matches([',', '.']).count() > 1 {
        return None;
    }
    bare.replace(',', ".").parse().ok()
}

/// Parts joined by `+`, each an amount and a base: `0.50 in + 0.25 up`, `2.5 at 35` for degrees;
/// `none` for none.
pub fn prism(text: &str) -> Option<Vec<PrismPart>> {
    if text.eq_ignore_ascii_case("none") {
        return Some(Vec::new());
    }
    text.split('+').map(prism_part).collect()
}

fn prism_part(text: &str) -> Option<PrismPart> {
    let (amount, base) = match text.trim().split_once(" at ") {
        Some((amount, angle)) => {
            (amount, Base::Towards(number(angle.trim(), &["degrees", "deg", "\u{b0}"])?))
        }
        None => {
            let (amount, base) = text.trim().rsplit_once(' ')?;
            let base = match base.to_lowercase().as_str() {
                "in" => Base::In,
                "out" => Base::Out,
                "up" => Base::Up,
                "down" => Base::Down,
                _ => return None,
            };
            (amount, base)
        }
    };
    Some(PrismPart { amount: number(amount.trim(), &["prism-D", "\u{394}"])?, base })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parsers::units::Dioptre;

    #[test]
    fn a_number_is_one_however_its_minus_and_its_point_are_written() {
        for typed in ["-1.25", "-1,25", "\u{2212}1,25", " \u{2212}1.25 D"] {
            let number = number::<Dioptre>(typed, &["D"]).map(|number| number.to_string());
            assert_eq!(number.as_deref(), Some("-1.25"), "{typed}");
        }
        for nonsense in ["", "1.2,5", "\u{2212}", "-\u{2212}1", "1 D D", "1e3"] {
            assert_eq!(number::<Dioptre>(nonsense, &["D"]), None, "{nonsense}");
        }
    }
}
