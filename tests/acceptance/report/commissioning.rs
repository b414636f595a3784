//! The follow-up after the commissioning, as asked for and as the daemon writes it.

use super::{BAD_DATA, read, site, store, store_of};
use daemon::report::About;
use daemon::report::commissioning::{write, write_if_due};
use daemon::store::{Layout, Store};
use std::fs;
use std::path::Path;
use tests::Program;

/// Every line with how it stands.
fn verdicts(html: &str) -> Vec<(&str, &str)> {
    let rows = html.split("<tr><td>").skip(1);
    rows.filter_map(|row| {
        let what = row.split("</td>").next()?;
        let verdict = row.split("<strong class=\"").nth(1)?.split('"').next()?;
        Some((what, verdict))
    })
    .collect()
}

#[test]
fn the_commissioning_is_judged_line_by_line_and_names_what_it_does_not_replace() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = store(folder.path(), 9);
    let out = folder.path().join("out");
    let path = |path: &Path| path.to_str().expect("a plain path").to_owned();
    let arguments = |site: &Path| {
        let words = ["report", "--commissioning", "--store"].map(str::to_owned);
        let rest = [path(&store), "--out".to_owned(), path(&out), path(site)];
        words.into_iter().chain(rest)
    };
    let ended = Program::start(arguments(&site())).end();
    assert_eq!((ended.code, ended.err.as_str()), (Some(0), ""));
    let html = read(&out, "commissioning.html");
    for words in [
        "does not replace the tests that IEC 62446-1 and local codes require",
        "of the first 9 whole days",
        "2026-11-10 00:00 to 2026-11-19 00:00",
        "Handed over 2026-02-02.",
        "signature",
        "1 open point.",
        "A string carries nothing: shed input 1",
    ] {
        assert!(html.contains(words), "{words}");
    }
    assert!(!html.contains("http") && !html.contains("src="));
    let lines = verdicts(&html);
    let plant = config::load(&site()).expect("a right site file").plant;
    let inputs: usize = plant.inverters.iter().map(|i| i.inputs.len()).sum();
    let of = |what: &str| {
        let lines = lines.iter().filter(|(line, _)| line.starts_with(what));
        lines.map(|(_, verdict)| *verdict).collect::<Vec<_>>()
    };
    // The finding stands on the first input; the other inputs were tested and carry what they should.
    let strings = of("number of strings");
    assert_eq!(strings.len(), inputs);
    assert_eq!(strings[0], "fail");
    assert!(
        strings[1..].iter().all(|verdict| *verdict == "pass"),
        "{strings:?}"
    );
    assert!(of("polarity").iter().all(|verdict| *verdict == "pass"));
    // Nothing was learned in this store and no morning was seen: not decided is to be looked at.
    for what in [
        "voltage over",
        "current over",
        "first insulation",
        "resistance of the supply",
    ] {
        let verdicts = of(what);
        assert!(
            !verdicts.is_empty() && verdicts.iter().all(|v| *v == "look"),
            "{what}"
        );
    }
    let design = analysis::plant::design::check(&plant).len();
    assert!(lines.len() > design + 4 * inputs, "{} lines", lines.len());
    for word in ["pass", "look", "fail"] {
        let count = lines.iter().filter(|(_, verdict)| *verdict == word).count();
        assert!(
            html.contains(&format!(">{count} {word}<")),
            "{count} {word}"
        );
    }
    // A plant that is handed over after the last slot has no first days.
    let text = fs::read_to_string(site()).expect("the site file");
    let line = text.lines().find(|line| line.starts_with("commissioned"));
    let later = text.replace(line.expect("it has the key"), "commissioned = 2027-05-01");
    let file = folder.path().join("later.toml");
    fs::write(&file, later).expect("room for it");
    let ended = Program::start(arguments(&file)).end();
    assert_eq!(ended.code, BAD_DATA, "{}", ended.err);
    assert!(
        ended.err.contains("no slot from 2027-05-01 on"),
        "{}",
        ended.err
    );
}

#[test]
fn the_daemon_writes_the_commissioning_after_seven_and_after_thirty_days() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = config::load(&site()).expect("a right site file");
    let about = About {
        plant: &site.plant,
        timezone: site.timezone,
    };
    let mut written = Vec::new();
    for days in [6, 7, 8, 29, 30, 40] {
        let of_days = folder.path().join(days.to_string());
        fs::create_dir(&of_days).expect("a folder");
        let path = store(&of_days, days);
        let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("a store");
        let due = write_if_due(folder.path(), about, &store).expect("it can be written");
        written.push((days, due.is_some()));
    }
    assert_eq!(
        written,
        [
            (6, false),
            (7, true),
            (8, false),
            (29, false),
            (30, true),
            (40, false)
        ]
    );
    let html = read(folder.path(), "commissioning.html");
    assert!(html.contains("data-days=\"30\"") && html.contains("of the first 30 whole days"));
}

/// A fault of a later day is of no concern to whoever signs for the first ones; one that was mended
/// later stood then.
#[test]
fn what_came_later_is_not_on_the_page_of_the_first_days() {
    let site = config::load(&site()).expect("a right site file");
    let about = About {
        plant: &site.plant,
        timezone: site.timezone,
    };
    for (open, of_strings, points) in [
        ((33, None), "pass", "0 open points."),
        ((1, Some(35)), "fail", "1 open point."),
        ((1, Some(3)), "look", "0 open points."),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let path = store_of(folder.path(), 40, &[open]);
        let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("a store");
        write(folder.path(), about, &store).expect("it can be written");
        let html = read(folder.path(), "commissioning.html");
        let lines = verdicts(&html);
        let strings = lines
            .iter()
            .find(|(what, _)| what.starts_with("number of strings"));
        assert_eq!(
            strings.map(|(_, verdict)| *verdict),
            Some(of_strings),
            "{open:?}"
        );
        assert!(html.contains(points), "{open:?}");
    }
}
