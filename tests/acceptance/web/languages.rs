//! The pages in each language: chosen by the browser, or by people, which then holds.

use super::Plant;
use tests::{Browser, judged, until};

fn language(browser: &mut Browser, accepted: &str) -> String {
    let head = [("accept-language", accepted)];
    let page = browser.send("GET", "/findings", &head, "").body;
    let (_, rest) = page.split_once("<html lang=\"").expect("it says so");
    rest[..2].to_owned()
}

#[test]
fn every_page_is_whole_in_every_language() {
    let plant = Plant::start("");
    let id = plant.found();
    let finding = format!("/findings/{id}");
    let pages = [
        "/",
        "/findings",
        &finding,
        "/inverters/hut",
        "/inverters/hut/days/2026-03-20",
        "/inverters/hut/days/2026-03-18",
        "/ledger/day",
        "/ledger/year",
        "/performance/day",
        "/performance/month",
        "/devices",
        "/devices/hut/registers",
        "/maintenance",
        "/design",
        "/settings",
        "/no-such-page",
    ];
    let address = plant.address.as_str();
    let said = judged("languages.py", [address].into_iter().chain(pages));
    assert!(said.contains("pages in both languages: 16"), "{said}");
}

#[test]
fn a_language_that_was_chosen_is_kept() {
    let plant = Plant::start("");
    let mut browser = plant.browser();
    assert_eq!(language(&mut browser, "de-AT,de;q=0.9"), "de");
    assert_eq!(language(&mut browser, "fr"), "en");
    let token = browser.get("/").token();
    let form = format!("token={token}&to=%2Ffindings&language=de");
    let foreign = [("origin", "http://evil.example")];
    assert_eq!(browser.post("/language", &foreign, &form).status, 403);
    let chosen = browser.post("/language", &[], &form);
    assert_eq!(
        (chosen.status, chosen.head["location"].as_str()),
        (303, "/findings")
    );
    assert!(
        chosen.head["set-cookie"].contains("Max-Age="),
        "it outlives the browser"
    );
    assert_eq!(
        language(&mut browser, "en"),
        "de",
        "whatever the browser asks for"
    );
    let away = format!("token={token}&to=%2F%2Fevil.example&language=en");
    assert_eq!(browser.post("/language", &[], &away).head["location"], "/");
    let unknown = format!("token={token}&to=%2F&language=xx");
    assert_eq!(browser.post("/language", &[], &unknown).status, 404);
    // Programs read English and points.
    let head = [("accept-language", "de")];
    let state = until("a first poll", || {
        let inverter = browser
            .send("GET", "/api/v1/inverters/hut", &head, "")
            .json();
        Some(inverter["state"].as_str()?.to_owned())
    });
    assert_eq!(state, "tracking the maximum power point");
    let table = browser.send("GET", "/today.csv", &head, "").body;
    assert!(
        table.starts_with("at_utc,ac_power_w,expected_ac_power_w\n"),
        "{table}"
    );
}
