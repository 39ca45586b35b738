//! Learning a layout from captures and what the instrument's display showed.

use super::bytes::{self, Part};
use super::language::Language;
use super::layouts::from_text;
use super::{Frame, render};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::parsers::learn::{Question, Sample, Shown, learn};
use crate::parsers::reader::Reader;
use askama::Template;
use axum::extract::{Form, State};
use axum::response::Response;
use std::collections::BTreeMap;
use std::sync::Arc;

/// How many measurements a form has at first, and at most.
const SAMPLES: (usize, usize) = (4, 12);
/// How many bytes one of them may have.
const LONGEST: usize = 2048;

/// What was typed, by field.
type Typed = BTreeMap<String, String>;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "learn.html")]
struct Learn {
    frame: Frame,
    say: Language,
    name: String,
    samples: Vec<Field>,
    names: Vec<String>,
    wrong: Option<String>,
    proposal: Option<Proposed>,
}

/// One measurement in the form.
struct Field {
    number: usize,
    bytes: String,
    shown: String,
    wrong: Option<String>,
}

struct Proposed {
    text: String,
    questions: Vec<Question>,
    remarks: Vec<String>,
    /// What the layout makes of each measurement.
    read: Vec<(String, Vec<Part>)>,
}

impl Learn {
    fn new(app: &App, who: &Who, typed: &Typed) -> Self {
        let say = app.language();
        let field =
            |what: &str, number: usize| typed.get(&format!("{what}-{number}")).cloned().unwrap_or_default();
        let is_filled =
            |number: &usize| !field("bytes", *number).is_empty() || !field("shown", *number).is_empty();
        let filled = (1..=SAMPLES.1).filter(is_filled).max().unwrap_or(0);
        let fields = (1..=SAMPLES.0.max(filled + 1).min(SAMPLES.1)).map(|number| Field {
            number,
            bytes: field("bytes", number),
            shown: field("shown", number),
            wrong: None,
        });
        Self {
            frame: Frame::new(app, who, say.learn).under("/layouts"),
            name: typed.get("name").cloned().unwrap_or_default(),
            samples: fields.collect(),
            names: Shown::names(),
            wrong: None,
            proposal: None,
            say,
        }
    }
}

impl Field {
    /// What was measured; nothing where the field is empty.
    fn sample(&self, say: &Language) -> Result<Option<Sample>, String> {
        if self.bytes.is_empty() && self.shown.trim().is_empty() {
            return Ok(None);
        }
        let bytes = from_text(&self.bytes)?;
        if bytes.len() > LONGEST {
            return Err(format!("{} {LONGEST}", say.too_long));
        }
        let mut shown = Shown::default();
        for line in self.shown.lines().map(str::trim).filter(|line| !line.is_empty()) {
            let (name, value) = line.split_once([' ', '\t', '=']).unwrap_or((line, ""));
            shown.tell(name, value.trim_start_matches([' ', '\t', '='])).map_err(|why| why.to_string())?;
        }
        Ok(Some(Sample { name: format!("{} {}", say.sample, self.number), bytes, shown }))
    }
}

pub(super) async fn show(State(app): State<Arc<App>>, who: Who) -> Response {
    render(&Learn::new(&app, &who, &Typed::new()))
}

pub(super) async fn learnt(
    State(app): State<Arc<App>>,
    who: Who,
    Form(typed): Form<Typed>,
) -> Result<Response, Problem> {
    who.needs(Right::Work)?;
    let mut page = Learn::new(&app, &who, &typed);
    let mut samples = Vec::new();
    for field in &mut page.samples {
        match field.sample(&page.say) {
            Ok(sample) => samples.extend(sample),
            Err(why) => field.wrong = Some(why),
        }
    }
    if page.samples.iter().all(|field| field.wrong.is_none()) {
        let name = page.name.trim().to_owned();
        // It tries very many layouts: it takes a place among those who read the ledger, of which
        // there are few.
        let proposal =
            app.read(move |_| Ok::<_, Problem>(learn(&samples, &name).map(|found| (found, samples))));
        match proposal.await? {
            Ok((found, samples)) => {
                let text = found.text().to_owned();
                let reader = Reader::Layout(Arc::new(found.layout));
                let read = |sample: Sample| (sample.name, bytes::parts(&page.say, &reader, &sample.bytes));
                let read = samples.into_iter().map(read).collect();
                page.proposal =
                    Some(Proposed { text, questions: found.questions, remarks: found.remarks, read });
            }
            Err(why) => page.wrong = Some(why.to_string()),
        }
    }
    Ok(render(&page))
}
