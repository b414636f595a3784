//! What the store says: whether it is sound, what was done to it, findings, and when each device was heard
//! last. Never in here: what people wrote.

use crate::clock::Clock;
use crate::commands::at_store::store_file;
use crate::commands::verify::verify;
use crate::store::{Layout, Store, StoreError};
use crate::text;
use analysis::reading::{Span, Time};
use config::checked::SiteFile;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

/// So many of the last findings, and of the last lines of what was done to the store.
const FINDINGS: usize = 40;
const AUDIT: usize = 60;
/// A device is looked for so far back.
const HEARD_WITHIN: Span = Span::from_h(48);

/// All of it; what cannot be read says why.
pub(super) fn state(path: &Path, site: &SiteFile, clock: Clock) -> String {
    let file = store_file(path);
    let bytes = std::fs::metadata(&file).map(|data| data.len());
    let mut text = match bytes {
        Ok(bytes) => format!("{bytes} bytes, layout {}\n", Store::LAYOUT_VERSION),
        Err(error) => return format!("not there: {}", error.kind()),
    };
    let mut verified = Vec::new();
    if let Err(error) = verify(path, &mut verified) {
        writeln!(text, "failed to {error}").expect("memory takes it");
    }
    text += &String::from_utf8_lossy(&verified);
    match contents(&file, site, clock) {
        Ok(contents) => text + &contents,
        Err(error) => text + &format!("failed to {error}"),
    }
}

fn contents(file: &Path, site: &SiteFile, clock: Clock) -> Result<String, StoreError> {
    let store = Store::open_to_read(file, &Layout::of(&site.plant))?;
    let mut text = String::new();
    let mut line = |words: std::fmt::Arguments<'_>| {
        writeln!(text, "{words}").expect("memory takes it");
    };
    if let Some((first, last)) = store.span()? {
        line(format_args!(
            "slots from {} to {}",
            stamp(first),
            stamp(last)
        ));
    }
    line(format_args!("\nlast heard"));
    for (device, heard) in heard(&store, site, clock.now())? {
        let heard = heard.map_or_else(|| "not for two days".to_owned(), stamp);
        line(format_args!("{device}: {heard}"));
    }
    let findings = store.findings()?;
    line(format_args!("\nfindings ({} in all)", findings.len()));
    for finding in &findings[findings.len().saturating_sub(FINDINGS)..] {
        line(format_args!("{}", text::line(finding, site.timezone)));
    }
    let audit = store.audit()?;
    line(format_args!("\ndone to the store"));
    for done in &audit[audit.len().saturating_sub(AUDIT)..] {
        // The subject may be a path, a person, or what a person said.
        line(format_args!("{} {}", stamp(done.at), done.event));
    }
    Ok(text)
}

fn heard(
    store: &Store,
    site: &SiteFile,
    now: Time,
) -> Result<BTreeMap<String, Option<Time>>, StoreError> {
    let mut heard = BTreeMap::new();
    for (id, channel) in site.plant.channels.iter() {
        let readings = store.readings(id, now - HEARD_WITHIN, now)?;
        let last = readings.iter().map(|reading| reading.at).max();
        let of_device = heard.entry(channel.device.to_string()).or_insert(None);
        *of_device = last.max(*of_device);
    }
    Ok(heard)
}

fn stamp(at: Time) -> String {
    let date = chrono::DateTime::from_timestamp_millis(at.unix_ms());
    date.map_or_else(String::new, |date| {
        date.format("%Y-%m-%dT%H:%M:%SZ").to_string()
    })
}
