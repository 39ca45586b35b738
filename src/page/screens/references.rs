//! The register of reference lenses, and how each instrument stands.

use super::language::Language;
use super::{Frame, on_to, render};
use crate::bench::entry::Seq;
use crate::check::ReferenceLens;
use crate::check::reference::{CheckOutcome, day};
use crate::order::typed;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::references::{CheckState, Checked, Last, Register, Registered};
use crate::page::rights::Right;
use crate::page::session::Who;
use askama::Template;
use axum::extract::{Form, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use std::collections::BTreeMap;
use std::str::FromStr;
use std::sync::Arc;

/// What was typed, by field.
type Typed = BTreeMap<String, String>;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "references.html")]
struct References {
    frame: Frame,
    say: Language,
    register: Register,
    keeps: bool,
    asks_name: bool,
    typed: Typed,
    wrong: Option<String>,
}

/// One field of a lens.
struct Field {
    name: &'static str,
    label: &'static str,
    hint: &'static str,
    needed: bool,
    value: String,
}

impl References {
    fn fields(&self) -> Vec<Field> {
        let say = &self.say;
        [
            ("name", say.lens_name, "REF+5", true),
            ("serial", say.serial, "", true),
            ("sphere", say.sphere, "D", true),
            ("cylinder", say.cylinder, "D", false),
            ("axis", say.axis, "\u{b0}", false),
            ("prism", say.prism, say.prism_hint, false),
            ("uncertainty", say.uncertainty, "D, k = 2", false),
            ("certificate", say.certificate_word, "", false),
        ]
        .map(|(name, label, hint, needed)| Field {
            name,
            label,
            hint,
            needed,
            value: self.typed(name).to_owned(),
        })
        .into()
    }

    fn typed(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }

    fn certified(&self, registered: &Registered) -> String {
        let mut lens = registered.entry.lens.lens();
        lens.cylinder = lens.cylinder.filter(|cylinder| !cylinder.is_zero());
        self.say.measured_lens(&lens)
    }

    fn uncertainty(&self, registered: &Registered) -> String {
        let known = registered.entry.lens.uncertainty;
        known.map_or_else(String::new, |u| format!("\u{b1}{} D", self.say.number(u.value(), "D")))
    }

    fn due(&self, registered: &Registered) -> String {
        self.say.day(registered.entry.lens.due)
    }

    fn mark(&self, checked: &Checked) -> &'static str {
        match checked.state {
            CheckState::Good => "pass",
            CheckState::Due => "open",
            CheckState::Bad => "fail",
        }
    }

    fn word(&self, checked: &Checked) -> &'static str {
        match checked.state {
            CheckState::Good => self.say.check_good,
            CheckState::Due => self.say.check_due,
            CheckState::Bad => self.say.check_bad,
        }
    }

    fn outcome(&self, last: &Last) -> &'static str {
        match last.outcome {
            CheckOutcome::Good => self.say.check_good,
            CheckOutcome::Bad => self.say.check_bad,
            CheckOutcome::Incomplete => self.say.incomplete,
            CheckOutcome::LensOverdue => self.say.lens_overdue,
        }
    }

    fn time(&self, last: &Last) -> String {
        self.say.date_time(last.time)
    }
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Result<Response, Problem> {
    page(&app, &who, Typed::new(), None).await
}

async fn page(app: &App, who: &Who, typed: Typed, wrong: Option<String>) -> Result<Response, Problem> {
    let say = app.language();
    Ok(render(&References {
        frame: Frame::new(app, who, say.references).under("/instruments"),
        register: app.register(who).await?,
        keeps: who.may(Right::References),
        asks_name: who.person.is_none(),
        typed,
        wrong,
        say,
    }))
}

fn text(typed: &Typed, name: &str) -> Option<String> {
    typed.get(name).map(|text| text.trim().to_owned()).filter(|text| !text.is_empty())
}

/// The lens that was typed, or what cannot be read.
fn lens(say: &Language, typed: &Typed) -> Result<ReferenceLens, String> {
    fn number<T: FromStr>(say: &Language, typed: &Typed, name: &str) -> Result<Option<T>, String> {
        let Some(text) = text(typed, name) else { return Ok(None) };
        let number = typed::number(&text, &["D", "dpt", "deg", "\u{b0}"]);
        number.map(Some).ok_or_else(|| format!("{name}: {text:?}: {}", say.number_expected))
    }
    let missing = |name: &str| format!("{name}: {}", say.is_missing);
    let prism = match text(typed, "prism") {
        None => None,
        Some(prism) => Some(typed::prism(&prism).ok_or_else(|| say.prism_expected.to_owned())?),
    };
    let due = text(typed, "due").ok_or_else(|| missing("due"))?;
    Ok(ReferenceLens {
        name: text(typed, "name").unwrap_or_default().parse().map_err(|why| format!("name: {why}"))?,
        serial: text(typed, "serial").unwrap_or_default(),
        sphere: number(say, typed, "sphere")?.ok_or_else(|| missing("sphere"))?,
        cylinder: number(say, typed, "cylinder")?,
        axis: number(say, typed, "axis")?,
        prism,
        uncertainty: number(say, typed, "uncertainty")?,
        certificate: text(typed, "certificate"),
        due: day(&due).map_err(|why| format!("due: {why}"))?,
    })
}

pub(super) async fn add(
    State(app): State<Arc<App>>,
    who: Who,
    Form(mut typed): Form<Typed>,
) -> Result<Response, Problem> {
    typed.remove("csrf");
    let wrong = match lens(&app.language(), &typed) {
        Err(wrong) => wrong,
        Ok(lens) => match app.add_reference(&who, lens, text(&typed, "by")).await {
            Ok(_) => return Ok(on_to("/reference").into_response()),
            Err(problem) if problem.code() == StatusCode::UNPROCESSABLE_ENTITY => problem.detail,
            Err(problem) => return Err(problem),
        },
    };
    let page = page(&app, &who, typed, Some(wrong)).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

pub(super) async fn check(
    State(app): State<Arc<App>>,
    who: Who,
    Form(typed): Form<Typed>,
) -> Result<Redirect, Problem> {
    let reading = text(&typed, "reading").and_then(|text| text.parse().ok()).map(Seq);
    let reading = reading.ok_or_else(|| Problem::unusable("reading: expected the number of its entry"))?;
    let lens = text(&typed, "lens").unwrap_or_default().parse().map_err(Problem::unusable)?;
    app.say_check(&who, reading, lens, text(&typed, "by")).await?;
    Ok(on_to("/reference"))
}
