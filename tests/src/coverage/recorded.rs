//! A recording with its site file, as polls for an engine.
//! Never in here: which of its slots are healthy.

use super::observe::Poll;
use analysis::plant::Plant;
use daemon::source::recording::{Recording, RecordingSettings};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A plant, and what its devices said.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// Keeping time as a replay does.
    pub plant: Arc<Plant>,
    /// In order of time.
    pub polls: Vec<Poll>,
}

/// A recording under `tests/data` by its site file; `other` is read instead of the file that it
/// names, from the same folder.
///
/// Panics if the site file or the recording cannot be read: they are part of the tests.
pub fn load_recording(site: &str, other: Option<&str>) -> Recorded {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(site);
    let file = config::load(&path).unwrap_or_else(|errors| panic!("{errors}"));
    let mut recording = file.recording.clone().expect("it has a recording");
    if let Some(other) = other {
        recording.file = recording.file.with_file_name(other);
    }
    let source: PathBuf = recording.file.with_extension("source.toml");
    assert!(source.is_file(), "{} is missing", source.display());
    let interval = recording.interval.expect("it says how far rows are apart");
    let rows = Recording::open(&RecordingSettings::of(&recording, &file.plant));
    let rows = rows.unwrap_or_else(|error| panic!("{site}: failed to {error}"));
    let polls = rows.map(|row| row.expect("readable"));
    Recorded {
        plant: Arc::new(file.replay_plant(interval)),
        polls: polls.map(|row| (row.at, row.readings)).collect(),
    }
}
