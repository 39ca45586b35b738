//! Who may do what.

use super::problem::Problem;
use crate::bench::entry::{NOT_SIGNED_IN, Role};
use std::fmt;

/// Something for which a person needs the right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Right {
    /// Choose jobs, enter orders, void one's own readings, assign.
    Work,
    /// Void any reading.
    VoidAny,
    /// Override a fail.
    Override,
    /// Download from the ledger.
    Download,
    /// Keep the register of reference lenses, and say that a reading was a check.
    References,
    /// Keep the accounts.
    Accounts,
}

impl Right {
    /// Whether it comes with a role. Without sign-in a person at the station's own computer works,
    /// and can copy the ledger's file anyway; but nobody signs there, and nobody keeps accounts.
    pub fn comes_with(self, role: Option<Role>) -> bool {
        match (role, self) {
            (Some(Role::Admin), _) => true,
            (Some(Role::Quality), right) => right != Right::Accounts,
            (Some(Role::Bench), right) => right == Right::Work,
            (None, right) => !matches!(right, Right::Override | Right::Accounts),
        }
    }
}

impl fmt::Display for Right {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Right::Work => "work at the bench",
            Right::VoidAny => "void a reading that is not their own",
            Right::Override => "override a fail",
            Right::Download => "download from the ledger",
            Right::References => "keep the reference lenses",
            Right::Accounts => "keep the accounts",
        })
    }
}

/// Whether `role` may do that.
///
/// # Errors
/// Says who may.
pub fn check(role: Option<Role>, right: Right) -> Result<(), Problem> {
    if right.comes_with(role) {
        return Ok(());
    }
    let may =
        [Role::Bench, Role::Quality, Role::Admin].into_iter().filter(|role| right.comes_with(Some(*role)));
    let may: Vec<String> = may.map(|role| role.to_string()).collect();
    let role = role.map_or_else(|| NOT_SIGNED_IN.to_owned(), |role| format!("the role {role}"));
    Err(Problem::forbidden(format!("with {role} nobody may {right}; the role {} may", may.join(" or "))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_of_rights() {
        use Right::*;
        let rights = |role| {
            [Work, VoidAny, Override, Download, References, Accounts].map(|right| right.comes_with(role))
        };
        assert_eq!(rights(Some(Role::Bench)), [true, false, false, false, false, false]);
        assert_eq!(rights(Some(Role::Quality)), [true, true, true, true, true, false]);
        assert_eq!(rights(Some(Role::Admin)), [true; 6]);
        assert_eq!(rights(None), [true, true, false, true, true, false]);
    }
}
