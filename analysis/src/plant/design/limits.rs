//! Currents and likeness of the strings of an input, and the size of an inverter.
//!
//! Model:   I_design = 1.25 sum(Isc)   I_mp = sum(Imp)   I_reverse = sum(Isc) - min(Isc)
//!          spread = (max(N Voc) - min(N Voc)) / max(N Voc)   ratio = sum(N Vmp Imp) / P_rated
//! Symbols: Isc, Imp  of each string [A]   N Voc, N Vmp  of each string [V]   P_rated [W]
//! Range:   standard test conditions; a bifacial module counts by the front alone.
//! Source:  IEC 62548 and AS/NZS 5033 for 1.25 and reverse current (clauses from memory, verify);
//!          the rest is common practice, as each line's rule says.
//! Check:   tests below, worked by hand.

use super::{Check, Line, Verdict, line, of_input, of_inverter};
use crate::plant::{Input, Inverter, Module, Plant, PvString};
use std::collections::BTreeSet;

/// Margin of the design current over short-circuit current for bright sky and ground.
const ISC_FACTOR: f64 = 1.25;
/// Most that open-circuit voltages of parallel strings may differ.
const MAX_SPREAD_RATIO: f64 = 0.05;
/// Most that module power may exceed the inverter's.
const MAX_DC_AC_RATIO: f64 = 1.33;
/// From this many strings on one string can take the current of two or more others.
const STRINGS_WITH_REVERSE_CURRENT: usize = 3;

/// All lines of one input as a whole.
pub(super) fn input(plant: &Plant, inverter: &Inverter, input: &Input) -> Vec<Line> {
    let mut lines = currents(plant, inverter, input);
    if input.strings.len() > 1 {
        lines.push(spread(plant, inverter, input));
        let planes: BTreeSet<usize> = input.strings.iter().map(|s| s.plane).collect();
        let one_plane = (1.0, Verdict::Look);
        let count = planes.len() as f64;
        lines.push(line(
            of_input(inverter, input),
            Check::Planes,
            count,
            one_plane,
        ));
    }
    lines.extend(reverse_current(plant, inverter, input));
    lines
}

/// Rated module power over rated inverter power.
pub(super) fn dc_ac_ratio(plant: &Plant, inverter: &Inverter) -> Line {
    let dc_w = inverter.inputs.iter().map(|i| plant.input_rated(i).w());
    let ratio = dc_w.sum::<f64>() / inverter.rated_ac.w();
    let limit = (MAX_DC_AC_RATIO, Verdict::Look);
    line(of_inverter(inverter), Check::DcAcRatio, ratio, limit)
}

fn currents(plant: &Plant, inverter: &Inverter, input: &Input) -> Vec<Line> {
    let rating = input.max_short_circuit_current.a();
    let strings = input.strings.len() as f64;
    let isc = || of_strings(plant, input, |m| m.isc.a());
    let imp: f64 = of_strings(plant, input, |m| m.imp.a()).sum();
    let largest = isc().fold(0.0, f64::max);
    let subject = || of_input(inverter, input);
    // One limit, seen from both ends; a mixed input can pass the first and not the second.
    let backwards = (rating / ISC_FACTOR / strings, Verdict::Look);
    let design = ISC_FACTOR * isc().sum::<f64>();
    let operating = (input.max_operating_current.a(), Verdict::Look);
    vec![
        line(
            subject(),
            Check::ShortCircuitCurrent,
            design,
            (rating, Verdict::Wrong),
        ),
        line(subject(), Check::LargestModuleIsc, largest, backwards),
        line(subject(), Check::OperatingCurrent, imp, operating),
    ]
}

fn of_strings<'a>(
    plant: &'a Plant,
    input: &'a Input,
    current: fn(&Module) -> f64,
) -> impl Iterator<Item = f64> + 'a {
    let modules = input.strings.iter().map(|s| &plant.modules[s.module]);
    modules.map(current)
}

fn spread(plant: &Plant, inverter: &Inverter, input: &Input) -> Line {
    let voc = |s: &PvString| f64::from(s.count) * plant.modules[s.module].voc.v();
    let largest = input.strings.iter().map(voc).fold(0.0, f64::max);
    let smallest = input.strings.iter().map(voc).fold(largest, f64::min);
    let limit = (MAX_SPREAD_RATIO, Verdict::Wrong);
    let ratio = (largest - smallest) / largest;
    let mut line = line(
        of_input(inverter, input),
        Check::UnequalStrings,
        ratio,
        limit,
    );
    let alike = |s: &PvString| {
        let first = &input.strings[0];
        (s.module, s.count) == (first.module, first.count)
    };
    if line.verdict == Verdict::Ok && !input.strings.iter().all(alike) {
        line.verdict = Verdict::Look;
    }
    line
}

