//! Entering or correcting an order by hand.
//!
//! The form's fields are the columns of an order file: what is typed becomes one line of such a
//! file and passes the same checks, and what they find is shown beside the fields.

use super::language::Language;
use super::{Frame, render};
use crate::order::{LensKind, OF_AN_EYE, Order, OrderedLens, intake};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber, PrismPart};
use askama::Template;
use axum::extract::{Form, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What the line of an order file is called towards the intake.
const AS_FILE: &str = "by hand.csv";

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Wanted {
    job: String,
}

/// What was typed, by column.
type Typed = BTreeMap<String, String>;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "order.html")]
struct OrderForm {
    frame: Frame,
    say: Language,
    typed: Typed,
    /// What is wrong, by column; that with the line as a whole under an empty one.
    wrong: BTreeMap<String, String>,
    is_correction: bool,
}

/// One field of the form.
struct Field {
    name: String,
    label: &'static str,
    value: String,
    hint: &'static str,
    wrong: Option<String>,
}

impl OrderForm {
    fn typed(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }

    fn is(&self, name: &str, value: &str) -> bool {
        self.typed(name) == value
    }

    /// A column in words.
    fn named(&self, name: &str) -> String {
        name.replace('_', " ")
    }

    fn wrong_with(&self, name: &str) -> Option<&str> {
        self.wrong.get(name).map(String::as_str)
    }

    fn eyes(&self) -> Vec<(&'static str, Vec<Field>)> {
        let say = &self.say;
        let field = |eye: Eye, column: &'static str| {
            let name = format!("{eye}_{column}");
            let (label, hint) = match column {
                "sphere" => (say.sphere, "D"),
                "cylinder" => (say.cylinder, "D"),
                "axis" => (say.axis, "\u{b0}"),
                "addition" => (say.addition, "D"),
                "second_addition" => (say.second_addition, "D"),
                "prism" => (say.prism, say.prism_hint),
                "pd" => (say.pd, "mm"),
                "near_pd" => (say.near_pd, "mm"),
                "segment_height" => (say.segment_height, "mm"),
                _ => (say.reference_height, "mm"),
            };
            let (value, wrong) = (self.typed(&name).to_owned(), self.wrong.get(&name).cloned());
            Field { name, label, value, hint, wrong }
        };
        let fields =
            |eye: Eye| (say.eye(eye), OF_AN_EYE.map(|column| field(eye, column)).into_iter().collect());
        Eye::BOTH.map(fields).into_iter().collect()
    }
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Query(Wanted { job }): Query<Wanted>,
) -> Result<Response, Problem> {
    let mut typed = Typed::from([("job".to_owned(), job.clone())]);
    let mut is_correction = false;
    if let Ok(number) = job.parse::<JobNumber>()
        && let Some((_, order)) = app.read(move |record| record.latest_order(&number)).await?
    {
        typed = as_typed(&order.order);
        is_correction = true;
    }
    Ok(form(&app, &who, typed, BTreeMap::new(), is_correction))
}

fn form(
    app: &App,
    who: &Who,
    typed: Typed,
    wrong: BTreeMap<String, String>,
    is_correction: bool,
) -> Response {
    let say = app.language();
    let title = if is_correction { say.correct_order } else { say.new_order };
    render(&OrderForm { frame: Frame::new(app, who, title).under("/jobs"), say, typed, wrong, is_correction })
}

pub(super) async fn save(
    State(app): State<Arc<App>>,
    who: Who,
    Form(mut typed): Form<Typed>,
) -> Result<Response, Problem> {
    typed.remove("csrf");
    let text = as_line(&typed).map_err(Problem::fault)?;
    let found = intake::read(AS_FILE, &text);
    if found.refused.is_empty() && found.orders.len() == 1 {
        let taken = app.take_orders(&who, AS_FILE, &text).await?;
        if let Some(order) = taken.taken.first() {
            return Ok(Redirect::to(&job_place(&order.job)).into_response());
        }
    }
    let mut wrong: BTreeMap<String, String> = BTreeMap::new();
    for refusal in found.refused {
        let already = wrong.entry(refusal.field).or_default();
        if !already.is_empty() {
            already.push_str("; ");
        }
        already.push_str(&refusal.message);
    }
    Ok((StatusCode::UNPROCESSABLE_ENTITY, form(&app, &who, typed, wrong, false)).into_response())
}

