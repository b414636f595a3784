//! `noonmark run` as a child process in front of devices that another library serves
//! (`sunspec_server.py`), on a clock that both share and that runs faster.
//!
//! Kind of truth: reference for the protocol and for when the string opens; property for the rest:
//! what is found does not depend on being killed, on a lost device or on a store that refuses.

#[cfg(target_os = "linux")]
#[path = "run/clock.rs"]
mod clock;
#[path = "run/interrupted.rs"]
mod interrupted;
#[path = "run/killed.rs"]
mod killed;
#[path = "run/output.rs"]
mod output;
#[cfg(target_os = "linux")]
#[path = "run/read_only.rs"]
mod read_only;
#[path = "run/reloaded.rs"]
mod reloaded;
#[path = "run/site.rs"]
mod site;
#[path = "run/supervised.rs"]
mod supervised;

use analysis::reading::{Span, Time};
use output::{alarms_elsewhere, assert_contract, assert_pictures, ledger_rows, open_store};
use site::{EVERY_S, OPENS, RATE, Site, TWIN_INPUT, day, instant};
use tests::SunspecServer;

/// From the opening to its finding, by the site's clock: half an hour of valid light, the slot in
/// which it opened, and as much again for polls that a busy machine loses.
const FOUND_WITHIN: Span = Span::from_min(70);

#[test]
fn a_string_that_opens_is_found_with_a_sensor_in_its_plane() {
    let mut server = day();
    let port = server.port();
    let site = Site::new(&[("hut", port)], Some(("mast", port)), EVERY_S);
    string_open_is_found(&mut server, &site);
}

#[test]
fn a_string_that_opens_is_found_without_any_sensor() {
    let mut server = day();
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    string_open_is_found(&mut server, &site);
}

fn string_open_is_found(server: &mut SunspecServer, site: &Site) {
    let mut program = site.start(server, RATE);
    program.wait_for_line("models=[1, 103, 160, 64001]");
    let found = output::wait_for(site, "string_open", |_| true);
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains("ERROR"), "{}", ended.err);

    assert_contract(&found);
    assert_eq!(
        (&found["device"], &found["input"]),
        (&"hut".into(), &TWIN_INPUT.into())
    );
    assert_eq!(alarms_elsewhere(site, TWIN_INPUT), [""; 0]);
    assert_began_when_it_opened(&found);
    let late = time(&found, "found") - instant(OPENS);
    assert!(late <= FOUND_WITHIN, "{} s late: {found}", late.seconds());
    assert_pictures(site);
    assert!(ledger_rows(site) > 0);
    assert_stored(site);
}

/// Within a slot: the clocks of server and program are not the same to the minute.
fn assert_began_when_it_opened(finding: &serde_json::Value) {
    let off = time(finding, "began") - instant(OPENS);
    assert!(
        off.ms().abs() <= site::SLOT.ms(),
        "{} s off: {finding}",
        off.seconds()
    );
}

fn time(finding: &serde_json::Value, field: &str) -> Time {
    instant(finding[field].as_str().expect("a time"))
}

fn assert_stored(site: &Site) {
    let store = open_store(site);
    let (first, last) = store.span().expect("reads").expect("slots were closed");
    assert!(store.load_engine_state().expect("reads").is_some());
    assert_eq!(
        store.findings().expect("reads").len(),
        output::findings(site).len()
    );
    drop(store);
    assert!(output::stored(site, "hut/input-2/dc_current_a", first, last) > 0);
}
