//! `[alerts]`: who is told, when, and how mails leave.

use super::machines::{Machines, is_loopback, told_from};
use super::secret::{place, secret, without};
use super::source::address_at;
use super::{list, report, value};
use crate::checked::{Alerts, MailSecurity, MailServer, QuietHours, Reader, Role};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::{At, Found, Table};
use analysis::detect::Severity;
use analysis::reading::Span;
use chrono::NaiveTime;
use email_address::{EmailAddress, Options};
use std::path::Path;

/// The port of encrypted submission (RFC 8314); at any other one encryption starts later.
const TLS_PORT: u16 = 465;
const SUBMISSION_PORT: u16 = 587;

/// Nobody is told where there is no such table.
pub(super) fn alerts(
    alerts: &Option<Found<raw::Alerts>>,
    machines: Option<Machines>,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Alerts> {
    let Some(raw) = value(alerts) else {
        return Some(Alerts::nobody());
    };
    let quiet = quiet_hours(raw, problems);
    let mail = raw.mail.as_ref();
    let server = mail.map(|found| server(&found.value, beside, problems));
    let page = page(raw, problems);
    let readers = readers(list(&raw.reader), problems);
    let one_alone = match (mail, &raw.reader) {
        (Some(mail), None) => Some((&mail.span, "mail", "a [[alerts.reader]] beside it")),
        (None, Some(reader)) => Some((&reader.span, "reader", "[alerts.mail] beside it")),
        (Some(_), Some(_)) | (None, None) => None,
    };
    if let Some((span, key, wanted)) = one_alone {
        let path = raw.at().key(key);
        problems.add(Fault::Contradiction, span, path, "it alone", wanted);
        return None;
    }
    let machines = machines?;
    let remind_after_h = *value(&raw.remind_after_h)?;
    Some(Alerts {
        quiet: quiet?,
        summary_at: value(&raw.summary_at).map_or(Alerts::SUMMARY_AT, |time| *time),
        remind_after: Span::from_s((remind_after_h * 3600.0).round() as i64),
        page: page?,
        mail: match server {
            Some(server) => Some(server?),
            None => None,
        },
        readers: readers?,
        webhooks: machines.webhooks,
        mqtt: machines.mqtt,
    })
}

/// The outer `None` after something was reported.
fn page(raw: &raw::Alerts, problems: &mut Problems<'_>) -> Option<Option<String>> {
    let Some(found) = &raw.page else {
        return Some(None);
    };
    let host = found.value.strip_prefix("https://");
    let host = host.or_else(|| found.value.strip_prefix("http://"));
    let plain = |c: char| c.is_ascii_alphanumeric() || ".-_:[]".contains(c);
    let host = host.map(|host| host.strip_suffix('/').unwrap_or(host));
    if host.is_some_and(|host| !host.is_empty() && host.chars().all(plain)) {
        return Some(Some(found.value.trim_end_matches('/').to_owned()));
    }
    let wanted = "scheme and host alone, as \"https://barn.example.org\"";
    report(
        raw.at(),
        ("page", found),
        Fault::WrongType,
        wanted,
        problems,
    );
    None
}

/// The outer `None` after something was reported.
fn quiet_hours(raw: &raw::Alerts, problems: &mut Problems<'_>) -> Option<Option<QuietHours>> {
    let (key, other, found) = match (&raw.quiet_from, &raw.quiet_to) {
        (None, None) => return Some(None),
        (Some(from), Some(to)) if from.value != to.value => {
            let (from, to) = (from.value, to.value);
            return Some(Some(QuietHours { from, to }));
        }
        (Some(_), Some(to)) => {
            let found = format!("text {:?}", shown(to.value));
            let wanted = "another time than quiet_from";
            let path = raw.at().key("quiet_to");
            problems.add(Fault::Contradiction, &to.span, path, found, wanted);
            return None;
        }
        (Some(from), None) => ("quiet_from", "quiet_to", from),
        (None, Some(to)) => ("quiet_to", "quiet_from", to),
    };
    let (text, wanted) = (shown(found.value), format!("{other} beside it"));
    let (path, text) = (raw.at().key(key), format!("text {text:?}"));
    problems.add(Fault::Contradiction, &found.span, path, text, wanted);
    None
}

fn shown(time: NaiveTime) -> String {
    time.format("%H:%M").to_string()
}

fn server(raw: &raw::MailServer, beside: &Path, problems: &mut Problems<'_>) -> Option<MailServer> {
    let at = raw.at();
    let address = raw
        .server
        .as_ref()
        .and_then(|found| address_at(found, at.key("server"), SUBMISSION_PORT, problems));
    let from = email(&raw.from, at, "from", problems);
    let words = (&raw.password_file, &raw.password_env);
    let password = secret(at, &raw.user, words, beside, problems);
    let is_tls_port = address.as_ref().is_some_and(|a| a.port == TLS_PORT);
    let security = match value(&raw.security).map(String::as_str) {
        Some("none") => MailSecurity::None,
        Some("tls") => MailSecurity::Tls,
        None if is_tls_port => MailSecurity::Tls,
        Some(_) | None => MailSecurity::StartTls,
    };
    let encrypted = security != MailSecurity::None;
    let ca = ("ca_file", &raw.ca_file);
    let mut right = without(
        at,
        ca,
        encrypted,
        "security = \"tls\" or \"starttls\"",
        problems,
    );
    let is_here = address.as_ref().is_some_and(|a| is_loopback(&a.host));
    if let (Some(user), false, false) = (&raw.user, encrypted, is_here) {
        let wanted = "security = \"tls\" or \"starttls\": a password is not sent in the clear";
        report(at, ("user", user), Fault::Contradiction, wanted, problems);
        right = false;
    }
    let (address, from, password) = (address?, from?, password?);
    right.then(|| MailServer {
        address,
        security,
        user: value(&raw.user).cloned(),
        password,
        ca_file: value(&raw.ca_file).map(|name| place(name, beside)),
        from,
    })
}

fn readers(tables: &[raw::Reader], problems: &mut Problems<'_>) -> Option<Vec<Reader>> {
    let mut readers: Vec<Reader> = Vec::new();
    let mut right = true;
    for raw in tables {
        let (Some(reader), Some(found)) = (reader(raw, problems), &raw.email) else {
            right = false;
            continue;
        };
        if readers.iter().any(|other| other.email == reader.email) {
            let (path, text) = (
                raw.at().key("email"),
                format!("text {:?} again", found.value),
            );
            problems.add(
                Fault::Duplicate,
                &found.span,
                path,
                text,
                "each reader once",
            );
            right = false;
        }
        readers.push(reader);
    }
    right.then_some(readers)
}

fn reader(raw: &raw::Reader, problems: &mut Problems<'_>) -> Option<Reader> {
    let email = email(&raw.email, raw.at(), "email", problems)?;
    let role = match value(&raw.role)?.as_str() {
        "owner" => Role::Owner,
        "technician" => Role::Technician,
        _ => Role::Installer,
    };
    Some(Reader {
        name: value(&raw.name)?.clone(),
        email,
        role,
        told_from: told_from(&raw.told_from, Severity::Soon),
        most_per_day: *value(&raw.most_per_day)?,
    })
}

/// A plain address, without a name.
fn email(
    field: &Option<Found<String>>,
    at: &At,
    key: &str,
    problems: &mut Problems<'_>,
) -> Option<String> {
    let found = field.as_ref()?;
    let plain = Options::default().without_display_text();
    if EmailAddress::parse_with_options(&found.value, plain).is_ok() {
        return Some(found.value.clone());
    }
    let wanted = "a mail address, as \"office@example.org\"";
    report(at, (key, found), Fault::WrongType, wanted, problems);
    None
}
