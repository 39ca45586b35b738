//! The fields of a manual reading: the same for jobs and for practice.

use super::language::Language;
use crate::bench::entry::{Purpose, SittingStart};
use crate::check::AsRead;
use crate::check::manual::Drums;
use crate::order::typed;
use crate::page::act::ManualGiven;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber};
use std::collections::BTreeMap;
use std::str::FromStr;

/// What was typed, by field.
pub(super) type Typed = BTreeMap<String, String>;
/// What is wrong, by field; that with the reading as a whole under an empty one.
pub(super) type Wrong = BTreeMap<&'static str, String>;

/// Fields that outlive a reading: the next one is of the same sitting.
const KEPT: [&str; 3] = ["by", "focimeter", "sitting"];

/// The fields as they stand.
pub(super) struct Hand {
    say: Language,
    typed: Typed,
    pub wrong: Wrong,
    /// Nobody signs in here: whoever reads says who it is.
    pub asks_name: bool,
    /// Whether the next reading is the sitting's first; nothing where it is not known who reads.
    pub is_first: Option<bool>,
}

/// One field.
pub(super) struct Field {
    pub name: &'static str,
    pub label: &'static str,
    pub hint: &'static str,
    pub value: String,
    pub wrong: Option<String>,
}

impl Hand {
    pub async fn new(app: &App, who: &Who, mut typed: Typed, wrong: Wrong) -> Result<Self, Problem> {
        let default = |typed: &mut Typed, name: &str, value: String| {
            let field = typed.entry(name.to_owned()).or_default();
            if field.trim().is_empty() {
                *field = value;
            }
        };
        default(&mut typed, "sitting", app.today());
        default(&mut typed, "focimeter", "manual".to_owned());
        let by = who.person.as_ref().map(|person| person.name.clone());
        let by = by.or_else(|| typed.get("by").filter(|by| !by.trim().is_empty()).cloned());
        let sitting = typed["sitting"].clone();
        let is_first = match by {
            Some(by) => {
                Some(app.read(move |record| record.is_first_of_sitting(by.trim(), sitting.trim())).await?)
            }
            None => None,
        };
        Ok(Self { say: app.language(), typed, wrong, asks_name: who.person.is_none(), is_first })
    }

    pub fn typed(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }

    pub fn is(&self, name: &str, value: &str) -> bool {
        self.typed(name) == value
    }

    pub fn wrong_with(&self, name: &str) -> Option<&str> {
        self.wrong.get(name).map(String::as_str)
    }

    fn field(&self, name: &'static str) -> Field {
        let say = &self.say;
        let (label, hint) = match name {
            "sphere_lines" => (say.sphere_lines, "D"),
            "cylinder_lines" => (say.cylinder_lines, say.cylinder_lines_hint),
            "wheel" => (say.wheel, "\u{b0}"),
            "near_drum" => (say.near_drum, "D"),
            "sphere" => (say.sphere, "D"),
            "cylinder" => (say.cylinder, "D"),
            "axis" => (say.axis, "\u{b0}"),
            "addition" => (say.addition, "D"),
            "prism" => (say.prism, say.hand_prism_hint),
            _ => (say.zero, say.zero_hint),
        };
        let (value, wrong) = (self.typed(name).to_owned(), self.wrong.get(name).cloned());
        Field { name, label, hint, value, wrong }
    }

    /// The drum, as it stood.
    pub fn drum(&self) -> Vec<Field> {
        ["sphere_lines", "cylinder_lines", "wheel", "near_drum"].map(|name| self.field(name)).into()
    }

    /// The same, worked out by the reader.
    pub fn worked_out(&self) -> Vec<Field> {
        ["sphere", "cylinder", "axis", "addition"].map(|name| self.field(name)).into()
    }

    pub fn prism(&self) -> Vec<Field> {
        vec![self.field("prism")]
    }

    pub fn zero(&self) -> Vec<Field> {
        vec![self.field("zero")]
    }
}

/// The fields that the next reading takes over, as the end of an address.
pub(super) fn kept(by: Option<&str>, focimeter: &str, sitting: &str) -> String {
    let values = [by.unwrap_or_default(), focimeter, sitting];
    let pairs: Vec<(&str, &str)> =
        KEPT.into_iter().zip(values).filter(|(_, value)| !value.is_empty()).collect();
    serde_urlencoded::to_string(pairs).unwrap_or_default()
}

/// Reads fields, and notes what cannot be read.
struct Cells<'t> {
    typed: &'t Typed,
    say: &'t Language,
    wrong: Wrong,
}

impl Cells<'_> {
    fn text(&self, name: &str) -> Option<&str> {
        self.typed.get(name).map(|text| text.trim()).filter(|text| !text.is_empty())
    }

    fn number<T: FromStr>(&mut self, name: &'static str) -> Option<T> {
        let text = self.text(name)?;
        let plano = text.eq_ignore_ascii_case("plano").then_some("0.00");
        let number = typed::number(plano.unwrap_or(text), &["D", "dpt", "degrees", "deg", "\u{b0}"]);
        if number.is_none() {
            self.wrong.insert(name, format!("{text:?}: {}", self.say.number_expected));
        }
        number
    }
}

