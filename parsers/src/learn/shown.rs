//! What an instrument's own display showed for one measurement.

use crate::layout::{Component, Quantity};
use crate::reading::{Base, Eye, Lens, Mode, Reading};
use crate::units::Degree;
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

/// Something that a display can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Thing {
    Number(Quantity),
    Prism(Component),
    Mode,
    Job,
}

/// Something that a display can show, and for which lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Key {
    pub eye: Option<Eye>,
    pub thing: Thing,
}

/// What the display showed in one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Told {
    Number(Decimal),
    Prism {
        amount: Decimal,
        base: Option<Base>,
    },
    Mode(Mode),
    Text(String),
    /// The display showed that this was not measured.
    Absent,
}

/// What an instrument's own display showed for one measurement.
///
/// What is not in here is not known; it may be in the bytes or not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shown(BTreeMap<Key, Told>);

/// Why something cannot be what a display showed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{name} = {value:?}: expected {expected}")]
pub struct ShownError {
    /// The name as it was given.
    pub name: String,
    /// The value as it was given.
    pub value: String,
    /// What was expected.
    pub expected: String,
}

const MODES: [(&str, Mode); 3] =
    [("distance", Mode::Distance), ("near", Mode::Near), ("progressive", Mode::Progressive)];

impl Thing {
    /// In the order in which people read them off a display.
    pub fn all() -> Vec<Self> {
        let numbers = Quantity::ALL.into_iter().map(|(_, quantity)| quantity);
        let mut things: Vec<Self> =
            numbers.filter(|quantity| quantity.component().is_none()).map(Self::Number).collect();
        things.splice(4..4, Component::ALL.map(Self::Prism));
        things.extend([Self::Mode, Self::Job]);
        things
    }

    pub fn of_a_lens(self) -> bool {
        matches!(self, Self::Number(_) | Self::Prism(_))
    }

    pub fn name(self) -> &'static str {
        match self {
            Self::Number(quantity) => quantity.name(),
            Self::Prism(component) => component.amount().name(),
            Self::Mode => "mode",
            Self::Job => "job",
        }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(eye) = self.eye {
            write!(f, "{eye} ")?;
        }
        f.write_str(&self.thing.name().replace('_', " "))
    }
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => number.fmt(f),
            Self::Prism { amount, base: None } => amount.fmt(f),
            Self::Prism { amount, base: Some(base) } => write!(f, "{amount} {base}"),
            Self::Mode(mode) => {
                let name = MODES.iter().find(|(_, known)| known == mode).map_or("", |(name, _)| name);
                f.write_str(name)
            }
            Self::Text(text) => f.write_str(text),
            Self::Absent => f.write_str("not measured"),
        }
    }
}

impl Shown {
    /// Every name that [`Self::tell`] knows, in the order in which people read a display. A
    /// name without an eye is of a lens whose eye the display does not say.
    pub fn names() -> Vec<String> {
        let things = Thing::all();
        let lens = |prefix: &str| -> Vec<String> {
            let things = things.iter().filter(|thing| thing.of_a_lens());
            things.map(|thing| format!("{prefix}{}", thing.name())).collect()
        };
        let mut names = vec!["job".to_owned(), "mode".to_owned()];
        names.extend(["right_", "left_", ""].into_iter().flat_map(lens));
        names
    }

