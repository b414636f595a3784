//! Clocks that are off, on the plant of `measuring`.

use super::*;

/// The same share of clouds on every day.
fn under(cloudiness: f64) -> World {
    World {
        cloudiness: vec![cloudiness],
        ..fair()
    }
}

/// Stamps of everything, or of the mast alone, off by some minutes from a day on.
pub(super) fn shift(
    polls: &[Poll],
    plant: &Plant,
    minutes: i64,
    from_day: i64,
    mast_only: bool,
) -> Vec<Poll> {
    let mut all: Vec<Reading> = Vec::new();
    for (_, readings) in polls {
        all.extend(readings.iter().map(|r| {
            let is_mast = plant.channels.channel(r.channel).device.as_str() == "mast";
            let is_off = r.at >= at(from_day, 0.0) && (is_mast || !mast_only);
            let at = if is_off {
                r.at + Span::from_min(minutes)
            } else {
                r.at
            };
            Reading { at, ..*r }
        }));
    }
    all.sort_by_key(|r| (r.at, r.channel));
    all.chunk_by(|a, b| a.at == b.at)
        .map(|poll| (poll[0].at, poll.to_vec()))
        .collect()
}

#[test]
fn clocks_that_are_off_are_told_after_two_clear_days_with_how_much() {
    let plant = site(Span::from_min(5), &[]);
    let right = played(&plant, under(0.0), 5);
    for minutes in [60, -60, 30, -30, 25, 600, -600] {
        let polls = shift(&right, &plant, minutes, 0, false);
        let told = told(&plant, &polls);
        let clocks = told.of(Kind::ClockOff);
        let [found] = clocks[..] else {
            panic!("{minutes}: {}", told.list());
        };
        let offset = found.evidence["offset_min"];
        let days = days(found.found - START);
        println!(
            "{minutes} min: {offset:.1}, after {days:.1} days; {}",
            found.summary
        );
        assert!((offset - minutes as f64).abs() < 4.0, "{minutes}: {offset}");
        assert!(days < 3.6, "{minutes}: {days}");
    }
    // Planes alone do not know a quarter of an hour from shade at dawn.
    let told = told(&plant, &shift(&right, &plant, 15, 0, false));
    assert!(told.of(Kind::ClockOff).is_empty(), "{}", told.list());
}

#[test]
fn a_clock_that_stays_off_is_told_when_the_one_told_with_it_is_put_right() {
    const RIGHT_FROM_DAY: i64 = 5;
    let plant = site(Span::from_min(5), &[]);
    let right = played(&plant, under(0.0), 10);
    let off = shift(&right, &plant, 60, 0, false);
    // The inverter's clock, which was told for both, is put right; the mast's is not.
    let mast_off = shift(&right, &plant, 60, RIGHT_FROM_DAY, true);
    let mut polls: Vec<Poll> = Vec::new();
    polls.extend(off.into_iter().filter(|p| p.0 < at(RIGHT_FROM_DAY, 0.0)));
    polls.extend(
        mast_off
            .into_iter()
            .filter(|p| p.0 >= at(RIGHT_FROM_DAY, 0.0)),
    );
    let told = told(&plant, &polls);
    let mut clocks = told.of(Kind::ClockOff);
    clocks.sort_by_key(|f| f.found);
    let [both, mast] = clocks[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(both.subject.device.as_str(), "inv-1");
    assert_eq!(both.evidence["devices_count"], 2.0);
    assert_eq!(mast.subject.device.as_str(), "mast");
    assert_eq!(mast.evidence["devices_count"], 1.0);
    assert!(both.ended.is_some(), "{}", told.list());
    assert!(mast.ended.is_none(), "{}", told.list());
}

/// Without a clear day only when the days end and begin says it.
#[test]
fn a_clock_that_is_set_is_told_under_clouds_and_ends_when_it_is_put_right() {
    let plant = site(Span::from_min(5), &[]);
    const SET: i64 = 10;
    const PUT_RIGHT: i64 = 16;
    let right = played(&plant, under(1.0), 20);
    assert!(told(&plant, &right).of(Kind::ClockOff).is_empty());
    for (minutes, nights) in [(60, 2.0), (-60, 2.0), (15, 3.0)] {
        let mut polls = shift(&right, &plant, minutes, SET, false);
        polls.retain(|(at, _)| *at < self::at(PUT_RIGHT, 0.0));
        let rest = right
            .iter()
            .filter(|(at, _)| *at >= self::at(PUT_RIGHT, 0.0));
        polls.extend(rest.cloned());
        let told = told(&plant, &polls);
        let [found] = told.of(Kind::ClockOff)[..] else {
            panic!("{minutes}: {}", told.list());
        };
        let offset = found.evidence["offset_min"];
        assert!((offset - minutes as f64).abs() < 5.0, "{minutes}: {offset}");
        assert_eq!(found.evidence["nights_count"], nights);
        let after = days(found.found - at(SET, 0.0));
        assert!(after < nights + 0.4, "{minutes}: {after}");
        let ended = found.ended.expect("it was put right");
        assert!(
            (days(ended - at(PUT_RIGHT, 0.0))).abs() < 1.0,
            "{}",
            told.list()
        );
    }
}

#[test]
fn a_quarter_of_an_hour_is_told_of_a_horizontal_sensor() {
    let plant = site(Span::from_min(5), &[Quantity::Ghi]);
    let polls = shift(&played(&plant, under(0.0), 5), &plant, 15, 0, true);
    let told = told(&plant, &polls);
    let [found] = told.of(Kind::ClockOff)[..] else {
        panic!("{}", told.list());
    };
    // What light of other times makes of the edges of the day is no shade.
    assert_eq!(told.findings.len(), 1, "{}", told.list());
    let offset = found.evidence["offset_min"];
    assert!((offset - 15.0).abs() < 2.0, "{}", found.summary);
    assert!(days(found.found - START) < 3.6, "{}", told.list());
}

#[test]
fn a_plane_that_lies_otherwise_than_stated_is_no_clock() {
    let plant_as_it_is = site(Span::from_min(5), &[]);
    let polls = played(&plant_as_it_is, under(0.0), 6);
    for turned_deg in [-20.0, -10.0, 10.0, 20.0] {
        let mut stated = (*plant_as_it_is).clone();
        let azimuth = analysis::reading::Angle::from_deg(f64::rem_euclid(turned_deg, 360.0));
        stated.planes[NORTH].azimuth = azimuth;
        let told = told(&Arc::new(stated), &polls);
        assert_eq!(
            told.of(Kind::ClockOff).len(),
            0,
            "{turned_deg}: {:?}",
            told.findings
                .values()
                .map(|f| &f.summary)
                .collect::<Vec<_>>()
        );
    }
}