/// The reading that was typed.
pub(super) fn given(
    say: &Language,
    typed: &Typed,
    purpose: Purpose,
    job: JobNumber,
    eye: Option<Eye>,
) -> Result<ManualGiven, Wrong> {
    let mut cells = Cells { typed, say, wrong: Wrong::new() };
    let lines = (cells.number("sphere_lines"), cells.number("cylinder_lines"), cells.number("wheel"));
    let drums = match lines {
        (Some(sphere_lines), cylinder_lines, wheel) => Some(Drums { sphere_lines, cylinder_lines, wheel }),
        (None, None, None) => None,
        _ => {
            cells.wrong.entry("sphere_lines").or_insert_with(|| say.sphere_lines_needed.to_owned());
            None
        }
    };
    let prism = cells.text("prism").map(typed::prism);
    if prism == Some(None) {
        cells.wrong.insert("prism", say.prism_expected.to_owned());
    }
    let zero = cells.number("zero");
    let focused = cells.text("eyepiece").is_some();
    let start = match (focused, zero) {
        (false, None) => None,
        (eyepiece_focused, Some(zero)) => Some(SittingStart { eyepiece_focused, zero }),
        (true, None) => {
            cells.wrong.entry("zero").or_insert_with(|| say.zero_needed.to_owned());
            None
        }
    };
    let read = AsRead {
        sphere: cells.number("sphere"),
        cylinder: cells.number("cylinder"),
        axis: cells.number("axis"),
        drums,
        near_drum: cells.number("near_drum"),
        addition: cells.number("addition"),
        prism: prism.flatten(),
    };
    let text = |name: &str| cells.text(name).map(str::to_owned);
    let (by, focimeter, sitting) = (text("by"), text("focimeter"), text("sitting"));
    let seen = text("seen").is_some();
    match cells.wrong.is_empty() {
        true => Ok(ManualGiven { by, focimeter, sitting, start, purpose, job, eye, seen, read }),
        false => Err(cells.wrong),
    }
}

impl Language {
    /// What was read, as it was read.
    pub fn as_read(&self, read: &AsRead) -> String {
        let d = |value: crate::parsers::units::Dioptre| self.signed(value.value(), "D");
        let mut words = Vec::new();
        if let Some(drums) = &read.drums {
            words.push(format!("{} {}", self.sphere_lines, d(drums.sphere_lines)));
            words.extend(drums.cylinder_lines.map(|lines| format!("{} {}", self.cylinder_lines, d(lines))));
            words.extend(
                drums
                    .wheel
                    .map(|wheel| format!("{} {}\u{b0}", self.wheel, self.number(wheel.value(), "deg"))),
            );
        }
        words.extend(read.near_drum.map(|near| format!("{} {}", self.near_drum, d(near))));
        let rest = crate::parsers::reading::Lens {
            sphere: read.sphere,
            cylinder: read.cylinder,
            axis: read.axis,
            addition: read.addition,
            prism: read.prism.clone(),
            ..Default::default()
        };
        let rest = self.measured_lens(&rest);
        words.extend((!rest.is_empty()).then_some(rest));
        words.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::tz::TimeZone;

    fn read(fields: &[(&str, &str)]) -> Result<ManualGiven, Wrong> {
        let typed = fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let job = "4471".parse().unwrap();
        given(&Language::new("en", TimeZone::UTC), &typed, Purpose::Production, job, Some(Eye::Right))
    }

    #[test]
    fn what_is_typed_is_what_the_command_takes() {
        let found = read(&[
            ("sphere_lines", "-1,25"),
            ("cylinder_lines", " -1.75 D"),
            ("wheel", "90\u{b0}"),
            ("near_drum", "+0.75"),
            ("prism", "2.5 at 225"),
            ("eyepiece", "yes"),
            ("zero", "0.00"),
            ("sphere", ""),
        ]);
        let found = found.unwrap();
        let lens = found.read.lens().unwrap();
        assert_eq!(
            serde_json::to_string(&lens).unwrap(),
            r#"{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"prism":[{"amount":2.5,"base":225}]}"#
        );
        assert!(found.start.unwrap().eyepiece_focused && !found.seen);
    }

    #[test]
    fn what_cannot_be_read_is_named_by_its_field() {
        let wrong = |fields: &[(&str, &str)]| read(fields).unwrap_err().into_keys().collect::<Vec<_>>();
        assert_eq!(wrong(&[("sphere", "1.2.5"), ("axis", "x")]), ["axis", "sphere"]);
        assert_eq!(wrong(&[("cylinder_lines", "1")]), ["sphere_lines"]);
        assert_eq!(wrong(&[("sphere", "1"), ("eyepiece", "yes")]), ["zero"]);
        assert_eq!(wrong(&[("sphere", "1"), ("prism", "2 sideways")]), ["prism"]);
    }
}
