//! The machine and the log, where they can be read. Never in here: names of machines or people.

use std::fs;
use std::path::Path;
use std::process::Command;

const LOG_LINES: &str = "300";
const MASK: &str = "***";

/// Kernel, memory, room on the disk, and whether something keeps the clock.
pub(super) fn facts(store: &Path) -> String {
    let kernel = fs::read_to_string("/proc/sys/kernel/osrelease").unwrap_or_default();
    let memory = fs::read_to_string("/proc/meminfo").unwrap_or_default();
    let memory = memory.lines().filter(|line| {
        ["MemTotal", "MemAvailable", "SwapFree"]
            .iter()
            .any(|name| line.starts_with(name))
    });
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let mut lines = vec![
        format!("{} {}", std::env::consts::OS, std::env::consts::ARCH),
        format!("kernel {}", kernel.trim()),
        format!("load {}", load.trim()),
    ];
    lines.extend(memory.map(str::to_owned));
    lines.push(format!("disk of the store: {}", room(store)));
    // systemd-timesyncd leaves it there; other programs that keep the clock do not.
    let is_kept = Path::new("/run/systemd/timesync/synchronized").exists();
    lines.push(format!(
        "clock: {}",
        if is_kept { "synchronised" } else { "not known" }
    ));
    lines.join("\n")
}

#[cfg(unix)]
fn room(store: &Path) -> String {
    match rustix::fs::statvfs(store) {
        Ok(disk) => {
            let mb = |blocks: u64| blocks * disk.f_frsize / 1_000_000;
            format!("{} MB free of {} MB", mb(disk.f_bavail), mb(disk.f_blocks))
        }
        Err(error) => format!("not known: {error}"),
    }
}

#[cfg(not(unix))]
fn room(_: &Path) -> String {
    "not known".to_owned()
}

/// The last lines of the service, if there is a journal and it may be read.
pub(super) fn log() -> String {
    let journal = Command::new("journalctl")
        .args(["--unit", "noonmark", "--lines", LOG_LINES, "--no-pager"])
        .args(["--output", "short-iso", "--no-hostname"])
        .output();
    match journal {
        Ok(output) if output.status.success() => {
            without_people(&String::from_utf8_lossy(&output.stdout))
        }
        Ok(_) => "the journal cannot be read".to_owned(),
        Err(error) => format!("no journal: {}", error.kind()),
    }
}

/// The same without mail addresses.
pub(super) fn without_people(text: &str) -> String {
    let word = |word: &str| match word.contains('@') {
        true => MASK.to_owned(),
        false => word.to_owned(),
    };
    let line = |line: &str| line.split(' ').map(word).collect::<Vec<_>>().join(" ");
    text.lines().map(line).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_masked_and_the_rest_is_left() {
        let text = "mail sent to=owner@example.org id=<5@barn>\npoll failed device=barn";
        let masked = "mail sent *** ***\npoll failed device=barn";
        assert_eq!(without_people(text), masked);
    }
}
