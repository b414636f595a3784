//! The program killed, a device unplugged, a store that refuses or is damaged.

use crate::output::{self, last_slot, of_kind, open_store, stored, wait_for};
use crate::site::{Site, TWIN_INPUT, instant, rfc3339};
use crate::{EVERY_S, RATE, assert_began_when_it_opened, day, time};
use analysis::reading::{Span, Time};
use std::fs;
use tests::{Program, SunspecServer, until};

#[test]
fn a_finding_survives_being_killed_before_and_after_it_is_made() {
    let mut server = day();
    let device = ("hut", server.port());
    let site = Site::new(&[device], None, EVERY_S);
    let undisturbed_site = Site::new(&[device], None, EVERY_S);
    let undisturbed = undisturbed_site.start(&mut server, RATE);

    let program = site.start(&mut server, RATE);
    // The string is open, and a part of the light that a verdict needs has been seen.
    wait_until(&mut server, instant("2026-03-20T10:20:00Z"));
    assert_eq!(of_kind(&site, "string_open").len(), 0, "too early");
    program.kill();

    let program = site.start(&mut server, RATE);
    let found = wait_for(&site, "string_open", |_| true);
    program.kill();

    let killed_after = last_slot(&site).expect("slots were closed");
    let program = site.start(&mut server, RATE);
    until("slots after the second start", || {
        let last = last_slot(&site).expect("they are still there");
        (last - killed_after >= Span::from_min(15)).then_some(())
    });
    assert_eq!(program.terminate().code, Some(0));
    let with = wait_for(&undisturbed_site, "string_open", |_| true);
    assert_eq!(undisturbed.terminate().code, Some(0));

    let lines = of_kind(&site, "string_open");
    assert_eq!(lines.len(), 1, "{lines:?}");
    for field in [
        "id", "device", "input", "began", "found", "causes", "evidence",
    ] {
        assert_eq!(lines[0][field], found[field], "{field}");
    }
    for field in ["site", "device", "input", "string", "kind", "severity"] {
        assert_eq!(lines[0][field], with[field], "{field}");
    }
    assert_eq!(lines[0]["input"], TWIN_INPUT);
    assert_began_when_it_opened(&lines[0]);
    assert_began_when_it_opened(&with);
    assert_eq!(of_kind(&undisturbed_site, "string_open").len(), 1);
}

/// Polled every ten seconds by a clock ten times as fast: once a second.
pub const SLOW_RATE: &str = "10";
pub const SLOW_EVERY_S: u32 = 10;

#[test]
fn a_device_that_is_unplugged_is_said_and_disturbs_no_other() {
    let mut hut = noon(0, "2026-03-20T11:00:00Z", &[]);
    let barn = noon(0, "2026-03-20T11:00:00Z", &[]);
    let annex = noon(0, "2026-03-20T11:00:00Z", &["--answer-after-s", "0.2"]);
    let devices = [
        ("hut", hut.port()),
        ("barn", barn.port()),
        ("annex", annex.port()),
    ];
    let site = Site::new(&devices, None, SLOW_EVERY_S);
    let program = site.start(&mut hut, SLOW_RATE);
    for (device, _) in devices {
        wait_for_reading(&site, device);
    }
    let port = barn.unplug();
    let lost = wait_for(&site, "link_lost", |f| f["device"] == "barn");
    assert!(lost["ended"].is_null(), "{lost}");
    let _barn = noon(port, &rfc3339(hut.now()), &[]);
    let ended = wait_for(&site, "link_lost", |f| {
        f["device"] == "barn" && !f["ended"].is_null()
    });
    let said = program.terminate();
    assert_eq!(said.code, Some(0), "{}", said.err);

    let (from, to) = (time(&ended, "began"), time(&ended, "ended"));
    // It began with the first poll that was missed and was found with the third.
    let every = Span::from_s(i64::from(SLOW_EVERY_S));
    assert_eq!(time(&ended, "found") - from, every * 2);
    assert_eq!(ended["id"], lost["id"]);
    assert_eq!(
        of_kind(&site, "link_lost").len(),
        1,
        "{:?}",
        of_kind(&site, "link_lost")
    );
    assert_eq!(stored(&site, "barn/ac_power_w", from, to), 0);
    for device in ["hut", "annex"] {
        assert_polled(&site, device, from, to);
    }
}

/// Half of the polls: a busy machine may lose some, a device that waits for another loses all.
pub fn assert_polled(site: &Site, device: &str, from: Time, to: Time) {
    let polls = (to - from).ms() as usize / (1000 * SLOW_EVERY_S as usize);
    let stored = stored(site, &format!("{device}/ac_power_w"), from, to);
    assert!(2 * stored >= polls, "{device}: {stored} of {polls} polls");
}

#[cfg(target_os = "linux")]
#[test]
fn what_a_full_disk_refuses_is_stored_when_there_is_room_again() {
    let mut server = noon(0, "2026-03-20T11:00:00Z", &[]);
    let site = Site::new(&[("hut", server.port())], None, SLOW_EVERY_S);
    let arguments = site.rehearsal(&mut server, SLOW_RATE);
    let mut program = Program::start_under_a_quota(arguments);
    wait_for_reading(&site, "hut");
    program.limit_files(Some(0));
    program.wait_for_line("not stored yet");
    let from = server.now();
    wait_until(&mut server, from + Span::from_s(60));
    let to = server.now();
    program.limit_files(None);
    program.wait_for_line("stored again");
    program.limit_files(Some(0));
    program.wait_for_line("not stored yet");
    let ended = program.terminate();
    // What was read since is lost, and said.
    assert_eq!(ended.code, Some(74), "{}", ended.err);
    assert!(ended.err.contains("failed to write a"), "{}", ended.err);
    assert_polled(&site, "hut", from, to);
}

#[test]
fn a_damaged_store_is_set_aside_and_a_new_one_goes_on() {
    let mut server = day();
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    let program = site.start(&mut server, RATE);
    until("slots", || last_slot(&site));
    // Not killed: what is in the log would heal the damage.
    assert_eq!(program.terminate().code, Some(0));
    let mut bytes = fs::read(site.store()).expect("a store");
    bytes[..64].fill(0xa5);
    fs::write(site.store(), &bytes).expect("room for it");
    let mut program = site.start(&mut server, RATE);
    let line = program.wait_for_line("the store was damaged and set aside");
    assert!(
        line.contains("ERROR") && line.contains("noonmark.sqlite.damaged-1"),
        "{line}"
    );
    until("slots", || last_slot(&site));
    assert_eq!(program.terminate().code, Some(0));
    let aside = site.out().join("noonmark.sqlite.damaged-1");
    assert_eq!(fs::read(aside).expect("it is kept"), bytes);
    assert!(open_store(&site).span().expect("reads").is_some());
}

/// All strings closed, on the slow clock.
pub fn noon(port: u16, clock_from: &str, options: &[&str]) -> SunspecServer {
    let clock = ["--clock-from", clock_from, "--clock-rate", SLOW_RATE];
    SunspecServer::start(port, &[clock.as_slice(), options].concat())
}

pub fn wait_until(server: &mut SunspecServer, at: Time) {
    until("time of the server", || (server.now() > at).then_some(()));
}

pub fn wait_for_reading(site: &Site, device: &str) {
    let channel = format!("{device}/ac_power_w");
    until(&format!("reading of {device}"), || {
        let count = output::stored_so_far(site, &channel)?;
        (count > 0).then_some(())
    });
}
