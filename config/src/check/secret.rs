//! Passwords: where they are, never what they are; and keys that say nothing without another one.

use super::{report, value};
use crate::checked::{CREDENTIALS, Secret};
use crate::problem::{Fault, Problems};
use crate::table::{At, Found};
use std::path::{Path, PathBuf};

/// Where a user's password is, if there is one; the outer `None` after something was reported.
pub(super) fn secret(
    at: &At,
    user: &Option<Found<String>>,
    (file, variable): (&Option<Found<String>>, &Option<Found<String>>),
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Option<Secret>> {
    let has_user = user.is_some();
    let mut right = without(at, ("password_file", file), has_user, "user", problems);
    right &= without(at, ("password_env", variable), has_user, "user", problems);
    let secret = either(at, file, ("password_env", variable), beside, problems)?;
    right.then_some(secret)
}

/// Where a secret is, in a file or in a variable, if there is one; the outer `None` where both are
/// named.
pub(super) fn either(
    at: &At,
    file: &Option<Found<String>>,
    (key, variable): (&str, &Option<Found<String>>),
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Option<Secret>> {
    if let (Some(_), Some(found)) = (file, variable) {
        let wanted = "a file or a variable, not both";
        report(at, (key, found), Fault::Contradiction, wanted, problems);
        return None;
    }
    let in_file = value(file).map(|name| Secret::File(place(name, beside)));
    let in_variable = value(variable).cloned().map(Secret::Variable);
    Some(in_file.or(in_variable))
}

/// A file of the site file's: relative ones start beside it, those in the folder of credentials are left
/// for whoever knows where that is.
pub(super) fn place(name: &str, beside: &Path) -> PathBuf {
    match name.starts_with(CREDENTIALS) {
        true => PathBuf::from(name),
        false => beside.join(name),
    }
}

/// Whether a key that says nothing without another one stands beside it, or not at all.
pub(super) fn without(
    at: &At,
    (key, field): (&str, &Option<Found<String>>),
    has_other: bool,
    other: &str,
    problems: &mut Problems<'_>,
) -> bool {
    let Some(found) = field.as_ref().filter(|_| !has_other) else {
        return true;
    };
    let wanted = format!("{other} beside it");
    report(at, (key, found), Fault::Contradiction, &wanted, problems);
    false
}
