//! People's accounts: a file beside the ledger, with a name, a role and an argon2id hash each.
//!
//! It is changed as a whole, under a lock: by the `people` command and by the page. Who can
//! write it can become anybody, so it is for the station's user alone (mode 0600).

use crate::bench::entry::{NOT_SIGNED_IN, PersonDid, Role};
use crate::ledger::beside;
use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// A passphrase has at least so many characters.
pub const SHORTEST: usize = 10;
/// A passphrase has at most so many bytes.
const LONGEST: usize = 1024;

/// Why accounts cannot be read or changed.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// The file cannot be used as it is.
    #[error("{path}: {why}", path = .path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The change cannot be made.
    #[error("{0}")]
    Refused(String),
}

fn refused<T>(why: impl Into<String>) -> Result<T, PeopleError> {
    Err(PeopleError::Refused(why.into()))
}

/// One person's account.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Account {
    /// The name to sign in with.
    pub name: String,
    /// What the person answers for.
    pub role: Role,
    /// The passphrase's argon2id hash in PHC form.
    passphrase: String,
}

impl fmt::Debug for Account {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.name, self.role)
    }
}

impl Account {
    /// Whether this is the passphrase. Slow by design: not for a thread that others wait for.
    pub fn is_passphrase(&self, passphrase: &str) -> bool {
        verifies(&self.passphrase, passphrase)
    }
}

fn verifies(hash: &str, passphrase: &str) -> bool {
    passphrase.len() <= LONGEST
        && PasswordHash::new(hash)
            .is_ok_and(|hash| Argon2::default().verify_password(passphrase.as_bytes(), &hash).is_ok())
}

/// Takes as long as looking at a passphrase of an account: so that the time does not tell whether
/// a name is anybody's.
pub fn look_at_nobodys(passphrase: &str) {
    static NOBODYS: LazyLock<String> = LazyLock::new(|| hash("nobody's passphrase").unwrap_or_default());
    verifies(&NOBODYS, passphrase);
}

fn hash(passphrase: &str) -> Result<String, PeopleError> {
    match Argon2::default().hash_password(passphrase.as_bytes()) {
        Ok(hash) => Ok(hash.to_string()),
        Err(why) => refused(format!("the passphrase cannot be taken: {why}")),
    }
}

/// The hash of a new passphrase.
fn new_hash(passphrase: &str) -> Result<String, PeopleError> {
    if passphrase.chars().count() < SHORTEST || passphrase.len() > LONGEST {
        return refused(format!(
            "the passphrase: expected {SHORTEST} characters or more; several words do well"
        ));
    }
    hash(passphrase)
}

/// Everybody who has an account.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct People {
    #[serde(default, rename = "person")]
    persons: Vec<Account>,
}