    /// Takes what the display showed under `name`.
    ///
    /// Numbers are written with a point or a comma and an optional sign; prisms as amount and
    /// base (`0.40 in`, `0.25 270`, `0`); a single minus means that the display showed this as
    /// not measured; an empty text says nothing.
    ///
    /// # Errors
    /// When the name is unknown or the value is not of its kind.
    pub fn tell(&mut self, name: &str, value: &str) -> Result<(), ShownError> {
        let error = |expected: &str| ShownError {
            name: name.to_owned(),
            value: value.to_owned(),
            expected: expected.to_owned(),
        };
        let (eye, bare) = match (name.strip_prefix("right_"), name.strip_prefix("left_")) {
            (Some(bare), _) => (Some(Eye::Right), bare),
            (_, Some(bare)) => (Some(Eye::Left), bare),
            (None, None) => (None, name),
        };
        let thing = Thing::all()
            .into_iter()
            .find(|thing| thing.name() == bare && (eye.is_none() || thing.of_a_lens()))
            .ok_or_else(|| error(&format!("one of the names {}", Self::names().join(", "))))?;
        let value = value.trim();
        if value.is_empty() {
            return Ok(());
        }
        let told = match thing {
            _ if value == "-" => Told::Absent,
            Thing::Number(quantity) => {
                let number =
                    number(value).ok_or_else(|| error("a number such as -1.25, or - for not measured"))?;
                let (least, most) = quantity.range();
                if number < Decimal::from(least) || number > Decimal::from(most) {
                    return Err(error(&format!("a number from {least} to {most}")));
                }
                Told::Number(number)
            }
            Thing::Prism(component) => {
                prism(component, value).ok_or_else(|| error(bases_expected(component)))?
            }
            Thing::Mode => MODES
                .iter()
                .find(|(name, _)| *name == value)
                .map(|(_, mode)| Told::Mode(*mode))
                .ok_or_else(|| error("distance, near or progressive"))?,
            Thing::Job => Told::Text(value.to_owned()),
        };
        self.0.insert(Key { eye, thing }, told);
        Ok(())
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(super) fn get(&self, key: Key) -> Option<&Told> {
        self.0.get(&key)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = (Key, &Told)> {
        self.0.iter().map(|(key, told)| (*key, told))
    }

    /// The eyes of whose lenses something was measured.
    pub(super) fn eyes(&self) -> Vec<Option<Eye>> {
        let said = |eye| {
            move |(key, told): (Key, &Told)| key.eye == eye && key.thing.of_a_lens() && *told != Told::Absent
        };
        let eyes = [Some(Eye::Right), Some(Eye::Left), None];
        eyes.into_iter().filter(|eye| self.all().any(said(*eye))).collect()
    }

    /// The same lenses with their cylinders transposed.
    pub(super) fn transposed(&self) -> Self {
        let mut other = self.clone();
        for eye in [Some(Eye::Right), Some(Eye::Left), None] {
            let at = |quantity| Key { eye, thing: Thing::Number(quantity) };
            let Some(Told::Number(cylinder)) = self.get(at(Quantity::Cylinder)) else { continue };
            if cylinder.is_zero() {
                continue;
            }
            other.0.insert(at(Quantity::Cylinder), Told::Number(-cylinder));
            if let Some(Told::Number(sphere)) = self.get(at(Quantity::Sphere)) {
                other.0.insert(at(Quantity::Sphere), Told::Number(sphere + cylinder));
            }
            if let Some(Told::Number(axis)) = self.get(at(Quantity::Axis)) {
                let right_angle = Decimal::from(90);
                let turned = if *axis > right_angle { axis - right_angle } else { axis + right_angle };
                other.0.insert(at(Quantity::Axis), Told::Number(turned));
            }
        }
        other
    }

    /// The same, of a lens whose eye nothing says; nothing where two lenses were shown.
    pub(super) fn without_eye(&self) -> Option<Self> {
        (self.eyes().len() < 2).then(|| {
            let eye = self.eyes().first().copied().flatten();
            let kept = self.0.iter().filter(|(key, _)| key.eye == eye || key.eye.is_none());
            Self(kept.map(|(key, told)| (Key { eye: None, ..*key }, told.clone())).collect())
        })
    }

    /// Where `reading` says otherwise, in words; empty where it says exactly this.
    pub fn disagreements(&self, reading: &Reading) -> Vec<String> {
        let words = |(key, told, read): (Key, Told, Option<Told>)| difference(key, &told, read.as_ref());
        self.differences(reading).into_iter().map(words).collect()
    }

    /// Where `reading` says otherwise: what it is about, what was shown, what was read.
    pub(super) fn differences(&self, reading: &Reading) -> Vec<(Key, Told, Option<Told>)> {
        let differs = |(key, told): (Key, &Told)| {
            let read = read(reading, key);
            let same = match (&read, told) {
                (None, Told::Absent) => true,
                (None, _) => false,
                (Some(read), told) => agree(key.eye, read, told),
            };
            (!same).then(|| (key, told.clone(), read))
        };
        self.all().filter_map(differs).collect()
    }
}

/// One difference in words.
pub(super) fn difference(key: Key, told: &Told, read: Option<&Told>) -> String {
    match read {
        Some(read) => format!("{key} was shown as {told}, the bytes say {read}"),
        None => format!("{key} was shown as {told}, and is found nowhere in the bytes"),
    }
}

fn number(text: &str) -> Option<Decimal> {
    Decimal::from_str(text.replace(',', ".").replace('\u{2212}', "-").trim_start_matches('+')).ok()
}

fn bases_expected(component: Component) -> &'static str {
    match component {
        Component::Horizontal => "an amount and in or out, such as 0.40 in",
        Component::Vertical => "an amount and up or down, such as 0.25 up",
        Component::Whole => {
            "an amount and its base, in, out, up, down or degrees, such as 0.50 in or 0.50 270"
        }
    }
}

fn prism(component: Component, text: &str) -> Option<Told> {
    let mut words = text.split_whitespace();
    let amount = number(words.next()?).filter(|amount| !amount.is_sign_negative() || amount.is_zero())?;
    let base = match (words.next().map(str::to_ascii_lowercase).as_deref(), component) {
        (None, _) if amount.is_zero() => None,
        (Some("in"), Component::Horizontal | Component::Whole) => Some(Base::In),
        (Some("out"), Component::Horizontal | Component::Whole) => Some(Base::Out),
        (Some("up"), Component::Vertical | Component::Whole) => Some(Base::Up),
        (Some("down"), Component::Vertical | Component::Whole) => Some(Base::Down),
        (Some(degrees), Component::Whole) => {
            let degrees = number(degrees).filter(|angle| (0..=360).contains(&angle.trunc().mantissa()))?;
            Some(Base::Towards(Degree::new(degrees)))
        }
        _ => return None,
    };
    words.next().is_none().then_some(Told::Prism { amount, base })
}

/// The direction of a base as an angle (ISO 8429), where the eye says which way is in.
pub(super) fn angle(eye: Option<Eye>, base: Base) -> Option<Decimal> {
    let degrees = match (base, eye) {
        (Base::Towards(angle), _) => {
            let angle = angle.value();
            return Some(if angle == Decimal::from(360) { Decimal::ZERO } else { angle });
        }
        (Base::Up, _) => 90,
        (Base::Down, _) => 270,
        (Base::In, Some(Eye::Right)) | (Base::Out, Some(Eye::Left)) => 0,
        (Base::Out, Some(Eye::Right)) | (Base::In, Some(Eye::Left)) => 180,
        (Base::In | Base::Out, None) => return None,
    };
    Some(Decimal::from(degrees))
}

fn same_base(eye: Option<Eye>, one: Base, other: Base) -> bool {
    one == other || angle(eye, one).is_some_and(|angle_of_one| angle(eye, other) == Some(angle_of_one))
}

fn agree(eye: Option<Eye>, read: &Told, told: &Told) -> bool {
    match (read, told) {
        (Told::Prism { amount, base }, Told::Prism { amount: shown, base: towards }) => {
            let same = match (base, towards) {
                (Some(base), Some(towards)) => same_base(eye, *base, *towards),
                _ => true,
            };
            amount == shown && (amount.is_zero() || same)
        }
        (read, told) => read == told,
    }
}

/// What `reading` says of `key`.
fn read(reading: &Reading, key: Key) -> Option<Told> {
    let lens = match key.eye {
        Some(eye) => reading.lens(eye),
        None => reading.unspecified.as_ref(),
    };
    match key.thing {
        Thing::Job => reading.job.as_ref().map(|job| Told::Text(job.as_str().to_owned())),
        Thing::Mode => {
            let lenses = [&reading.right, &reading.left, &reading.unspecified];
            lenses.into_iter().flatten().find_map(|lens| lens.mode).map(Told::Mode)
        }
        Thing::Number(quantity) => number_of(lens?, quantity).map(Told::Number),
        Thing::Prism(component) => prism_of(lens?, component),
    }
}

fn number_of(lens: &Lens, quantity: Quantity) -> Option<Decimal> {
    match quantity {
        Quantity::Sphere => lens.sphere.map(|value| value.value()),
        Quantity::Cylinder => lens.cylinder.map(|value| value.value()),
        Quantity::Axis => lens.axis.map(|value| value.value()),
        Quantity::Addition => lens.addition.map(|value| value.value()),
        Quantity::SecondAddition => lens.second_addition.map(|value| value.value()),
        Quantity::Pd => lens.pd.map(|value| value.value()),
        Quantity::NearPd => lens.near_pd.map(|value| value.value()),
        Quantity::SegmentHeight => lens.segment_height.map(|value| value.value()),
        Quantity::ReferenceHeight => lens.reference_height.map(|value| value.value()),
        Quantity::Transmittance => lens.transmittance.map(|value| value.value()),
        Quantity::PrismHorizontal | Quantity::PrismVertical | Quantity::Prism | Quantity::PrismBase => None,
    }
}

/// The prism part along `component`; of an empty list, an amount of zero.
fn prism_of(lens: &Lens, component: Component) -> Option<Told> {
    let parts = lens.prism.as_ref()?;
    let along = |base: Base| match component {
        Component::Horizontal => matches!(base, Base::In | Base::Out),
        Component::Vertical => matches!(base, Base::Up | Base::Down),
        Component::Whole => true,
    };
    let part = parts.iter().find(|part| along(part.base));
    Some(match part {
        Some(part) => Told::Prism { amount: part.amount.value(), base: Some(part.base) },
        None => Told::Prism { amount: Decimal::ZERO, base: None },
    })
}
