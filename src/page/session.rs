//! Sessions: who is behind a cookie.
//!
//! A cookie holds a random number and nothing else; what it stands for is kept here, in memory,
//! under the number's hash. A restart signs everybody out.

use super::people::{Account, People};
use super::problem::Problem;
use super::rights::{self, Right};
use crate::bench::entry::{NOT_SIGNED_IN, Role};
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// How many sessions are kept. Beyond it the longest unused ends.
const KEPT: usize = 4096;

/// What a session is kept under: the hash of the cookie's number.
pub type Key = [u8; 32];

/// Everybody's sessions.
#[derive(Debug)]
pub struct Sessions {
    idle: Duration,
    held: Mutex<HashMap<Key, Session>>,
}

#[derive(Debug, Clone)]
struct Session {
    /// The account as it was at sign-in; nothing before it.
    account: Option<Account>,
    csrf: String,
    begun: Timestamp,
    used: Instant,
}

/// A new session: what goes into its cookie, and who it is.
pub struct Begun {
    /// The cookie's value.
    pub cookie: String,
    /// The token that its forms have to carry.
    pub csrf: String,
}

/// 256 random bits in hexadecimal.
fn random() -> Result<String, Problem> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|why| Problem::fault(format!("no random numbers: {why}")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

fn key_of(cookie: &str) -> Key {
    Sha256::digest(cookie.as_bytes()).into()
}

impl Sessions {
    /// No sessions yet. Each ends when it is not used for `idle`.
    pub fn new(idle: Duration) -> Self {
        Self { idle, held: Mutex::default() }
    }

    fn held(&self) -> std::sync::MutexGuard<'_, HashMap<Key, Session>> {
        // A map of whole values is never half changed.
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins a session, of a person where an account is given.
    ///
    /// # Errors
    /// When the computer gives no random numbers.
    pub fn begin(&self, account: Option<Account>, time: Timestamp, now: Instant) -> Result<Begun, Problem> {
        let (cookie, csrf) = (random()?, random()?);
        let mut held = self.held();
        if held.len() >= KEPT {
            held.retain(|_, session| now.saturating_duration_since(session.used) <= self.idle);
        }
        if held.len() >= KEPT {
            // Those of nobody go first.
            let unused = held.iter().min_by_key(|(_, session)| (session.account.is_some(), session.used));
            if let Some(key) = unused.map(|(key, _)| *key) {
                held.remove(&key);
            }
        }
        held.insert(key_of(&cookie), Session { account, csrf: csrf.clone(), begun: time, used: now });
        Ok(Begun { cookie, csrf })
    }

    /// Who is behind a cookie's value; the session counts as used. A session ends with any change
    /// of its account.
    pub fn find(&self, cookie: &str, people: &People, now: Instant) -> Option<(Key, Option<Person>, String)> {
        let key = key_of(cookie);
        self.is_good(&key, people, now).then_some(())?;
        let mut held = self.held();
        let session = held.get_mut(&key)?;
        session.used = now;
        let person = session.account.as_ref().map(|account| Person {
            name: account.name.clone(),
            role: account.role,
            since: session.begun,
        });
        Some((key, person, session.csrf.clone()))
    }

    /// Whether a session still holds. It does not count as used.
    pub fn is_good(&self, key: &Key, people: &People, now: Instant) -> bool {
        let mut held = self.held();
        let Some(session) = held.get(key) else { return false };
        let in_time = now.saturating_duration_since(session.used) <= self.idle;
        let unchanged =
            session.account.as_ref().is_none_or(|account| people.find(&account.name) == Some(account));
        if !(in_time && unchanged) {
            held.remove(key);
        }
        in_time && unchanged
    }

    /// Ends a session.
    pub fn end(&self, key: &Key) {
        self.held().remove(key);
    }
}

/// A person who is signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Their name.
    pub name: String,
    /// Their role.
    pub role: Role,
    /// When they signed in.
    pub since: Timestamp,
}

/// Who asks. A handler takes it as an argument.
#[derive(Debug, Clone)]
pub struct Who {
    /// The person, where one is signed in.
    pub person: Option<Person>,
    /// The network address that they ask from.
    pub from: IpAddr,
    /// The session, where there is one.
    pub session: Option<Key>,
    /// The token that forms carry as `csrf`, and programs as `x-csrf-token`.
    pub csrf: String,
}

impl Who {
    /// Who it is, as entries say it.
    pub fn by(&self) -> &str {
        self.person.as_ref().map_or(NOT_SIGNED_IN, |person| &person.name)
    }

    /// Their role, where one is signed in.
    pub fn role(&self) -> Option<Role> {
        self.person.as_ref().map(|person| person.role)
    }

    /// Whether they may do that: for a page that leaves out what they may not.
    pub fn may(&self, right: Right) -> bool {
        right.comes_with(self.role())
    }

    /// Nothing, where they may do that.
    ///
    /// # Errors
    /// Says who may.
    pub fn needs(&self, right: Right) -> Result<(), Problem> {
        rights::check(self.role(), right)
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Who {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        parts
            .extensions
            .get::<Who>()
            .cloned()
            .ok_or_else(|| Problem::fault("a request came in past the guard"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_ends_when_unused_and_with_its_account() {
        let mut people = People::default();
        people.add("A", Role::Bench, "three dull lenses").unwrap();
        let sessions = Sessions::new(Duration::from_secs(60));
        let now = Instant::now();
        let begin =
            |people: &People| sessions.begin(people.find("A").cloned(), Timestamp::UNIX_EPOCH, now).unwrap();
        let found = |begun: &Begun, people: &People, after: u64| {
            let found = sessions.find(&begun.cookie, people, now + Duration::from_secs(after));
            found.and_then(|(_, person, _)| person).map(|person| person.name)
        };
        let begun = begin(&people);
        assert_eq!(found(&begun, &people, 50).as_deref(), Some("A"));
        assert_eq!(found(&begun, &people, 100).as_deref(), Some("A"), "it was used at 50");
        assert_eq!(found(&begun, &people, 161), None);
        let begun = begin(&people);
        let mut changed = people.clone();
        changed.set_passphrase("A", "another few words").unwrap();
        assert_eq!(found(&begun, &changed, 0), None);
        assert_eq!(found(&begun, &people, 0), None, "it does not come back");
    }

    #[test]
    fn cookies_are_random_and_are_not_kept() {
        let sessions = Sessions::new(Duration::from_secs(60));
        let begin = || sessions.begin(None, Timestamp::UNIX_EPOCH, Instant::now()).unwrap();
        let (one, other) = (begin(), begin());
        assert!(one.cookie.len() == 64 && one.cookie != other.cookie && one.csrf != other.csrf);
        assert!(!format!("{sessions:?}").contains(&one.cookie));
    }
}
