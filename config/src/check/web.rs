//! `[web]`: where the page is, and who may see it.

use super::secret::{either, place, without};
use super::{report, value};
use crate::checked::Web;
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::{Found, Table};
use std::net::{IpAddr, SocketAddr};
use std::path::Path;

/// On this machine alone where there is no such table; the outer `None` after a problem.
pub(super) fn web(
    web: &Option<Found<raw::Web>>,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<Option<Web>> {
    match value(web) {
        None => Some(Some(Web {
            listen: raw::LISTEN.parse().expect("the default is right"),
            is_stated: false,
            host: None,
            technician: None,
            reader: None,
            identity: None,
            trusted_proxy: None,
        })),
        Some(raw) => stated(raw, beside, problems),
    }
}

fn stated(raw: &raw::Web, beside: &Path, problems: &mut Problems<'_>) -> Option<Option<Web>> {
    if value(&raw.listen).is_some_and(|listen| listen == "off") {
        return Some(None);
    }
    let listen = listen(raw, problems);
    let trusted_proxy = trusted_proxy(raw, problems);
    let host = host(raw, problems);
    let (at, certificate, key) = (raw.at(), &raw.certificate_file, &raw.key_file);
    let (has_certificate, has_key) = (certificate.is_some(), key.is_some());
    let both = [
        (("certificate_file", certificate), has_key, "key_file"),
        (("key_file", key), has_certificate, "certificate_file"),
    ];
    let mut right = true;
    for (this, has_other, other) in both {
        right &= without(at, this, has_other, other, problems);
    }
    let env = ("password_env", &raw.password_env);
    let technician = either(at, &raw.password_file, env, beside, problems);
    let env = ("reader_password_env", &raw.reader_password_env);
    let reader = either(at, &raw.reader_password_file, env, beside, problems);
    right &= with_password(raw, problems);
    let listen = listen?;
    right &= open_to_others(raw, listen, problems);
    if !right {
        return None;
    }
    let path = |field: &Option<Found<String>>| value(field).map(|name| place(name, beside));
    Some(Some(Web {
        listen,
        is_stated: true,
        host: host?,
        technician: technician?,
        reader: reader?,
        identity: path(certificate).zip(path(key)),
        trusted_proxy: trusted_proxy?,
    }))
}

/// Readers cannot be led to a page that is switched off.
pub(super) fn is_led_to(
    alerts: &Option<Found<raw::Alerts>>,
    web: &Option<Found<raw::Web>>,
    problems: &mut Problems<'_>,
) {
    let is_off = value(web).and_then(|web| value(&web.listen));
    let is_off = is_off.is_some_and(|listen| listen == "off");
    let Some(alerts) = value(alerts).filter(|_| is_off) else {
        return;
    };
    if let Some(found) = &alerts.page {
        let wanted = "no such key with [web] listen = \"off\", or a page that is on";
        report(
            alerts.at(),
            ("page", found),
            Fault::Contradiction,
            wanted,
            problems,
        );
    }
}

fn listen(raw: &raw::Web, problems: &mut Problems<'_>) -> Option<SocketAddr> {
    let Some(found) = &raw.listen else {
        return raw::LISTEN.parse().ok();
    };
    let address = found.value.parse().ok();
    if address.is_none() {
        let wanted = "the number of one of this machine's addresses and a port, as 127.0.0.1:7463 or \
                      0.0.0.0:7463, or off";
        report(
            raw.at(),
            ("listen", found),
            Fault::WrongType,
            wanted,
            problems,
        );
    }
    address
}

/// As browsers state it, without scheme and port: anything else would never be asked for. The outer
/// `None` after something was reported.
fn host(raw: &raw::Web, problems: &mut Problems<'_>) -> Option<Option<String>> {
    let Some(found) = &raw.host else {
        return Some(None);
    };
    let name = found.value.to_lowercase();
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
    let is_label = |label: &str| !label.is_empty() && label.chars().all(plain);
    if let Ok(number) = name.parse::<IpAddr>() {
        return Some(Some(number.to_string()));
    }
    if name.split('.').all(is_label) {
        return Some(Some(name));
    }
    let wanted = "a host name or number alone, as \"barn.example.org\"";
    report(
        raw.at(),
        ("host", found),
        Fault::WrongType,
        wanted,
        problems,
    );
    None
}

fn trusted_proxy(raw: &raw::Web, problems: &mut Problems<'_>) -> Option<Option<IpAddr>> {
    let Some(found) = &raw.trusted_proxy else {
        return Some(None);
    };
    let address = found.value.parse().ok();
    if address.is_none() {
        let wanted = "the number of its address, as 192.0.2.5";
        report(
            raw.at(),
            ("trusted_proxy", found),
            Fault::WrongType,
            wanted,
            problems,
        );
    }
    // One and the same, however it is written.
    address.map(|address: IpAddr| Some(address.to_canonical()))
}

/// What makes no sense where everybody may see and do everything.
fn with_password(raw: &raw::Web, problems: &mut Problems<'_>) -> bool {
    if has_password(raw) {
        return true;
    }
    let keys = [
        ("host", &raw.host),
        ("reader_password_file", &raw.reader_password_file),
        ("reader_password_env", &raw.reader_password_env),
        ("trusted_proxy", &raw.trusted_proxy),
    ];
    let mut right = true;
    for (key, found) in keys
        .into_iter()
        .filter_map(|(key, f)| Some((key, f.as_ref()?)))
    {
        let wanted = "password_file or password_env beside it";
        report(
            raw.at(),
            (key, found),
            Fault::Contradiction,
            wanted,
            problems,
        );
        right = false;
    }
    right
}

/// Whoever reaches the page could read and answer everything.
fn open_to_others(raw: &raw::Web, listen: SocketAddr, problems: &mut Problems<'_>) -> bool {
    let Some(found) = raw.listen.as_ref().filter(|_| !listen.ip().is_loopback()) else {
        return true;
    };
    let is_encrypted = raw.certificate_file.is_some() || raw.trusted_proxy.is_some();
    let needs = [
        (
            has_password(raw),
            "a password (password_file or password_env)",
        ),
        (
            is_encrypted,
            "encryption (certificate_file and key_file, or trusted_proxy)",
        ),
    ];
    let mut right = true;
    for (_, what) in needs.into_iter().filter(|(is_there, _)| !is_there) {
        let wanted = format!("{what} beside an address that others can reach");
        report(
            raw.at(),
            ("listen", found),
            Fault::Contradiction,
            &wanted,
            problems,
        );
        right = false;
    }
    right
}

fn has_password(raw: &raw::Web) -> bool {
    raw.password_file.is_some() || raw.password_env.is_some()
}
