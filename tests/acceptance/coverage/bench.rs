//! The bench itself: noise of known size is held as it should be, and a wrong band is seen.

use crate::bar::{passes, stale};
use analysis::expected::WeatherRung;
use analysis::reading::{Span, Time};
use std::collections::BTreeSet;
use tests::assert_close;
use tests::coverage::{Judged, Observation, Shares, slopes, structure, z_scores};
use tests::plant::normal;

/// Ten days of 100 slots whose current scatters by 2 % around 0.97 of what is expected.
fn noisy(sigma_ratio: f64) -> Vec<Observation> {
    let of = |n: i64| {
        let (day, step) = (n / 100, n % 100);
        let middle = Time::from_unix_ms(0) + Span::from_h(24 * day + 6) + Span::from_min(7 * step);
        let poa_w_m2 = 150.0 + 8.0 * step as f64;
        let expected_a = poa_w_m2 / 100.0;
        let measured_a = expected_a * (0.97 + 0.02 * normal(5, n as u64));
        Observation {
            middle,
            day: middle.solar_day(0.0),
            solar_h: 6.0 + 7.0 * step as f64 / 60.0,
            input: (0, 0),
            plane: 0,
            rung: WeatherRung::PlaneSensor,
            calibrated: false,
            poa_w_m2,
            incidence_deg: 30.0,
            diffuse_ratio: 0.3,
            cell_degc: 40.0 + step as f64 / 10.0,
            measured: [600.0, measured_a, 600.0 * measured_a],
            expected: [600.0, 0.97 * expected_a, 600.0 * 0.97 * expected_a],
            sigma: [6.0, sigma_ratio * expected_a, 6.0 * expected_a],
        }
    };
    (0..1000).map(of).collect()
}

#[test]
fn a_band_as_wide_as_the_noise_passes_and_others_do_not() {
    let shares = |sigma: f64| Shares::of(&z_scores(&noisy(sigma), Judged::Current));
    assert!(passes(&shares(0.02)), "{:?}", shares(0.02));
    assert!(!passes(&shares(0.013)), "{:?}", shares(0.013));
    assert!(!passes(&shares(0.03)), "{:?}", shares(0.03));
}

#[test]
fn a_band_that_is_wrong_in_low_light_shows_as_a_slope() {
    // Slopes of |z| from a thousand draws scatter by a few hundredths.
    const TOLERANCE: f64 = 0.15;
    let mut seen = noisy(0.02);
    let right = slopes(&seen, Judged::Current).expect("enough");
    assert_close!(right.middle, 0.8, TOLERANCE, "mean |z|");
    assert_close!(right.with_light, 0.0, TOLERANCE, "slope of a right band");
    for o in &mut seen {
        o.sigma[1] *= 0.5 + o.poa_w_m2 / 1000.0;
    }
    let wrong = slopes(&seen, Judged::Current).expect("enough");
    assert!(wrong.with_light < -0.5, "{wrong:?}");
}

#[test]
fn the_parts_of_an_error_are_told_apart() {
    // A median of a hundred draws of 2 % scatters by 0.25 %, one of a thousand by 0.08 %; the
    // scatter of ten medians is known to a quarter, that of a thousand draws to a twentieth.
    const TOLERANCE: f64 = 0.0025;
    let mut seen = noisy(0.02);
    for (n, o) in seen.iter_mut().enumerate() {
        let lasting = 1.05 * if (n / 100) % 2 == 0 { 1.01 } else { 0.99 };
        o.measured[1] *= lasting * (1.0 + 0.001 * (o.cell_degc - 45.0));
    }
    let parts = structure(&seen, Judged::Current).expect("ten days");
    assert_close!(
        parts.lasting,
        0.05,
        0.0125,
        "lasting, between 1.04 and 1.06"
    );
    assert_close!(
        parts.day_to_day,
        0.02 * 1.4826 / 2.0,
        0.008,
        "ten days, half up, half down"
    );
    assert_close!(
        parts.within,
        0.0208,
        TOLERANCE,
        "within, of 2.06 % measured over expected"
    );
    assert_close!(parts.per_k.expect("a slope"), 0.001, 0.0004, "per K");
}

#[test]
fn an_entry_of_the_list_that_did_not_miss_the_bar_is_stale() {
    let set = BTreeSet::from(["serf_west"]);
    let entries = stale(&set, &BTreeSet::new());
    assert!(!entries.is_empty(), "the list has nothing of this set");
    let all_but_one = entries[1..].iter().cloned().collect();
    assert_eq!(stale(&set, &all_but_one), entries[..1]);
    assert!(stale(&BTreeSet::new(), &BTreeSet::new()).is_empty());
}
