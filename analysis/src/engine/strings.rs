//! Currents of single strings beside their siblings of the same input: into their watch, and what it
//! says into the book under the string's label. Never in here: thresholds.

use super::Engine;
use super::slots::{InverterNow, When};
use crate::detect::{Kind, StringFault, StringMean, StringWindow, StringsFacts};
use crate::diagnose::{Subject, explain};
use crate::expected::Light;
use crate::plant::{Inverter, PvString};
use crate::reading::{Energy, SlotMeans};

/// Sun elevation from which strings are compared [deg]: below it the rows of a field shade each other.
const LOWEST_SUN_DEG: f64 = 8.0;
/// A first share of the day under this was there when the light came: on a frosty day, snow [-].
const WHOLE_AT_FIRST_LIGHT: f64 = 0.8;

const FAULTS: [StringFault; 3] = [StringFault::Nothing, StringFault::Part, StringFault::Frozen];
/// Findings on a string that cost energy.
pub(super) const COSTLY_ON_STRING: [Kind; 2] = [Kind::StringOpen, Kind::CurrentLow];

impl Engine {
    /// Takes the strings' currents of a slot and books what each string misses to its own finding, at most
    /// what the input misses. Says how much that is: it is no longer the input's.
    pub(super) fn charge_strings(
        &mut self,
        (i, k): (usize, usize),
        when: When,
        now: &InverterNow,
        (light, means): (&Light, &SlotMeans),
    ) -> Energy {
        if !self.compares_strings((i, k), light) {
            return Energy::from_wh(0.0);
        }
        let plant = self.plant.clone();
        let input = &plant.inverters[i].inputs[k];
        let channels = &self.roles.inverters[i].strings[k];
        // Strings that look elsewhere see another light.
        let plane = input.plane();
        let mean = |(string, id): (&PvString, &Option<_>)| {
            let stat = means.get((*id)?).filter(|_| string.plane == plane)?;
            Some(StringMean {
                mean_a: stat.mean,
                ends_a: (stat.min, stat.max),
                rated_a: plant.modules[string.module].imp.a(),
            })
        };
        let strings: Vec<_> = input.strings.iter().zip(channels).map(mean).collect();
        let of_input = &now.inputs[k];
        let expected_v = of_input.slot.expected.map(|e| e.voltage.v());
        let facts = StringsFacts {
            start: when.start,
            slot: plant.timing.slot,
            day: when.day,
            volts: of_input.slot.voltage.map(|v| v.v()).or(expected_v),
        };
        let watch = &mut self.state.inverters[i].inputs[k].strings;
        watch.push(&facts, &strings);
        // A finding on the input may take it all.
        if of_input.slot.is_held_back(now.limit) || self.has_outage(&self.subject((i, k))) {
            return Energy::from_wh(0.0);
        }
        let known = of_input.prediction.as_ref().map(|_| of_input.missing_wh);
        let mut left_wh = known.unwrap_or(f64::INFINITY);
        let mut taken_wh = 0.0;
        for (s, string) in input.strings.iter().enumerate() {
            let subject = Subject::string(&plant.inverters[i].id, input.number, &string.label);
            let stands = |kind: &Kind| self.state.book.stands(&subject, *kind);
            let Some(kind) = COSTLY_ON_STRING.into_iter().find(stands) else {
                continue;
            };
            let watch = &self.state.inverters[i].inputs[k].strings;
            let string_wh = ac_over_dc(&plant.inverters[i]) * watch.missing_wh(s, when.start);
            let lost_wh = string_wh.min(left_wh);
            left_wh -= lost_wh;
            taken_wh += lost_wh;
            let lost = Energy::from_wh(lost_wh);
            self.state.book.add_lost(&subject, kind, lost);
        }
        Energy::from_wh(taken_wh)
    }

    /// Judges the strings of an input by their latest slots, where their currents are measured.
    pub(super) fn judge_strings(
        &mut self,
        (i, k): (usize, usize),
        when: When,
        light: &Light,
        frost: Option<bool>,
    ) {
        if !self.compares_strings((i, k), light) {
            return;
        }
        let plant = self.plant.clone();
        let input = &plant.inverters[i].inputs[k];
        for (s, string) in input.strings.iter().enumerate() {
            let watch = &self.state.inverters[i].inputs[k].strings;
            let Some((window, says)) = watch.window(s, when.start, plant.timing.slot) else {
                continue;
            };
            // Snow slides off one string after the other.
            let first = watch.first_share_of_day(s);
            let may_be_snow =
                frost == Some(true) && first.is_none_or(|share| share < WHOLE_AT_FIRST_LIGHT);
            let says = says.filter(|fault| *fault == StringFault::Frozen || !may_be_snow);
            let subject = Subject::string(&plant.inverters[i].id, input.number, &string.label);
            self.book_string((i, k), when, &subject, &window, says);
        }
    }

    fn compares_strings(&self, (i, k): (usize, usize), light: &Light) -> bool {
        let channels = &self.roles.inverters[i].strings[k];
        let measured = channels.iter().flatten().count();
        measured >= 2 && light.sun.apparent_elevation_deg() >= LOWEST_SUN_DEG
    }

    fn book_string(
        &mut self,
        (i, k): (usize, usize),
        when: When,
        subject: &Subject,
        window: &StringWindow,
        says: Option<StringFault>,
    ) {
        for fault in FAULTS {
            if says != Some(fault) && (says.is_some() || window.clears(fault)) {
                let kind = explain::string_kind(fault);
                self.state.book.end(subject, kind, window.began);
            }
        }
        let Some(fault) = says else { return };
        let inverter = &self.plant.inverters[i];
        let ac_over_dc = ac_over_dc(inverter);
        let input = self.subject((i, k));
        let new =
            explain::string_beside_siblings(subject.clone(), when.end, fault, window, ac_over_dc);
        if fault == StringFault::Nothing {
            // Which one it is says more than how many.
            self.state.book.end(&input, Kind::StringOpen, new.began);
        }
        self.state.book.open(new);
    }
}

/// AC over DC power of an inverter at its highest stated load.
fn ac_over_dc(inverter: &Inverter) -> f64 {
    let highest = inverter.efficiency.last();
    highest.map_or(1.0, |point| point.efficiency_ratio)
}
