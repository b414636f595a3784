//! The site file read again while the program runs: a wrong one costs nothing, a right one is followed
//! on the same store and behind the same door.

use crate::output::{open_store, stored_so_far};
use crate::site::{self, Device, Site};
use crate::{EVERY_S, RATE, day};
use analysis::reading::{Span, Time};
use tests::{Browser, Program, until};

const PAGE: &str = "[web]\nlisten = \"127.0.0.1:0\"\n";
/// So many readings show that polling goes on.
const SOME: usize = 3;

pub fn with_page(inverters: &[Device], every_s: u32) -> String {
    let text = site::text(inverters, None, every_s);
    format!("{PAGE}{text}")
}

/// Waits for readings of a device beside those that there were.
fn wait_for_more(site: &Site, channel: &str) -> usize {
    let before = stored_so_far(site, channel).unwrap_or(0);
    until(&format!("readings of {channel}"), || {
        stored_so_far(site, channel).filter(|now| *now >= before + SOME)
    })
}

pub fn page_of(program: &mut Program) -> Browser {
    let line = program.wait_for_line("the page is at http://");
    let (_, address) = line.split_once("http://").expect("an address");
    Browser::new(address.trim_end_matches('/'))
}

#[test]
fn a_wrong_site_file_is_told_in_full_and_work_goes_on() {
    let mut server = day();
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    let right = with_page(&[("hut", server.port())], EVERY_S);
    site.write(&right);
    let mut program = site.start(&mut server, RATE);
    let mut page = page_of(&mut program);
    wait_for_more(&site, "hut/ac_power_w");

    site.write(
        &right
            .replace("tilt_deg = 3", "tilt_deg = 300")
            .replace("phases", "phase"),
    );
    program.reload();
    for problem in [
        "plane[1].tilt_deg",
        "inverter[1].phases: found no such key",
        "unknown key `phase`",
    ] {
        let line = program.wait_for_line(problem);
        assert!(line.contains("not taken"), "{line}");
    }
    // So it is with what only the start itself finds: a password that is not there.
    let secret = "password_file = \"${CREDENTIALS_DIRECTORY}/page\"\n";
    site.write(&right.replace(PAGE, &format!("{PAGE}{secret}")));
    program.reload();
    program.wait_for_line("CREDENTIALS_DIRECTORY is not set");

    wait_for_more(&site, "hut/ac_power_w");
    assert_eq!(page.get("/health").status, 200);
    site.write(&right);
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert_eq!(
        ended.err.matches("running site").count(),
        1,
        "{}",
        ended.err
    );
}

#[test]
fn a_right_site_file_is_followed_and_nothing_is_lost_or_doubled() {
    let mut server = day();
    let port = server.port();
    let site = Site::new(&[("hut", port)], None, EVERY_S);
    site.write(&with_page(&[("hut", port)], EVERY_S));
    let mut program = site.start(&mut server, RATE);
    let mut page = page_of(&mut program);
    wait_for_more(&site, "hut/ac_power_w");
    let before = times(&site, "hut/ac_power_w");

    // The device has another address, and then there is another inverter.
    let other = day();
    let moved = other.port();
    site.write(&with_page(&[("hut", moved)], EVERY_S));
    program.reload();
    program.wait_for_line("the site file is read again");
    wait_for_more(&site, "hut/ac_power_w");
    assert_eq!(page.get("/health").status, 200);
    site.write(&with_page(&[("hut", moved), ("barn", port)], EVERY_S));
    program.reload();
    program.wait_for_line("the site file is read again");
    wait_for_more(&site, "barn/ac_power_w");
    wait_for_more(&site, "hut/ac_power_w");
    let devices = page.get("/api/v1/devices");
    assert!(devices.body.contains("barn"), "{}", devices.body);
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    assert!(!ended.err.contains("ERROR"), "{}", ended.err);
    assert_eq!(
        ended.err.matches("the page is at").count(),
        1,
        "{}",
        ended.err
    );

    let after = times(&site, "hut/ac_power_w");
    assert_eq!(after[..before.len()], before, "what was stored is there");
    // The first reload changed nothing of the plant: what stood goes on.
    assert_eq!(
        ended.err.matches("starts afresh").count(),
        1,
        "{}",
        ended.err
    );
    assert!(after.is_sorted_by(|a, b| a < b), "doubled: {after:?}");
    let opened = open_store(&site).audit().expect("reads");
    let opened = opened.iter().filter(|line| line.event == "opened");
    // Three by the program, and this one does not write.
    assert_eq!(opened.count(), 3);
}

/// What waits for a full disk ends with the work: the site file is not taken before it is stored.
#[cfg(target_os = "linux")]
#[test]
fn while_the_disk_is_full_a_right_site_file_is_not_taken_and_nothing_is_lost() {
    let mut server = day();
    let port = server.port();
    let site = Site::new(&[("hut", port)], None, EVERY_S);
    let arguments = site.rehearsal(&mut server, RATE);
    let mut program = Program::start_under_a_quota(arguments);
    wait_for_more(&site, "hut/ac_power_w");
    program.limit_files(Some(0));
    program.wait_for_line("not stored yet");
    let refused_at = server.now();
    program.reload();
    let line = program.wait_for_line("is right and not taken");
    assert!(line.contains("the store refuses what waits"), "{line}");
    until("polls that wait", || {
        (server.now() - refused_at > Span::from_min(10)).then_some(())
    });
    let free_at = server.now();
    program.limit_files(None);
    program.wait_for_line("stored again");
    program.reload();
    program.wait_for_line("running site");
    wait_for_more(&site, "hut/ac_power_w");
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let waited = times(&site, "hut/ac_power_w");
    let waited = waited
        .iter()
        .filter(|at| (refused_at..free_at).contains(at));
    // Half of the polls, each a minute after the other: a busy machine may lose some.
    assert!(waited.count() >= 5, "they are stored");
}

/// When a channel was read, as stored now.
fn times(site: &Site, channel: &str) -> Vec<Time> {
    let layout = daemon::store::Layout::of(&site.checked().plant);
    let store = daemon::store::Store::open_to_read(&site.store(), &layout).expect("it is there");
    let channel = channel.parse().expect("a channel");
    let id = site.checked().plant.channels.id(&channel).expect("known");
    let all = store.readings(id, Time::from_unix_ms(0), Time::from_unix_ms(i64::MAX));
    all.expect("reads")
        .iter()
        .map(|reading| reading.at)
        .collect()
}
