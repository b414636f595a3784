//! A recording through `noonmark replay`.
//! Never in here: what should have been said.

use daemon::commands::replay::replay;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

/// The folder of recordings that are kept here.
pub fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data")
}

/// A file of the larger recordings, if they are there; says so if not.
pub fn large(file: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("NOONMARK_REALITY_DATA");
    let path = folder.map(|folder| PathBuf::from(folder).join(file));
    let found = path.filter(|path| path.is_file());
    if found.is_none() {
        println!("SKIPPED: NOONMARK_REALITY_DATA names no folder with {file}");
    }
    found
}

/// Findings of a site file's recording, as `findings.jsonl` has them.
pub fn replayed(site: &Path) -> Vec<Value> {
    let file = config::load(site).unwrap_or_else(|errors| panic!("{errors}"));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut said = Vec::new();
    replay(site, &file, folder.path(), &mut said).expect("it can be replayed");
    let lines = fs::read_to_string(folder.path().join("findings.jsonl")).expect("it was written");
    let parse = |line: &str| serde_json::from_str(line).expect("each line is JSON");
    lines.lines().map(parse).collect()
}

/// The same with the site file's text beside a recording.
pub fn replayed_text(site: &str, file: &str, csv: &str) -> Vec<Value> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::write(folder.path().join(file), csv).expect("room");
    let path = folder.path().join("site.toml");
    fs::write(&path, site).expect("room");
    replayed(&path)
}

/// A text of a finding.
pub fn text<'a>(finding: &'a Value, key: &str) -> &'a str {
    finding[key].as_str().unwrap_or("-")
}

/// One line for each finding.
pub fn list(findings: &[Value]) -> String {
    let line = |f: &Value| {
        let [kind, device, string] = ["kind", "device", "string"].map(|key| text(f, key));
        let [began, found, ended] = ["began", "found", "ended"].map(|key| text(f, key));
        let lost = &f["lost_kwh"];
        format!(
            "  {kind} {device} {string} began {began} found {found} ended {ended} lost {lost} kWh\n"
        )
    };
    findings.iter().map(line).collect()
}
