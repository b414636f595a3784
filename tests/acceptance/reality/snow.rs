//! Days that are labelled as snow beside the days on which snow was said.

use super::labels::{Labelled, covered, score};
use super::replayed::{data, list, replayed};
use analysis::reading::{Span, Time};

/// A recording, its first day [days since 1970], its zone west of Greenwich [h], and whether
/// each day is labelled; `None` where it is not known.
struct Labels {
    site: &'static str,
    first_day: i64,
    west_h: i64,
    labelled: &'static [Option<bool>],
}

const YES: Option<bool> = Some(true);
const NO: Option<bool> = Some(false);

/// Source: the publisher's examples name snow cover on 6 January at the laboratory (both roofs), and
/// snowfall on the 7th and 8th at the utility plant, melting by the 10th: how much lay on
/// the 9th and 10th is not. By hand: on 2 January the bipolar array carries 0.5 to 3 A of the 6 to 13 A that its
/// light gives until ten, its modules at 0 to 3 degrees, and all of it from half past ten: snow that slid
/// off, which the publisher does not name.
const RECORDINGS: [Labels; 3] = [
    Labels {
        site: "rsf_inverter_2.toml",
        first_day: 18_994,
        west_h: 7,
        labelled: &[NO, NO, NO, NO, YES],
    },
    Labels {
        site: "serf_west.toml",
        first_day: 18_994,
        west_h: 7,
        labelled: &[YES, NO, NO, NO, YES],
    },
    Labels {
        site: "snow_combiner.toml",
        first_day: 18_997,
        west_h: 5,
        labelled: &[NO, NO, YES, YES, None, None],
    },
];

/// Snow is said of the right days. Days count whole: a day is said when any quarter of an hour of its
/// light (nine to three) lies in a finding.
#[test]
fn snow_is_said_on_the_labelled_days_and_on_no_other() {
    for recording in &RECORDINGS {
        let said = replayed(&data().join("nrel_pvanalytics").join(recording.site));
        let day = |d: usize| {
            let at = Span::from_h(24 * (recording.first_day + d as i64) + recording.west_h);
            Time::from_unix_ms(at.ms())
        };
        let days = recording.labelled.iter().enumerate();
        let labels: Vec<Labelled> = days
            .filter_map(|(d, label)| Some((day(d).unix_ms(), (*label)?)))
            .collect();
        let is_covered = covered(&said, &["snow"]);
        let any = |midnight: i64| (36..60).any(|quarter| is_covered(midnight + quarter * 900_000));
        let score = score(&labels, any);
        println!("{}: days of snow: {score}\n{}", recording.site, list(&said));
        assert_eq!((score.wrong, score.missed), (0, 0), "{}", recording.site);
    }
}
