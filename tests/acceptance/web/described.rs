//! Answers for programs are what `openapi.json` says, by the judgement of another library
//! (`described.py`), which also asks for what cannot be.

use super::Plant;
use std::process::Command;
use tests::{judged, python};

#[test]
fn answers_are_as_they_are_described() {
    let plant = Plant::start("");
    let id = plant.found();
    let said = judged("described.py", [&plant.address, "hut", "2026-03-20", &id]);
    assert!(said.contains("every path asked"), "{said}");
}

/// Requests that a library makes up from the description: none is answered by anything that is not described.
/// The same ones each time, and so many for each path.
#[test]
fn requests_that_are_made_up_are_answered_as_described() {
    const EXAMPLES: &str = "15";
    let plant = Plant::start("");
    plant.found();
    let program = std::path::Path::new(&python()).with_file_name("schemathesis");
    let folder = tempfile::tempdir().expect("a folder");
    let address = format!("http://{}", plant.address);
    let output = Command::new(program)
        .current_dir(folder.path())
        .args(["run", &format!("{address}/api/v1/openapi.json")])
        .args(["--url", &address, "--max-examples", EXAMPLES, "--no-color"])
        .arg("--generation-deterministic")
        .output()
        .expect("it starts");
    let said = String::from_utf8_lossy(&output.stdout);
    let wrong = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{wrong}");
    assert!(said.contains("No issues found"), "{said}");
}

#[test]
fn tables_and_numbers_are_there_to_take_away() {
    let plant = Plant::start("");
    plant.found();
    let mut browser = plant.browser();
    let day = browser.get("/inverters/hut/days/2026-03-20/day.csv");
    let header = day.body.lines().next().expect("a header");
    assert!(header.starts_with(
        "start_utc,poa_w_m2,ac_power_w,expected_ac_power_w,limit,input-1/dc_voltage_v"
    ));
    assert!(day.body.lines().count() > 6, "{}", day.body);
    let columns = header.split(',').count();
    assert!(
        day.body
            .lines()
            .all(|line| line.split(',').count() == columns)
    );
    for path in [
        "/today.csv",
        "/findings.csv",
        "/ledger/day/2026-03-20/ledger.csv",
        "/performance/day/performance.csv",
    ] {
        let table = browser.get(path);
        assert_eq!(table.status, 200, "{path}");
        assert!(table.head["content-type"].starts_with("text/csv"), "{path}");
        assert!(table.body.lines().count() > 1, "{path}: {}", table.body);
    }
    let picture = browser.get("/inverters/hut/days/2026-03-20/day.svg?look=dark&width=350");
    assert!(picture.body.starts_with("<svg") && picture.body.contains("input 2: current, A"));
    assert_nothing_leaves_the_plots(&picture.body);
    let metrics = browser.get("/metrics");
    assert!(metrics.head["content-type"].starts_with("application/openmetrics-text"));
    assert!(metrics.body.ends_with("# EOF\n"));
    assert!(
        metrics
            .body
            .contains("noonmark_dc_current_a{device=\"hut\",input=\"2\"} ")
    );
    // Ledger: expected is measured plus everything that was lost.
    let ledger = browser
        .get("/api/v1/ledger?length=day&date=2026-03-20")
        .json();
    for account in ledger["accounts"].as_array().expect("a list") {
        let number = |value: &serde_json::Value| value.as_f64().expect("a number");
        let lost = account["losses"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|l| number(&l["wh"]));
        let sum = number(&account["measured_wh"]) + lost.sum::<f64>();
        // Each line is rounded to a tenth, and lines below that are left out.
        const ROUNDING_WH: f64 = 3.0;
        let off = (number(&account["expected_wh"]) - sum).abs();
        assert!(off <= ROUNDING_WH, "{off} Wh off: {account}");
    }
}

#[test]
fn an_input_is_shown_on_its_curve_and_a_finding_with_its_day() {
    let plant = Plant::start("");
    let id = plant.found();
    let mut browser = plant.browser();
    let finding = browser.get(&format!("/findings/{id}")).body;
    let svg = "/inverters/hut/days/2026-03-20/day.svg?look=dark";
    let wanted = format!("{}&#38;input=", svg);
    let (_, rest) = finding
        .split_once(&wanted)
        .unwrap_or_else(|| panic!("no {wanted} in {finding}"));
    let number: u8 = rest[..1].parse().expect("an input");
    let picture = browser.get(&format!("{svg}&input={number}")).body;
    let panel = |n: u8| format!("input {n}: current, A");
    assert!(picture.contains(&panel(number)) && !picture.contains(&panel(3 - number)));
    assert_eq!(browser.get(&format!("{svg}&input=9")).status, 404);

    let curve = format!("/inverters/hut/days/2026-03-20/inputs/{number}/curve.svg");
    let day = browser.get("/inverters/hut/days/2026-03-20").body;
    assert!(day.contains(&format!("src=\"{curve}\"")), "{day}");
    let light = browser.get(&curve).body;
    assert!(light.starts_with("<svg") && light.contains("where it worked on its curve"));
    let dark = browser.get(&format!("{curve}?look=dark")).body;
    assert!(light.contains("\"#FFFFFF\"") && !dark.contains("\"#FFFFFF\""));
    // A telephone has it drawn as wide as itself.
    let narrow = browser.get(&format!("{curve}?width=350")).body;
    assert!(narrow.starts_with("<svg width=\"350\""), "{narrow:.80}");
    assert!(
        day.contains(&format!(
            "(max-width: 720px)\" srcset=\"{curve}?width=350\""
        )),
        "{day}"
    );
    let none = "/inverters/hut/days/2026-03-18/inputs/1/curve.svg";
    assert_eq!(browser.get(none).status, 404);
    // What is only noted wants nobody.
    assert!(day.contains("<h2>Stands</h2>") && !day.contains("What wants a person"));
}

#[test]
fn registers_are_shown_as_they_were_read() {
    let plant = Plant::start("");
    plant.found();
    let mut browser = plant.browser();
    let devices = browser.get("/devices").body;
    assert!(devices.contains("href=\"/devices/hut/registers\""));
    let page = browser.get("/devices/hut/registers").body;
    assert!(page.contains("holding registers, "), "{page}");
    let rows: Vec<&str> = page.split("<tr><th scope=\"row\">").skip(1).collect();
    assert!(rows.len() > 50, "{}", rows.len());
    for row in rows {
        let cells: Vec<&str> = row.split(['<', '>']).collect();
        let hexadecimal = cells.iter().find_map(|cell| cell.strip_prefix("0x"));
        let word = u16::from_str_radix(hexadecimal.expect("one"), 16).expect("a word");
        assert!(cells.contains(&word.to_string().as_str()), "{row}");
    }
    assert_eq!(browser.get("/devices/no/registers").status, 404);
}

/// Points of the picture lie between its edges, 8 pixels from the border; a pixel is four units.
fn assert_nothing_leaves_the_plots(svg: &str) {
    let lists = svg
        .split("points=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next());
    let mut seen = 0;
    for (x, _) in lists
        .flat_map(|list| list.split_whitespace())
        .filter_map(|p| p.split_once(','))
    {
        let x: f64 = x.parse().expect("a number");
        assert!(
            (8.0 * 4.0..=(350.0 - 8.0) * 4.0).contains(&x),
            "a point at {x}"
        );
        seen += 1;
    }
    assert!(seen > 100, "only {seen} points");
}
