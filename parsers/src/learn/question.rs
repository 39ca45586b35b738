//! What the samples leave open, and which lens would decide it.

use super::envelope::{Ending, Envelope};
use super::field::{BaseBy, Codes, Is};
use super::lines::Plan;
use super::render::checksum_name;
use super::shown::{Key, Shown, Thing, Told};
use super::solve::Solved;
use crate::layout::{Component, Quantity};
use crate::notation::to_text;
use crate::reading::{Base, Eye};

/// Something that the samples leave open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// What is open.
    pub open: String,
    /// What to measure, or to look up, to decide it.
    pub measure: String,
    /// Whether two explanations stand beside each other, of which the proposal has taken one. If
    /// not, there is something that no sample shows; a frame that shows it may be refused.
    pub undecided: bool,
}

#[derive(Default)]
struct Questions(Vec<Question>);

impl Questions {
    fn undecided(&mut self, open: impl Into<String>, measure: impl Into<String>) {
        self.put(open.into(), measure.into(), true);
    }

    fn unseen(&mut self, open: impl Into<String>, measure: impl Into<String>) {
        self.put(open.into(), measure.into(), false);
    }

    fn put(&mut self, open: String, measure: String, undecided: bool) {
        let question = Question { open, measure, undecided };
        if !self.0.contains(&question) {
            self.0.push(question);
        }
    }
}

