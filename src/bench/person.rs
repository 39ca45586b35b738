//! What is recorded of people: who came and went, whose account changed, who overrode a fail.
//!
//! Never a passphrase, and nothing from which one could be found.

use super::entry::Seq;
use crate::parsers::reading::JobNumber;
use serde::{Deserialize, Serialize};
use serde_with::skip_serializing_none;
use std::fmt;

/// What a person answers for at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Works at the bench.
    Bench,
    /// Answers for the lenses being right: may also override a fail, and download.
    Quality,
    /// Looks after the station: may do everything, and keeps the accounts.
    Admin,
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Role::Bench => "bench",
            Role::Quality => "quality",
            Role::Admin => "admin",
        })
    }
}

/// A person signed in or out, or an account changed.
#[skip_serializing_none]
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PersonEntry {
    /// What happened.
    pub did: PersonDid,
    /// Whose account it is about; absent where a name was given that is nobody's. That name is
    /// not recorded: now and then it is a passphrase, typed into the wrong field.
    pub name: Option<String>,
    /// The account's role from here on.
    pub role: Option<Role>,
    /// Who did it: the person, or who changed the account.
    pub by: String,
    /// The network address it was done from, where it was done over the network.
    pub from: Option<String>,
    /// Why, in words, where it was refused.
    pub why: Option<String>,
}

/// What happened to a person's account or session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PersonDid {
    /// Signed in.
    SignedIn,
    /// Signed out.
    SignedOut,
    /// Was refused: wrong name or passphrase, or too many tries.
    Refused,
    /// The account was added.
    AccountAdded,
    /// The account's role or passphrase was changed.
    AccountChanged,
    /// The account was removed.
    AccountRemoved,
}

/// A failed verdict overridden by a person who answers for it. The verdict stays as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OverrideEntry {
    /// The verdict's entry.
    pub about: Seq,
    /// Its job.
    pub job: JobNumber,
    /// Who signed: the name that was given with the passphrase.
    pub by: String,
    /// The role in which they signed.
    pub role: Role,
    /// What the signature means, such as "released with the prescriber's consent".
    pub meaning: String,
    /// Why.
    pub reason: String,
}