impl People {
    /// Reads the accounts at `path`; there are none where there is no file.
    ///
    /// # Errors
    /// When the file cannot be read or is not one of accounts.
    pub fn load(path: &Path) -> Result<Self, PeopleError> {
        let wrong = |why: String| PeopleError::File { path: path.to_owned(), why };
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(why) if why.kind() == ErrorKind::NotFound => return Ok(Self::default()),
            Err(why) => return Err(wrong(format!("cannot be read: {why}"))),
        };
        // The message without the text around it: that would be a hash now and then.
        let people: Self = toml::from_str(&text).map_err(|why| {
            let line = why.span().map_or(1, |span| text[..span.start].matches('\n').count() + 1);
            wrong(format!("line {line}: not a file of accounts: {}", why.message()))
        })?;
        for account in &people.persons {
            if PasswordHash::new(&account.passphrase).is_err() {
                let name = &account.name;
                return Err(wrong(format!(
                    "the passphrase of {name} is no argon2id hash; set it with `fociline people passphrase`"
                )));
            }
        }
        Ok(people)
    }

    /// Changes the accounts at `path` under a lock; gives them as they stand after it. Nothing is
    /// written where `change` refuses.
    ///
    /// # Errors
    /// When the file cannot be read or written, or `change` refuses.
    pub fn change(
        path: &Path,
        change: impl FnOnce(&mut Self) -> Result<(), PeopleError>,
    ) -> Result<Self, PeopleError> {
        let wrong = |why: io::Error| PeopleError::File { path: path.to_owned(), why: why.to_string() };
        let lock = File::create(beside(path, ".lock")).map_err(wrong)?;
        lock.lock().map_err(wrong)?;
        let mut people = Self::load(path)?;
        change(&mut people)?;
        people.write(path).map_err(wrong)?;
        Ok(people)
    }

    /// Replaces the file in one step, so that a reader sees the old one or the new one.
    fn write(&self, path: &Path) -> io::Result<()> {
        let text = toml::to_string(self).map_err(io::Error::other)?;
        let new = beside(path, ".new");
        let mut file = OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&new)?;
        file.write_all(b"# Written by `fociline people`: who may sign in at the station's page.\n\n")?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(new, path)
    }

    /// Whether nobody has an account.
    pub fn is_empty(&self) -> bool {
        self.persons.is_empty()
    }

    /// Everybody, in the order of the file.
    pub fn iter(&self) -> impl Iterator<Item = &Account> {
        self.persons.iter()
    }

    /// The account of this name.
    pub fn find(&self, name: &str) -> Option<&Account> {
        self.persons.iter().find(|account| account.name == name)
    }

    fn find_mut(&mut self, name: &str) -> Result<&mut Account, PeopleError> {
        match self.persons.iter_mut().find(|account| account.name == name) {
            Some(account) => Ok(account),
            None => refused(format!("nobody is called {name:?} here")),
        }
    }

    /// Adds an account.
    ///
    /// # Errors
    /// When the name is taken or cannot be one, or the passphrase is too short.
    pub fn add(&mut self, name: &str, role: Role, passphrase: &str) -> Result<(), PeopleError> {
        let name = name.trim();
        let fits = (1..=64).contains(&name.chars().count()) && !name.chars().any(char::is_control);
        if !fits || name == NOT_SIGNED_IN {
            return refused("the name: expected 1 to 64 characters without control characters");
        }
        if self.find(name).is_some() {
            return refused(format!("{name} has an account already"));
        }
        self.persons.push(Account { name: name.to_owned(), role, passphrase: new_hash(passphrase)? });
        Ok(())
    }

    /// Removes an account.
    ///
    /// # Errors
    /// When there is none of that name.
    pub fn remove(&mut self, name: &str) -> Result<(), PeopleError> {
        self.find_mut(name)?;
        self.persons.retain(|account| account.name != name);
        Ok(())
    }

    /// Sets another passphrase. Sessions that were begun with the earlier one end.
    ///
    /// # Errors
    /// When there is no account of that name, or the passphrase is too short.
    pub fn set_passphrase(&mut self, name: &str, passphrase: &str) -> Result<(), PeopleError> {
        let account = self.find_mut(name)?;
        account.passphrase = new_hash(passphrase)?;
        Ok(())
    }

    /// Gives another role.
    ///
    /// # Errors
    /// When there is no account of that name.
    pub fn set_role(&mut self, name: &str, role: Role) -> Result<(), PeopleError> {
        self.find_mut(name)?.role = role;
        Ok(())
    }

    /// What has changed from here to `later`: for the record.
    pub fn changes(&self, later: &Self) -> Vec<(PersonDid, Account)> {
        let was = |account: &&Account| later.find(&account.name).is_none();
        let removed = self.persons.iter().filter(was).map(|gone| (PersonDid::AccountRemoved, gone.clone()));
        let changed = later.persons.iter().filter_map(|account| match self.find(&account.name) {
            None => Some((PersonDid::AccountAdded, account.clone())),
            Some(before) if before != account => Some((PersonDid::AccountChanged, account.clone())),
            Some(_) => None,
        });
        removed.chain(changed).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORDS: &str = "three dull lenses";

    #[test]
    fn an_account_goes_through_the_file_and_is_known_by_its_passphrase() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("people.toml");
        People::change(&path, |people| people.add(" R. Tarn ", Role::Quality, WORDS)).unwrap();
        let people = People::load(&path).unwrap();
        let account = people.find("R. Tarn").unwrap();
        assert_eq!(account.role, Role::Quality);
        assert!(account.is_passphrase(WORDS) && !account.is_passphrase("three dull lens"));
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("$argon2id$") && !text.contains(WORDS));
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(!format!("{people:?}").contains("argon2"));
    }

    #[test]
    fn what_cannot_be_is_refused_and_the_file_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("people.toml");
        let add =
            |name: &str, words: &str| People::change(&path, |people| people.add(name, Role::Bench, words));
        add("A", WORDS).unwrap();
        for (name, words) in
            [("A", WORDS), ("", WORDS), ("B\n", "short"), (NOT_SIGNED_IN, WORDS), ("B", "too short")]
        {
            assert!(matches!(add(name, words), Err(PeopleError::Refused(_))), "{name:?}");
        }
        assert_eq!(People::load(&path).unwrap().iter().count(), 1);
        std::fs::write(&path, "[[person]]\nname = \"A\"\nrole = \"chief\"\npassphrase = \"$argon2id$x\"\n")
            .unwrap();
        let why = People::load(&path).unwrap_err().to_string();
        assert!(why.contains("line 3") && !why.contains("argon2id$x"), "{why}");
    }

    #[test]
    fn changes_are_told_apart() {
        let mut before = People::default();
        before.add("A", Role::Bench, WORDS).unwrap();
        before.add("B", Role::Bench, WORDS).unwrap();
        let mut after = before.clone();
        after.remove("A").unwrap();
        after.set_role("B", Role::Admin).unwrap();
        after.add("C", Role::Bench, WORDS).unwrap();
        let did: Vec<_> =
            before.changes(&after).into_iter().map(|(did, account)| (did, account.name)).collect();
        let expected = [
            (PersonDid::AccountRemoved, "A"),
            (PersonDid::AccountChanged, "B"),
            (PersonDid::AccountAdded, "C"),
        ];
        assert_eq!(did, expected.map(|(did, name)| (did, name.to_owned())));
        let mut other = after.clone();
        other.set_passphrase("C", "another few words").unwrap();
        assert_eq!(after.changes(&other).len(), 1, "a new passphrase is a change");
    }
}
