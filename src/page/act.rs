//! What can be done through the page: the same for programs and for people, each with the right
//! that it needs and who did it.

mod checks;

pub use checks::ManualGiven;

use super::app::App;
use super::people::People;
use super::problem::Problem;
use super::rights::{self, Right};
use super::session::Who;
use crate::bench::entry::{Entry, Numbered, OverrideEntry, Role, Seq};
use crate::bench::event::Event;
use crate::judge::verdict::Outcome;
use crate::ledger::Reader;
use crate::order::intake;
use crate::parsers::reading::JobNumber;
use crate::station::asked;
use crate::station::notes::{Wanted, note};
use std::sync::Arc;

/// Where an order that was typed in comes from.
const BY_HAND: &str = "by hand";

/// What came of orders that were sent in.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct TakenOrders {
    /// The jobs whose orders were taken in, each with its revision; nothing where the order is on
    /// record already.
    pub taken: Vec<TakenOrder>,
    /// What was refused, and why.
    pub refused: Vec<String>,
    /// The names of what was left out and is not recorded.
    pub dropped: Vec<String>,
}

/// An order that was taken in.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct TakenOrder {
    /// The job.
    pub job: JobNumber,
    /// The revision it became; nothing where the same order was on record already.
    pub revision: Option<u32>,
}

/// A signature under an override.
#[derive(Clone, serde::Deserialize)]
pub struct Signature {
    /// The verdict's entry.
    pub about: Seq,
    /// Who signs.
    pub name: String,
    /// Their passphrase, again.
    pub passphrase: String,
    /// What the signature means.
    pub meaning: String,
    /// Why.
    pub reason: String,
}

impl App {
    /// Chooses the job at the station.
    ///
    /// # Errors
    /// When it may not or cannot be recorded.
    pub async fn choose(&self, who: &Who, job: JobNumber) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::Work)?;
        self.record(Event::Chosen { job, by: who.by().to_owned() }).await
    }

    /// Takes in orders from a text of the same form as an order file, with the same checks. `name`
    /// tells the form by its ending, as a file's name does.
    ///
    /// # Errors
    /// When it may not or cannot be recorded. What is refused in the text is no error: see
    /// [`TakenOrders`].
    pub async fn take_orders(&self, who: &Who, name: &str, text: &str) -> Result<TakenOrders, Problem> {
        who.needs(Right::Work)?;
        let intake = intake::read(name, text);
        let refused = intake.refused.iter().map(ToString::to_string).collect();
        let mut taken = Vec::new();
        for (_, order) in intake.orders {
            let job = order.job.clone();
            let (source, by, dropped) =
                (BY_HAND.to_owned(), Some(who.by().to_owned()), intake.dropped.clone());
            let entries = self.record(Event::Ordered { order: Box::new(order), source, by, dropped }).await?;
            let revision = entries.iter().find_map(|numbered| match &numbered.entry {
                Entry::Order(order) => Some(order.revision),
                _ => None,
            });
            taken.push(TakenOrder { job, revision });
        }
        Ok(TakenOrders { taken, refused, dropped: intake.dropped })
    }

    /// Says something of an entry.
    ///
    /// # Errors
    /// When it does not fit the record, or may not or cannot be recorded.
    pub async fn note(
        &self,
        who: &Who,
        about: Seq,
        wanted: Wanted,
        reason: String,
    ) -> Result<Arc<[Numbered]>, Problem> {
        who.needs(Right::Work)?;
        let _turn = self.one_at_a_time.lock().await;
        let (by, asker, is_void) = (who.by().to_owned(), who.clone(), wanted == Wanted::Void);
        let note = self
            .read(move |record| {
                let note = note(record, about, wanted, &reason, &by)?;
                if is_void && !is_own(record, about, &asker)? {
                    asker.needs(Right::VoidAny)?;
                }
                Ok::<_, Problem>(note)
            })
            .await?;
        self.record(Event::Noted(note)).await
    }

    /// Overrides a fail. The signature stands for itself: name and passphrase are looked at again.
    ///
    /// # Errors
    /// When the signature is not good, when the signer may not, when the verdict is not a fail that
    /// stands, or when it cannot be recorded.
    pub async fn override_fail(&self, who: &Who, signature: Signature) -> Result<Arc<[Numbered]>, Problem> {
        let Signature { about, name, passphrase, meaning, reason } = signature;
        if meaning.trim().is_empty() || reason.trim().is_empty() {
            return Err(Problem::unusable("say what the signature means, and why: the record has to tell"));
        }
        let (meaning, reason) = (asked::reason(&meaning)?, asked::reason(&reason)?);
        if who.person.as_ref().is_some_and(|person| person.name != name.trim()) {
            return Err(Problem::forbidden("sign with your own name, or sign in as the person who signs"));
        }
        let account = self.known(&name, passphrase, who).await?;
        rights::check(Some(account.role), Right::Override)?;
        let _turn = self.one_at_a_time.lock().await;
        let job = self.read(move |record| failed_job(record, about)).await?;
        let signed = OverrideEntry { about, job, by: account.name, role: account.role, meaning, reason };
        self.record(Event::Overridden(signed)).await
    }

    /// Adds an account, or changes the role and the passphrase of one.
    ///
    /// # Errors
    /// When it may not be, or the file cannot be changed.
    pub async fn set_account(
        &self,
        who: &Who,
        name: String,
        role: Option<Role>,
        passphrase: Option<String>,
    ) -> Result<(), Problem> {
        self.change_people(who, move |people| match (people.find(&name).is_some(), role, passphrase) {
            (false, Some(role), Some(passphrase)) => people.add(&name, role, &passphrase),
            (false, _, _) => {
                Err(super::people::PeopleError::Refused("a new account needs a role and a passphrase".into()))
            }
            (true, role, passphrase) => {
                role.map_or(Ok(()), |role| people.set_role(&name, role))?;
                passphrase.map_or(Ok(()), |passphrase| people.set_passphrase(&name, &passphrase))
            }
        })
        .await
    }

    /// Removes an account.
    ///
    /// # Errors
    /// When it may not be, when it is one's own, or the file cannot be changed.
    pub async fn remove_account(&self, who: &Who, name: String) -> Result<(), Problem> {
        if who.by() == name {
            return Err(Problem::unusable("nobody removes their own account: let another admin do it"));
        }
        self.change_people(who, move |people| people.remove(&name)).await
    }

    async fn change_people(
        &self,
        who: &Who,
        change: impl FnOnce(&mut People) -> Result<(), super::people::PeopleError> + Send + 'static,
    ) -> Result<(), Problem> {
        who.needs(Right::Accounts)?;
        let _turn = self.one_at_a_time.lock().await;
        let path = self.page.people.clone();
        let people = tokio::task::spawn_blocking(move || People::change(&path, change))
            .await
            .map_err(Problem::fault)??;
        self.take_people(people, who.by(), Some(who.from.to_string())).await
    }
}

