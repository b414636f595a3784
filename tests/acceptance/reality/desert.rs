//! Two years of quarter hours of a small array in a desert, as AC power.
//!
//! What the numbers show, looked at by hand: power over light and heat stays within 0.965 and 1.02 of
//! its level on 98 % of the days and never under 0.9 on any, so no day of loss is in them. Six days are
//! missing (2016-02-12 to 17). Six quarters of more than 150 W/m2 carry less than a tenth of what
//! their light gives, never two in a row; whether the inverter let go of its supply or somebody worked
//! on it is not told.

use super::replayed::{data, large, list, replayed_text, text};
use serde_json::Value;
use std::fs;

fn site() -> String {
    let text = fs::read_to_string(data().join("rtc/rtc.toml")).expect("it is there");
    assert!(text.contains("\"inv/input-1/dc_power_w\""));
    text.replace("\"inv/input-1/dc_power_w\"", "\"inv/ac_power_w\"")
}

/// Findings but for silences: the extracts leave out nights and every other day.
fn but_silences(said: Vec<Value>) -> Vec<Value> {
    said.into_iter()
        .filter(|f| f["kind"] != "link_lost")
        .collect()
}

#[test]
fn no_fault_of_the_array_is_said_in_two_sound_years() {
    for year in ["year_1.csv", "year_2.csv"] {
        let csv = fs::read_to_string(data().join("rtc").join(year)).expect("it is there");
        let site = site().replace("year_1.csv", year);
        let said = but_silences(replayed_text(&site, year, &csv));
        println!("{year}:\n{}", list(&said));
        assert_sound(&said);
    }
}

/// Of single quarters without power it may be said that the inverter let go; nothing else is wrong.
fn assert_sound(said: &[Value]) {
    let is_other = |f: &&Value| f["kind"] != "grid_trip" && f["severity"] != "note";
    let others: Vec<Value> = said.iter().filter(is_other).cloned().collect();
    assert!(others.is_empty(), "{}", list(&others));
}

#[test]
fn of_the_whole_recording_the_missing_days_are_told_and_nothing_else() {
    let file = "rtc_15min_2015_2017.csv";
    let Some(path) = large(&format!("rtc/{file}")) else {
        return;
    };
    let csv = fs::read_to_string(path).expect("readable");
    let site = site()
        .replace("year_1.csv", file)
        .replace("%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S")
        .replace("g_poa_w_m2", "g_poa")
        .replace("module_degc", "mod_temp")
        .replace("air_degc", "air_temp")
        .replace("power_w\" =", "power\" =");
    let said = replayed_text(&site, file, &csv);
    println!("whole recording:\n{}", list(&said));
    let silent = |f: &&Value| f["kind"] == "link_lost" && text(f, "began").starts_with("2016-02-1");
    assert!(said.iter().any(|f| silent(&f)), "{}", list(&said));
    assert_sound(&but_silences(said));
}

/// Every day of thirteen in July 2016, of which the extracts have every other: on the 15th and 18th a
/// plane turned by 6 and 17 degrees and stamps that are 9 and 20 min early fit the light better than
/// the plane as it stands at its right time. The days around them give 2 to 6 min, and so does the place, which
/// was deduced. An hour is still told on these days.
#[test]
fn light_of_hazy_july_days_is_no_clock_that_is_off() {
    let csv = fs::read_to_string(data().join("rtc/july_2016.csv")).expect("it is there");
    let site = site().replace("year_1.csv", "july_2016.csv");
    let said = but_silences(replayed_text(&site, "july_2016.csv", &csv));
    assert_sound(&said);

    let (head, recording) = site.split_once("[recording]").expect("a recording");
    for (zone, wanted_min) in [("Etc/GMT+7", -60.0), ("Etc/GMT+9", 60.0)] {
        let recording = recording.replace("Etc/GMT+8", zone);
        let site = format!("{head}[recording]{recording}");
        let said = but_silences(replayed_text(&site, "july_2016.csv", &csv));
        let clocks: Vec<&Value> = said.iter().filter(|f| f["kind"] == "clock_off").collect();
        let [clock] = clocks[..] else {
            panic!("{zone}: {}", list(&said));
        };
        let number = |key: &str| clock["evidence"][key].as_f64().expect("a number");
        let (offset, sigma) = (number("offset_min"), number("offset_sigma_min"));
        println!("{zone}: {offset:.1} -+ {sigma:.1}\n{}", list(&said));
        assert!(
            (offset - wanted_min).abs() <= 2.0 * sigma,
            "{offset} {sigma}"
        );
    }
}
