//! What is said of entries through forms: void, assign, remark, override.

use super::on_to;
use crate::bench::entry::{Says, Seq};
use crate::page::act::Signature;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::notes::Wanted;
use axum::extract::{Form, State};
use axum::response::Redirect;
use serde::Deserialize;
use std::sync::Arc;

#[derive(Deserialize)]
#[serde(default)]
pub(super) struct Note {
    about: Seq,
    says: Says,
    /// A reason chosen with a button; it wins over `reason`, which was typed.
    preset: String,
    reason: String,
    job: String,
    eye: String,
    next: String,
}

impl Default for Note {
    fn default() -> Self {
        let empty = String::new;
        Self {
            about: Seq(0),
            says: Says::Remark,
            preset: empty(),
            reason: empty(),
            job: empty(),
            eye: empty(),
            next: empty(),
        }
    }
}

/// An eye out of a form's field; nothing where it is empty.
pub(super) fn eye(text: &str) -> Result<Option<Eye>, Problem> {
    match text {
        "" => Ok(None),
        "right" => Ok(Some(Eye::Right)),
        "left" => Ok(Some(Eye::Left)),
        other => Err(Problem::unusable(format!("eye: {other:?}: expected right or left"))),
    }
}

pub(super) async fn note(
    State(app): State<Arc<App>>,
    who: Who,
    Form(note): Form<Note>,
) -> Result<Redirect, Problem> {
    let job = Some(note.job.trim()).filter(|job| !job.is_empty());
    let wanted = match note.says {
        Says::Void => Wanted::Void,
        Says::Remark => Wanted::Remark,
        Says::Assign => Wanted::Assign {
            job: job.map(str::parse::<JobNumber>).transpose().map_err(Problem::unusable)?,
            eye: eye(&note.eye)?,
        },
    };
    let reason = if note.preset.is_empty() { note.reason } else { note.preset };
    app.note(&who, note.about, wanted, reason).await?;
    Ok(on_to(&note.next))
}

#[derive(Deserialize)]
pub(super) struct Override {
    about: Seq,
    name: String,
    passphrase: String,
    meaning: String,
    reason: String,
    #[serde(default)]
    next: String,
}

pub(super) async fn override_fail(
    State(app): State<Arc<App>>,
    who: Who,
    Form(form): Form<Override>,
) -> Result<Redirect, Problem> {
    let Override { about, name, passphrase, meaning, reason, next } = form;
    app.override_fail(&who, Signature { about, name, passphrase, meaning, reason }).await?;
    Ok(on_to(&next))
}