/// A reading is somebody's own when it came in since they signed in, or names them; one by hand only
/// when they read it.
fn is_own(record: &Reader, about: Seq, who: &Who) -> Result<bool, Problem> {
    let Some(person) = &who.person else { return Ok(false) };
    Ok(record.entry(about)?.is_some_and(|numbered| {
        let named = match &numbered.entry {
            Entry::Reading(reading) => reading.reading.operator.as_deref() == Some(&person.name),
            Entry::Manual(manual) => return manual.by == person.name,
            _ => false,
        };
        named || numbered.time >= person.since
    }))
}

/// The job of a failed verdict that stands.
fn failed_job(record: &Reader, about: Seq) -> Result<JobNumber, Problem> {
    let verdict = match record.entry(about)?.map(|numbered| numbered.entry) {
        Some(Entry::Verdict(verdict)) => verdict,
        Some(other) => {
            return Err(Problem::unusable(format!("entry {about} is a {}, not a verdict", other.kind())));
        }
        None => return Err(Problem::not_found(format!("there is no entry {about}"))),
    };
    if verdict.outcome != Outcome::Fail {
        return Err(Problem::unusable(format!(
            "verdict {about} is {}: only a fail is overridden",
            verdict.outcome
        )));
    }
    if let Some(why) = &verdict.held {
        return Err(Problem::unusable(format!(
            "verdict {about} is held back, so nobody acts on it yet: {why}"
        )));
    }
    for later in record.job_history(&verdict.job)?.iter().filter(|later| later.seq > about) {
        match &later.entry {
            Entry::Verdict(other) if other.job == verdict.job => {
                return Err(Problem::unusable(format!(
                    "verdict {about} does not stand: entry {} is a later one",
                    later.seq
                )));
            }
            Entry::Override(signed) if signed.about == about => {
                return Err(Problem::unusable(format!(
                    "verdict {about} is overridden already, by {}",
                    signed.by
                )));
            }
            _ => {}
        }
    }
    Ok(verdict.job)
}
