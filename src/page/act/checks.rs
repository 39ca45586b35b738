//! Manual readings, cross-checks, reference lenses and instrument checks.

use crate::bench::entry::{Numbered, Purpose, Seq, SittingStart};
use crate::check::{AsRead, ReferenceLens};
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber};
use crate::station::asked::{Asked, ManualAsked, event};
use serde::Deserialize;
use std::sync::Arc;

/// A manual reading as it is sent in.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ManualGiven {
    /// Who read, where nobody signs in.
    #[serde(default)]
    pub by: Option<String>,
    /// The manual focimeter's name; `manual` where it is left out.
    #[serde(default)]
    pub focimeter: Option<String>,
    /// The sitting; today where it is left out.
    #[serde(default)]
    pub sitting: Option<String>,
    /// Confirmed before the first reading of a sitting.
    #[serde(default)]
    pub start: Option<SittingStart>,
    /// What it is for.
    #[serde(default)]
    pub purpose: Purpose,
    /// The job whose lens it is, or the name of a reference or practice lens.
    pub job: JobNumber,
    /// For which eye the lens is, in a job.
    #[serde(default)]
    pub eye: Option<Eye>,
    /// The instrument's value was seen before, as the reader says.
    #[serde(default)]
    pub seen: bool,
    /// What was read.
    pub read: AsRead,
}

impl App {
    /// Records a manual reading, and what it comes to beside the instrument's. It is blind unless
    /// the reader says otherwise, or was shown the value here: see [`super::super::seen`].
    ///
    /// # Errors
    /// When it means no lens or does not fit the record, or may not or cannot be recorded.
    pub async fn read_by_hand(&self, who: &Who, given: ManualGiven) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::Work)?;
        let blind = !given.seen && self.seen.when(who, &given.job, given.eye).is_none();
        let asked = ManualAsked {
            by: reader(who, given.by)?,
            focimeter: given.focimeter.unwrap_or_else(|| "manual".to_owned()),
            sitting: given.sitting.unwrap_or_else(|| self.today()),
            start: given.start,
            purpose: given.purpose,
            job: given.job,
            eye: given.eye,
            blind,
            read: given.read,
        };
        self.ask(Asked::Manual(Box::new(asked))).await
    }

    /// The day, in the station's zone: what a sitting is called where nobody says otherwise.
    pub(in crate::page) fn today(&self) -> String {
        self.timezone.to_datetime(self.now()).date().to_string()
    }

    /// Compares a manual reading with what was measured meanwhile.
    ///
    /// # Errors
    /// When there is nothing new to compare, or it may not or cannot be recorded.
    pub async fn cross_check(&self, who: &Who, manual: Seq) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::Work)?;
        self.ask(Asked::CrossCheck { manual }).await
    }

    /// Puts a reference lens into the register, or a revision of one.
    ///
    /// # Errors
    /// When it cannot be a reference, or may not or cannot be recorded.
    pub async fn add_reference(
        &self,
        who: &Who,
        lens: ReferenceLens,
        by: Option<String>,
    ) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::References)?;
        let by = reader(who, by)?;
        self.ask(Asked::ReferenceLens { lens: Box::new(lens), by }).await
    }

    /// Says that a reading was taken of a reference lens.
    ///
    /// # Errors
    /// When it does not fit the record, or may not or cannot be recorded.
    pub async fn say_check(
        &self,
        who: &Who,
        reading: Seq,
        lens: JobNumber,
        by: Option<String>,
    ) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::References)?;
        let by = reader(who, by)?;
        self.ask(Asked::Check { reading, lens, by }).await
    }

    async fn ask(&self, asked: Asked) -> Result<Arc<[Numbered]>, Problem> {
        let _turn = self.one_at_a_time.lock().await;
        let event = self.read(move |record| event(record, asked)).await?;
        self.record(event).await
    }
}

/// Who it is: the person signed in, or who is named where nobody signs in.
fn reader(who: &Who, named: Option<String>) -> Result<String, Problem> {
    let named = named.map(|name| name.trim().to_owned()).filter(|name| !name.is_empty());
    match (&who.person, named) {
        (Some(person), None) => Ok(person.name.clone()),
        (Some(person), Some(name)) if name == person.name => Ok(name),
        (Some(_), Some(_)) => Err(Problem::forbidden("read under your own name, or sign in as who read")),
        (None, Some(name)) => Ok(name),
        (None, None) => Err(Problem::unusable("a name is needed: the record has to say who")),
    }
}
