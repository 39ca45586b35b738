//! The keys that say how numbers are written, and their defaults.

use super::error::LayoutError;
use super::number::{Blanks, MOST_DIGITS, NumberForm, Point, Sign, trimmed};
use super::quantity::Quantity;
use super::text::Section;
use crate::reading::Base;

/// How a cylinder's sign is to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Convention {
    AsSent,
    Minus,
    Plus,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum PointName {
    Dot,
    Comma,
    Either,
    Implied,
    Whole,
}

/// How one quantity's numbers are written, as far as the layout has said.
#[derive(Debug, Clone)]
pub(super) struct Style {
    point: PointName,
    whole: Option<u8>,
    decimals: Option<u8>,
    sign: Sign,
    sign_after: bool,
    blanks: Blanks,
    missing: Vec<Vec<u8>>,
    before: Vec<u8>,
    after: Vec<u8>,
    exponent: i32,
    convention: Convention,
    /// The base of a positive prism component.
    pub positive: Option<Base>,
}

impl Default for Style {
    fn default() -> Self {
        Self {
            point: PointName::Dot,
            whole: None,
            decimals: None,
            sign: Sign::Optional,
            sign_after: false,
            blanks: Blanks::Around,
            missing: Vec::new(),
            before: Vec::new(),
            after: Vec::new(),
            exponent: 0,
            convention: Convention::AsSent,
            positive: None,
        }
    }
}

/// The styles of all quantities, from the table `[numbers]`.
pub(super) struct Styles([Style; Quantity::COUNT]);

impl Styles {
    pub fn from(mut numbers: Section<'_>) -> Result<Self, LayoutError> {
        let common = Style::default().with_common(&mut numbers)?;
        let mut styles = std::array::from_fn(|_| common.clone());
        for (name, quantity) in Quantity::ALL {
            let mut section = numbers.section(name, "a quantity's numbers")?;
            if !section.is_empty() {
                styles[quantity as usize] = common.clone().with(&mut section, quantity)?;
                section.finish()?;
            }
        }
        numbers.finish()?;
        Ok(Self(styles))
    }

    pub fn of(&self, quantity: Quantity) -> Style {
        self.0[quantity as usize].clone()
    }
}

impl Style {
    /// The style with the keys of `section` that hold for any number.
    fn with_common(mut self, section: &mut Section<'_>) -> Result<Self, LayoutError> {
        let points = [
            (".", PointName::Dot),
            (",", PointName::Comma),
            ("either", PointName::Either),
            ("implied", PointName::Implied),
            ("none", PointName::Whole),
        ];
        if let Some((point, _)) = section.choice("point", &points)? {
            self.point = point;
        }
        let digits = 0..u32::from(MOST_DIGITS) + 1;
        // The counts are below 10.
        if let Some((count, _)) = section.count("whole", digits.clone())? {
            self.whole = Some(count as u8);
        }
        if let Some((count, _)) = section.count("decimals", 1..digits.end)? {
            self.decimals = Some(count as u8);
        }
        let signs = [
            ("optional", Sign::Optional),
            ("required", Sign::Required),
            ("minus-only", Sign::MinusOnly),
            ("never", Sign::Never),
        ];
        if let Some((sign, _)) = section.choice("sign", &signs)? {
            self.sign = sign;
        }
        if let Some((after, _)) = section.choice("sign_at", &[("before", false), ("after", true)])? {
            self.sign_after = after;
        }
        let blanks = [("nowhere", Blanks::Nowhere), ("around", Blanks::Around), ("within", Blanks::Within)];
        if let Some((blanks, _)) = section.choice("blanks", &blanks)? {
            self.blanks = blanks;
        }
        if let Some((texts, _)) = section.byte_list("missing")? {
            self.missing = texts.iter().map(|text| trimmed(text).to_vec()).collect();
        }
        Ok(self)
    }