/// Where a job's page is.
pub(super) fn job_place(job: &JobNumber) -> String {
    let escaped = serde_urlencoded::to_string([("", job.as_str())]).unwrap_or_default();
    format!("/jobs/{}", escaped.trim_start_matches('=').replace('+', "%20"))
}

/// A header and a line. Blanks are not ordered.
fn as_line(typed: &Typed) -> Result<String, String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    let write = |csv: &mut csv::Writer<Vec<u8>>| -> csv::Result<()> {
        csv.write_record(typed.keys())?;
        csv.write_record(typed.values().map(|value| value.trim()))
    };
    write(&mut csv).map_err(|why| why.to_string())?;
    let bytes = csv.into_inner().map_err(|why| why.to_string())?;
    String::from_utf8(bytes).map_err(|why| why.to_string())
}

/// An order as it would be typed.
fn as_typed(order: &Order) -> Typed {
    let mut typed = Typed::from([
        ("job".to_owned(), order.job.to_string()),
        ("lens".to_owned(), order.lens.to_string()),
        ("mounted".to_owned(), if order.mounted { "yes" } else { "no" }.to_owned()),
    ]);
    for eye in Eye::BOTH {
        let Some(lens) = order.lens_for(eye) else { continue };
        for (column, value) in values(lens) {
            typed.extend(value.map(|value| (format!("{eye}_{column}"), value)));
        }
    }
    typed
}

fn values(lens: &OrderedLens) -> [(&'static str, Option<String>); 10] {
    fn text(value: Option<impl ToString>) -> Option<String> {
        value.map(|value| value.to_string())
    }
    let prism = |parts: &Vec<PrismPart>| match parts.is_empty() {
        true => "none".to_owned(),
        false => parts.iter().map(prism_part).collect::<Vec<_>>().join(" + "),
    };
    [
        ("sphere", text(lens.sphere)),
        ("cylinder", text(lens.cylinder)),
        ("axis", text(lens.axis)),
        ("addition", text(lens.addition)),
        ("second_addition", text(lens.second_addition)),
        ("prism", lens.prism.as_ref().map(prism)),
        ("pd", text(lens.pd)),
        ("near_pd", text(lens.near_pd)),
        ("segment_height", text(lens.segment_height)),
        ("reference_height", text(lens.reference_height)),
    ]
}

fn prism_part(part: &PrismPart) -> String {
    match part.base {
        crate::parsers::reading::Base::Towards(angle) => format!("{} at {angle}", part.amount),
        base => format!("{} {base}", part.amount),
    }
}

impl OrderForm {
    fn kinds(&self) -> [(String, &'static str); 3] {
        let name = |kind| match kind {
            LensKind::SingleVision => self.say.single_vision,
            LensKind::Multifocal => self.say.multifocal,
            LensKind::Progressive => self.say.progressive,
        };
        LensKind::ALL.map(|kind| (kind.to_string(), name(kind)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_that_is_typed_again_is_the_same_order() {
        let order: Order = serde_json::from_str(
            r#"{"job":"44/71, b","lens":"progressive","mounted":true,
                "right":{"sphere":-1.25,"cylinder":-0.50,"axis":90,"addition":2.00,"second_addition":1.00,
                         "prism":[{"amount":0.50,"base":"in"},{"amount":0.25,"base":37.5}],
                         "pd":31.5,"near_pd":29.5,"segment_height":18.0,"reference_height":22.0},
                "left":{"sphere":0.00,"prism":[]}}"#,
        )
        .unwrap();
        let intake = intake::read(AS_FILE, &as_line(&as_typed(&order)).unwrap());
        assert_eq!(intake.refused, []);
        assert_eq!(intake.orders[0].1, order);
    }

    #[test]
    fn what_is_wrong_is_named_by_its_field() {
        let typed = [
            ("job", "4471"),
            ("lens", "single-vision"),
            ("mounted", "no"),
            ("right_sphere", "-1,25"),
            ("right_axis", "270"),
        ];
        let typed = typed.map(|(name, value)| (name.to_owned(), value.to_owned())).into();
        let intake = intake::read(AS_FILE, &as_line(&typed).unwrap());
        let fields: Vec<&str> = intake.refused.iter().map(|refusal| refusal.field.as_str()).collect();
        assert_eq!(fields, ["right_axis", "right_cylinder"]);
    }

    #[test]
    fn a_job_is_found_whatever_is_in_its_number() {
        assert_eq!(job_place(&"44/71 b".parse().unwrap()), "/jobs/44%2F71%20b");
    }
}
