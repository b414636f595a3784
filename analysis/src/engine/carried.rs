//! What of that was learned still holds when a plant is described otherwise: what the part that it was
//! learned of, and everything that it was learned with, are as they were.
//! Never in here: taking it over (`Engine::recall`).

use crate::expected::LearnedOf;
use crate::plant::{Input, Inverter, Module, Plane, Plant, PvString};

/// Whether it holds of `now`, in whose numbers it is, when it was learned of `before`.
pub fn still_holds(of: LearnedOf, before: &Plant, now: &Plant) -> bool {
    if place(before) != place(now) {
        return false;
    }
    match of {
        LearnedOf::Light(p, _)
        | LearnedOf::CellOffset(p)
        | LearnedOf::Tilt(p)
        | LearnedOf::Azimuth(p) => {
            let plane = &now.planes[p];
            // By all inputs on it, in the light of all sensors.
            before.planes.contains(plane)
                && sky(before) == sky(now)
                && sensors(before) == sensors(now)
                && on(before, plane) == on(now, plane)
        }
        LearnedOf::Current(i, k) | LearnedOf::Voltage(i, k) => {
            let inverter = &now.inverters[i];
            let input = &inverter.inputs[k];
            let was = before_of(before, inverter)
                .and_then(|was| was.inputs.iter().find(|was| was.number == input.number));
            was.is_some_and(|was| strings(before, was) == strings(now, input))
        }
        LearnedOf::Supply(i, ..) => {
            let inverter = &now.inverters[i];
            before_of(before, inverter).is_some_and(|was| {
                (was.phases, was.max_apparent) == (inverter.phases, inverter.max_apparent)
            })
        }
    }
}

/// Whether a morning of insulation of inverter `i` holds of `now`, when it was seen of `before`.
pub fn morning_still_holds(i: usize, before: &Plant, now: &Plant) -> bool {
    let inverter = &now.inverters[i];
    fn all<'a>(plant: &'a Plant, inverter: &'a Inverter) -> Vec<(u8, Vec<Laid<'a>>)> {
        let inputs = inverter.inputs.iter();
        inputs
            .map(|input| (input.number, strings(plant, input)))
            .collect()
    }
    place(before) == place(now)
        && before_of(before, inverter).is_some_and(|was| {
            was.isolation_limit == inverter.isolation_limit
                && all(before, was) == all(now, inverter)
        })
}

/// Under which sun, and since when modules age.
fn place(plant: &Plant) -> impl PartialEq {
    let site = &plant.site;
    (site.latitude, site.longitude, site.commissioned)
}

/// Of what the clear sky is worked out.
fn sky(plant: &Plant) -> impl PartialEq {
    (plant.site.altitude_m, plant.site.linke_turbidity)
}

/// Weather devices and the planes that they lie in.
fn sensors(plant: &Plant) -> Vec<(String, Option<&Plane>)> {
    let plane = |p: Option<usize>| p.map(|p| &plant.planes[p]);
    let sensors = plant.weather.iter();
    sensors
        .map(|s| (s.id.to_string(), plane(s.plane)))
        .collect()
}

fn before_of<'a>(before: &'a Plant, inverter: &Inverter) -> Option<&'a Inverter> {
    before.inverters.iter().find(|was| was.id == inverter.id)
}

/// Module, plane, and the rest of a string.
type Laid<'a> = (&'a Module, &'a Plane, PvString);

/// The strings of an input: module, how many, plane and cable of each.
fn strings<'a>(plant: &'a Plant, input: &'a Input) -> Vec<Laid<'a>> {
    let string = |s: &PvString| {
        let plain = PvString {
            // Said by the two before it; a label changes no number.
            module: 0,
            plane: 0,
            label: String::new(),
            ..s.clone()
        };
        (&plant.modules[s.module], &plant.planes[s.plane], plain)
    };
    input.strings.iter().map(string).collect()
}

/// Inputs with strings on a plane, by inverter and number.
fn on<'a>(plant: &'a Plant, plane: &Plane) -> Vec<(String, u8, Vec<Laid<'a>>)> {
    let inputs = plant.inverters.iter().flat_map(|inverter| {
        let of = |input| (inverter.id.to_string(), input);
        inverter.inputs.iter().map(of)
    });
    inputs
        .map(|(inverter, input): (String, &Input)| (inverter, input.number, strings(plant, input)))
        .filter(|(_, _, strings)| strings.iter().any(|(_, on, _)| *on == plane))
        .collect()
}