fn reverse_current(plant: &Plant, inverter: &Inverter, input: &Input) -> Option<Line> {
    if input.strings.len() < STRINGS_WITH_REVERSE_CURRENT {
        return None;
    }
    let isc = || of_strings(plant, input, |m| m.isc.a());
    let smallest = isc().fold(f64::INFINITY, f64::min);
    Some(Line {
        subject: of_input(inverter, input),
        check: Check::ReverseCurrent,
        value: isc().sum::<f64>() - smallest,
        limit: None,
        margin: None,
        verdict: Verdict::Look,
    })
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::super::example::{input_with, plant, string};
    use super::*;

    fn find(plant: &Plant, which: Check) -> Line {
        let lines = check(plant);
        let line = lines.into_iter().find(|line| line.check == which);
        line.expect("the check is made")
    }

    /// Hand-worked numbers are printed to a hundredth of an ampere.
    const PRINTED_A: f64 = 5e-3;

    /// One string of Isc 13.95 A: 17.4375 A of 20 A, modules up to 16 A. Two: 34.875 A of 40 A, and
    /// again 16 A each.
    #[test]
    fn short_circuit_current_of_the_worked_example() {
        let one = vec![string("a", 18, 0)];
        let two = vec![string("a", 18, 0), string("b", 18, 0)];
        for (rating, strings, design_a) in
            [((16.0, 20.0), one, 17.4375), ((32.0, 40.0), two, 34.875)]
        {
            let plant = plant(25e3, Some(-3.0), vec![input_with(rating, strings)]);
            let line = find(&plant, Check::ShortCircuitCurrent);
            assert!((line.value - design_a).abs() <= PRINTED_A, "{line:?}");
            assert_eq!((line.limit, line.verdict), (Some(rating.1), Verdict::Ok));
            let line = find(&plant, Check::LargestModuleIsc);
            assert_eq!((line.value, line.limit), (13.95, Some(16.0)));
        }
    }

    #[test]
    fn too_much_short_circuit_current_is_wrong_and_too_much_operating_current_a_look() {
        let strings = vec![string("a", 18, 0), string("b", 18, 0)];
        let plant = plant(25e3, Some(-3.0), vec![input_with((26.0, 30.0), strings)]);
        let line = find(&plant, Check::ShortCircuitCurrent);
        assert_eq!(line.verdict, Verdict::Wrong);
        assert!(line.margin.is_some_and(|margin| margin < 0.0));
        let line = find(&plant, Check::OperatingCurrent);
        assert!((line.value - 26.46).abs() <= PRINTED_A, "{line:?}");
        assert_eq!(line.verdict, Verdict::Look);
    }

    /// 72 modules of 410.13 W on 25 kW: 1.181.
    #[test]
    fn dc_ac_ratio_of_the_worked_example() {
        const PRINTED: f64 = 5e-4;
        let strings = ["a", "b", "c", "d"].map(|label| string(label, 18, 0));
        let plant = plant(25e3, None, vec![input_with((60.0, 80.0), strings.to_vec())]);
        let line = find(&plant, Check::DcAcRatio);
        assert!((line.value - 1.181).abs() <= PRINTED, "{line:?}");
        assert_eq!(line.verdict, Verdict::Ok);
    }

    #[test]
    fn strings_that_differ_are_looked_at_and_far_ones_are_wrong() {
        let verdict = |counts: [u16; 2], planes: [usize; 2], which| {
            let strings = vec![
                string("a", counts[0], planes[0]),
                string("b", counts[1], planes[1]),
            ];
            let plant = plant(25e3, Some(-3.0), vec![input_with((32.0, 40.0), strings)]);
            find(&plant, which).verdict
        };
        assert_eq!(
            verdict([20, 20], [0, 0], Check::UnequalStrings),
            Verdict::Ok
        );
        assert_eq!(
            verdict([20, 19], [0, 0], Check::UnequalStrings),
            Verdict::Look
        );
        assert_eq!(
            verdict([20, 18], [0, 0], Check::UnequalStrings),
            Verdict::Wrong
        );
        assert_eq!(verdict([20, 20], [0, 0], Check::Planes), Verdict::Ok);
        assert_eq!(verdict([20, 20], [0, 1], Check::Planes), Verdict::Look);
    }

    /// Two strings: one other string's Isc flows back, which no line is made for. Three: two.
    #[test]
    fn reverse_current_counts_from_three_strings() {
        let of = |labels: &[&str]| {
            let strings = labels.iter().map(|label| string(label, 18, 0)).collect();
            let plant = plant(25e3, Some(-3.0), vec![input_with((60.0, 80.0), strings)]);
            let lines = check(&plant);
            let line = lines.into_iter().find(|l| l.check == Check::ReverseCurrent);
            line.map(|line| line.value)
        };
        assert_eq!(of(&["a", "b"]), None);
        let three = of(&["a", "b", "c"]).expect("three strings");
        assert!((three - 27.90).abs() <= PRINTED_A, "{three}");
    }

    #[test]
    fn an_assumed_temperature_makes_cold_lines_a_look() {
        let of = |coldest, count| {
            let strings = vec![string("a", count, 0)];
            let plant = plant(25e3, coldest, vec![input_with((16.0, 20.0), strings)]);
            find(&plant, Check::ColdestVoc).verdict
        };
        assert_eq!(of(Some(-3.0), 18), Verdict::Ok);
        assert_eq!(of(Some(-3.0), 28), Verdict::Wrong);
        assert_eq!(of(None, 18), Verdict::Look);
        assert_eq!(of(None, 28), Verdict::Look);
    }
}