    /// The style with every key of `section` that a number of `quantity` can have.
    pub fn with(self, section: &mut Section<'_>, quantity: Quantity) -> Result<Self, LayoutError> {
        let mut style = self.with_common(section)?;
        if let Some((unit, at)) = section.text("unit")? {
            style.exponent = exponent(&unit, quantity).ok_or_else(|| {
                let units: Vec<&str> = quantity.units().iter().map(|(name, _)| *name).collect();
                let mut error = section.source.misspelt(at, "a unit here", &unit, &units);
                error.expected.push_str(", with a power of ten in front of it if need be, as in \"0.01 D\"");
                error
            })?;
        }
        if let Some((before, _)) = section.bytes("before")? {
            style.before = before;
        }
        if let Some((after, _)) = section.bytes("after")? {
            style.after = after;
        }
        if quantity == Quantity::Cylinder {
            let conventions =
                [("as-sent", Convention::AsSent), ("minus", Convention::Minus), ("plus", Convention::Plus)];
            if let Some((convention, _)) = section.choice("convention", &conventions)? {
                style.convention = convention;
            }
        }
        let bases: &[(&str, Base)] = match quantity {
            Quantity::PrismHorizontal => &[("in", Base::In), ("out", Base::Out)],
            Quantity::PrismVertical => &[("up", Base::Up), ("down", Base::Down)],
            _ => &[],
        };
        if !bases.is_empty()
            && let Some((base, _)) = section.choice("positive", bases)?
        {
            style.positive = Some(base);
        }
        Ok(style)
    }

    /// The form of a number in this style. `signless` says that a sign would mean nothing.
    pub fn form(self, section: &Section<'_>, signless: bool) -> Result<NumberForm, LayoutError> {
        let point = match (self.point, self.decimals) {
            (PointName::Dot, _) => Point::Dot,
            (PointName::Comma, _) => Point::Comma,
            (PointName::Either, _) => Point::Either,
            (PointName::Whole, _) => Point::Whole,
            (PointName::Implied, Some(decimals)) => Point::Implied(decimals),
            (PointName::Implied, None) => {
                return Err(section.error("point is \"implied\" without decimals", "decimals = 2, or so"));
            }
        };
        if let (Point::Implied(decimals), Some(whole)) = (point, self.whole)
            && whole + decimals > MOST_DIGITS
        {
            return Err(section.error("whole and decimals are too many", "at most 9 digits together"));
        }
        let magnitude = self.convention != Convention::AsSent;
        Ok(NumberForm {
            point,
            whole: self.whole,
            decimals: self.decimals,
            sign: if signless || magnitude { Sign::Never } else { self.sign },
            sign_after: self.sign_after,
            blanks: self.blanks,
            missing: self.missing,
            before: self.before,
            after: self.after,
            exponent: self.exponent,
            negated: self.convention == Convention::Minus,
        })
    }
}

/// The power of ten by which `unit` is larger than the reading model's own unit.
fn exponent(unit: &str, quantity: Quantity) -> Option<i32> {
    let (factor, name) = unit.rsplit_once(' ').unwrap_or(("1", unit));
    let own = quantity.units().iter().find(|(own, _)| *own == name)?.1;
    let factors = [("0.001", -3), ("0.01", -2), ("0.1", -1), ("1", 0), ("10", 1), ("100", 2)];
    let scale = factors.iter().find(|(text, _)| *text == factor)?.1;
    Some(own + scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_powers_of_ten() {
        assert_eq!(exponent("D", Quantity::Sphere), Some(0));
        assert_eq!(exponent("0.01 D", Quantity::Sphere), Some(-2));
        assert_eq!(exponent("cm", Quantity::Pd), Some(1));
        assert_eq!(exponent("0.1 mm", Quantity::Pd), Some(-1));
        assert_eq!(exponent("fraction", Quantity::Transmittance), Some(2));
        assert_eq!(exponent("mm", Quantity::Sphere), None);
        assert_eq!(exponent("0.25 D", Quantity::Sphere), None);
    }
}