/// Everything that is open about a proposal.
pub(super) fn questions(
    envelope: &Envelope,
    plan: &Plan<'_>,
    lines: &[Solved<'_>],
    shown: &[Shown],
    eyeless: bool,
) -> Vec<Question> {
    let mut questions = Questions::default();
    for line in lines {
        places(line, &mut questions);
        for field in &line.fields {
            one(line, &field.is, field.eye.or(line.line_eye), shown, &mut questions);
        }
    }
    about_frames(envelope, plan, &mut questions);
    if eyeless {
        questions.undecided(
            "nothing in these bytes says for which eye a lens is, though the display does",
            "measure one lens as right and one as left; if nothing tells them apart, the program asks at each lens",
        );
    }
    let eyes: Vec<Option<Eye>> = shown.iter().flat_map(Shown::eyes).collect();
    for (eye, name) in [(Eye::Right, "right"), (Eye::Left, "left")] {
        if !eyeless && !eyes.contains(&Some(eye)) && eyes.iter().any(Option::is_some) {
            questions.unseen(format!("no {name} lens"), format!("measure one {name} lens"));
        }
    }
    signs(shown, &mut questions);
    questions.0.sort_by_key(|question| !question.undecided);
    questions.0
}

fn places(line: &Solved<'_>, questions: &mut Questions) {
    for two in &line.two_places {
        let measure = match two.swapped.filter(|other| *other != two.key) {
            Some(other) => format!("measure one lens on which {} and {other} differ", two.key),
            None => format!("measure one more lens, with another {}", two.key),
        };
        questions.undecided(format!("{} may stand at {} or at {}", two.key, two.here, two.there), measure);
    }
    if line.blanks_or_columns {
        questions.undecided(
            "the values may be told apart by their columns or by the blanks between them",
            "measure one lens of 10 D or more, and one without cylinder",
        );
    }
}

fn one(line: &Solved<'_>, is: &Is, eye: Option<Eye>, shown: &[Shown], questions: &mut Questions) {
    let form = match is {
        Is::Number { form, quantity } => Some((form, Thing::Number(*quantity))),
        Is::Amount { form, component, .. } => Some((form, Thing::Prism(*component))),
        _ => None,
    };
    if let Some((form, thing)) = form {
        let key = Key { eye, thing };
        if form.scale_open {
            questions.undecided(
                format!("how many decimals {key} has: every one shown was zero"),
                format!("measure one lens whose {key} is not zero"),
            );
        }
        if thing == Thing::Number(Quantity::Sphere) && !form.plus_seen && !form.minus_seen {
            let negative = shown.iter().flat_map(Shown::all).any(|(key, told)| {
                key.thing == thing && matches!(told, Told::Number(sphere) if sphere.is_sign_negative())
            });
            if !negative {
                questions.undecided(
                    format!("how a minus is written with {key}: none of these bytes has a sign"),
                    "measure one lens with a minus sphere",
                );
            }
        }
        if form.negated {
            questions.undecided(
                format!("{key} comes without a sign and is taken as minus, as the display showed it"),
                "measure one lens with the instrument set to plus cylinder, if it can be",
            );
        }
    }
    match is {
        Is::Amount { component, form, base: BaseBy::Sign(positive) }
            if !form.plus_seen && !form.minus_seen =>
        {
            let key = Key { eye, thing: Thing::Prism(*component) };
            questions.undecided(
                format!(
                    "where the base of {key} is said: it was {positive} in every sample, and no sign came"
                ),
                format!("measure one lens with {key} the other way"),
            );
        }
        Is::Amount { component, base: BaseBy::Letters { codes, .. }, .. }
        | Is::BaseCodes { component, codes, .. } => bases(*component, codes, questions),
        Is::Literal(text) => questions.unseen(
            format!("anything but {:?} at {}", to_text(text), place(line, is)),
            "a frame with something else there is refused; make it `is = \"keep\"` if it does not matter",
        ),
        _ => {}
    }
}

fn place(line: &Solved<'_>, is: &Is) -> String {
    line.fields
        .iter()
        .find(|field| field.is == *is)
        .map_or_else(String::new, |field| line.table.place(field.cell))
}

fn bases(component: Component, codes: &Codes<Base>, questions: &mut Questions) {
    let all: &[Base] = match component {
        Component::Horizontal => &[Base::In, Base::Out],
        Component::Vertical => &[Base::Up, Base::Down],
        Component::Whole => &[Base::In, Base::Out, Base::Up, Base::Down],
    };
    for base in all.iter().filter(|base| !codes.iter().any(|(_, known)| known == *base)) {
        questions.unseen(
            format!("no prism with its base {base}"),
            format!("measure one lens with prism base {base}"),
        );
    }
}

fn about_frames(envelope: &Envelope, plan: &Plan<'_>, questions: &mut Questions) {
    match &envelope.end {
        Ending::Bytes(_) => {}
        Ending::Length(length) => questions.undecided(
            format!(
                "whether every frame has {length} bytes, or silence ends it: nothing else ends these frames"
            ),
            "measure one lens of 10 D or more, and one without cylinder",
        ),
        Ending::Silence => questions.unseen(
            "what ends a frame but silence",
            "if a number can be cut short, look up whether the instrument can send an end byte",
        ),
    }
    for check in &envelope.other_checks {
        questions.undecided(
            format!("{} explains the checksum too", checksum_name(check)),
            "measure one more lens, a different one",
        );
    }
    if plan.kinds.len() > 1 && plan.kinds.iter().any(|kind| kind.lines.len() < 2) {
        questions.unseen("a second line of some kind: one of its kind was captured", "measure one more lens");
    }
}

/// Which signs and blanks no sample shows.
fn signs(shown: &[Shown], questions: &mut Questions) {
    let told = |quantity: Quantity| {
        let thing = Thing::Number(quantity);
        shown.iter().flat_map(Shown::all).filter(move |(key, _)| key.thing == thing).map(|(_, told)| told)
    };
    let number = |told: &Told| match told {
        Told::Number(number) => Some(*number),
        _ => None,
    };
    let spheres: Vec<_> =
        told(Quantity::Sphere).filter_map(number).filter(|sphere| !sphere.is_zero()).collect();
    if !spheres.is_empty() && spheres.iter().all(|sphere| sphere.is_sign_negative()) {
        questions.unseen("no plus sphere", "measure one lens with a plus sphere");
    }
    if !spheres.is_empty() && spheres.iter().all(|sphere| sphere.is_sign_positive()) {
        questions.unseen("no minus sphere", "measure one lens with a minus sphere");
    }
    let cylinders: Vec<&Told> = told(Quantity::Cylinder).collect();
    let none = |told: &&Told| number(told).is_none_or(|cylinder| cylinder.is_zero());
    if !cylinders.is_empty() && !cylinders.iter().any(none) {
        questions.unseen("no lens without cylinder", "measure one lens without cylinder");
    }
}
