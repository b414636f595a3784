//! What `check` prints for the example sites and for a wrong file.

use daemon::commands::check::check;
use daemon::commands::exit::{BAD_SITE_FILE, DONE};
use std::path::{Path, PathBuf};

fn example(name: &str) -> PathBuf {
    let sites = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites");
    sites.join(name)
}

fn run(site: &Path) -> (u8, String) {
    let mut out = Vec::new();
    let code = check(site, &mut out, false).expect("a Vec takes everything");
    (code, String::from_utf8(out).expect("text"))
}

#[test]
fn a_right_file_gives_its_design_with_numbers_and_margins() {
    let (code, report) = run(&example("hillside-barn.toml"));
    assert_eq!(code, DONE, "{report}");
    let line = |start: &str, what: &str| {
        let found = report
            .lines()
            .find(|l| l.starts_with(start) && l.contains(what));
        found
            .unwrap_or_else(|| panic!("no {start} {what} in\n{report}"))
            .to_owned()
    };
    // By hand: 18 x 41.1 V x (1 + 0.0027 x 30) = 799.7 V; 1000 V less that is 200.3 V.
    let coldest = line("barn/input-2 W1", "open-circuit voltage, coldest");
    for cell in ["799.7 V", "1000.0 V", "200.3 V", " ok "] {
        assert!(coldest.contains(cell), "{coldest}");
    }
    // By hand: 1.25 x 2 x 11.6 A = 29.00 A of 35 A.
    let current = line("barn/input-1 ", "1.25 Isc of all strings");
    for cell in ["29.00 A", "35.00 A", "6.00 A", " ok "] {
        assert!(current.contains(cell), "{current}");
    }
    let last = report.lines().last().expect("a last line");
    assert!(last.contains("licensed people decide"), "{last}");
    assert!(!report.contains("Cannot be read live"), "{report}");
}

#[test]
fn what_cannot_be_read_live_is_said_and_is_no_error() {
    let (code, report) = run(&example("test-field.toml"));
    assert_eq!(code, DONE, "{report}");
    assert!(
        report.contains("Cannot be read live: inv-1 has no source"),
        "{report}"
    );
}

#[test]
fn a_wrong_file_gives_every_problem_and_its_own_exit_code() {
    let bad = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/tests/bad/units.toml");
    let (code, report) = run(&bad);
    assert_eq!(code, BAD_SITE_FILE);
    assert!(report.contains("9 problems in "), "{report}");
    let (code, report) = run(Path::new("no-such-site.toml"));
    assert_eq!(code, BAD_SITE_FILE);
    assert!(report.contains("no-such-site.toml"), "{report}");
}

/// The barn has two strings on its first input and no third input; the map knows more.
#[test]
fn what_a_map_gives_and_the_plant_has_no_place_for_is_listed() {
    let folder = tempfile::tempdir().expect("a folder");
    let map =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/registers/string-inverter.toml");
    let map = std::fs::read_to_string(map).expect("an example");
    let map = map
        + "\n[[register]]\nchannel = \"input-3/dc_current_a\"\naddress = 1014\ntype = \"i16\"\n";
    std::fs::write(folder.path().join("inverter.toml"), map).expect("written");
    let site = std::fs::read_to_string(example("hillside-barn.toml")).expect("an example");
    let site = site.replacen("map = \"sunspec\"", "map = \"inverter.toml\"", 1);
    let path = folder.path().join("site.toml");
    std::fs::write(&path, site).expect("written");
    let (code, report) = run(&path);
    assert_eq!(code, DONE, "{report}");
    for line in [
        "barn is read by the map \"Invented string inverter with two inputs\": 14 register values in 2 requests.",
        "Not read: barn/input-3/dc_current_a, for which the plant has no place.",
    ] {
        assert!(
            report.lines().any(|l| l == line),
            "no {line:?} in\n{report}"
        );
    }
}
