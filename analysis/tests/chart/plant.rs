//! An invented plant over some days of March, for tests of the picture: two inverters, five inputs,
//! two planes; one string opens, one day has snow, the supply trips once, one device goes silent,
//! one recorder stops for a while. The light and the array are only as real as a picture needs.

use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::{
    Ageing, EfficiencyPoint, GridLimits, Input, Inverter, Module, Mounting, Plane, Plant, PvString,
    Site, Timing, WeatherDevice,
};
use analysis::reading::{
    Angle, ApparentPower, ChannelTable, Current, DeviceId, Energy, Frequency, Irradiance, Power,
    Resistance, Span, Temperature, Time, Voltage,
};

/// 10 March 2025, local midnight at UTC + 1.
pub const START: Time = Time::from_unix_ms(1_741_561_200_000);
/// Five minutes.
pub const SLOT: Span = Span::from_min(5);

const MODULES_IN_STRING: u16 = 16;
const VMP_V: f64 = 34.2;
const IMP_A: f64 = 11.7;
const SNOW_DAY: i64 = 1;
const CLOUDY_DAY: i64 = 2;

/// Local time minus UTC.
pub fn utc_offset(_: Time) -> Span {
    Span::from_h(1)
}

/// A time of the example.
pub fn at(day: i64, hour: f64) -> Time {
    START + Span::from_h(24) * day + Span::from_s((hour * 3600.0) as i64)
}

/// The plant with its two planes.
pub fn plant() -> Plant {
    Plant {
        site: site(),
        modules: vec![module()],
        planes: vec![plane("south", 30.0, 180.0), plane("west", 15.0, 262.0)],
        inverters: vec![
            inverter(
                "inv-1",
                30.0,
                &[(0, &["A1", "A2"]), (0, &["B1", "B2"]), (1, &["C1"])],
            ),
            inverter("inv-2", 14.0, &[(0, &["D1", "D2"]), (1, &["E1"])]),
        ],
        weather: vec![WeatherDevice {
            id: DeviceId::new("mast"),
            plane: Some(0),
            every: Span::from_min(1),
        }],
        channels: ChannelTable::default(),
        timing: Timing {
            slot: SLOT,
            allowed_lateness: Span::from_min(2),
            sync: Span::from_s(30),
        },
        false_alarms_per_inverter_year: 0.05,
    }
}

/// A plant with one inverter of `inputs` inputs.
pub fn wide_plant(inputs: u8) -> Plant {
    let one: (usize, &[&str]) = (0, &["S"]);
    let inputs = vec![one; usize::from(inputs)];
    Plant {
        inverters: vec![inverter("wide", 60.0, &inputs)],
        ..plant()
    }
}

fn site() -> Site {
    Site {
        name: "Mühlgrund barn · roofs south and west".to_owned(),
        latitude: Angle::from_deg(48.0),
        longitude: Angle::from_deg(11.0),
        altitude_m: 500.0,
        commissioned: Time::from_unix_ms(0),
        linke_turbidity: [3.0; 12],
        design_coldest: None,
        design_hottest_cell: Temperature::from_degc(70.0),
        energy_price: None,
        grid_limits: GridLimits {
            rules: "example".to_owned(),
            nominal_voltage: Voltage::from_v(230.0),
            nominal_frequency: Frequency::from_hz(50.0),
            under_voltage: Vec::new(),
            over_voltage: Vec::new(),
            sustained_over_voltage: None,
            under_frequency: Vec::new(),
            over_frequency: Vec::new(),
            volt_watt: Vec::new(),
            enter_service: None,
        },
    }
}

fn module() -> Module {
    Module {
        id: "module-400".to_owned(),
        voc: Voltage::from_v(41.0),
        isc: Current::from_a(12.4),
        vmp: Voltage::from_v(VMP_V),
        imp: Current::from_a(IMP_A),
        cells_in_series: 108,
        bypass_sections: 3,
        isc_temp_ratio_per_k: 0.0005,
        voc_temp_ratio_per_k: -0.0027,
        pmax_temp_ratio_per_k: -0.0034,
        power_tolerance_ratio: 0.03,
        ageing: Ageing::NONE,
    }
}

fn plane(id: &str, tilt: f64, azimuth: f64) -> Plane {
    Plane {
        id: id.to_owned(),
        tilt: Angle::from_deg(tilt),
        azimuth: Angle::from_deg(azimuth),
        mounting: Mounting {
            u0: 25.0,
            u1: 6.8,
            cell_over_back_k: 3.0,
        },
        albedo_ratio: 0.2,
        horizon: None,
    }
}

fn inverter(id: &str, rated_kw: f64, inputs: &[(usize, &[&str])]) -> Inverter {
    let inputs = inputs
        .iter()
        .zip(1..)
        .map(|(&(plane, labels), number)| Input {
            number,
            max_operating_current: Current::from_a(26.0),
            max_short_circuit_current: Current::from_a(32.0),
            strings: labels.iter().map(|label| string(label, plane)).collect(),
        });
    Inverter {
        id: DeviceId::new(id),
        rated_ac: Power::from_w(rated_kw * 1000.0),
        max_apparent: ApparentPower::from_va(rated_kw * 1000.0),
        max_dc_voltage: Voltage::from_v(1000.0),
        start_voltage: Voltage::from_v(200.0),
        tracking_min: Voltage::from_v(180.0),
        tracking_max: Voltage::from_v(850.0),
        phases: 3,
        efficiency: vec![EfficiencyPoint {
            load_ratio: 1.0,
            efficiency_ratio: 0.97,
        }],
        derating: None,
        isolation_limit: Resistance::from_ohm(33_000.0),
        inputs: inputs.collect(),
        every: Span::from_s(10),
    }
}

fn string(label: &str, plane: usize) -> PvString {
    PvString {
        label: label.to_owned(),
        module: 0,
        count: MODULES_IN_STRING,
        plane,
        cable_loop: Resistance::from_ohm(0.3),
    }
}

/// Every slot of `days` days from [`START`], but for those that were not recorded.
pub fn slots(plant: &Plant, days: i64) -> Vec<Slot> {
    let count = Span::from_h(24).ms() / SLOT.ms() * days;
    (0..count)
        .map(|i| START + SLOT * i)
        .filter(|&start| !(at(3, 9.0) <= start && start < at(3, 9.75)))
        .map(|start| slot(plant, start))
        .collect()
}

fn slot(plant: &Plant, start: Time) -> Slot {
    let light = |plane| light_w_m2(plane, start);
    let rung = if at(CLOUDY_DAY, 15.0) <= start && start < at(CLOUDY_DAY, 24.0) {
        WeatherRung::ScaledClearSky
    } else {
        WeatherRung::PlaneSensor
    };
    let planes = (0..plant.planes.len()).map(|plane| PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light(plane)), rung)),
        cell: Some(Temperature::from_degc(cell_degc(light(plane)))),
    });
    let inverters = plant.inverters.iter().map(|i| inverter_slot(i, start));
    Slot {
        start,
        span: SLOT,
        air: None,
        wind: None,
        planes: planes.collect(),
        inverters: inverters.collect(),
    }
}

fn inverter_slot(inverter: &Inverter, start: Time) -> InverterSlot {
    let silent = inverter.id.as_str() == "inv-2"
        && at(CLOUDY_DAY, 12.5) <= start
        && start < at(CLOUDY_DAY, 15.25);
    let tripped = inverter.id.as_str() == "inv-2" && at(3, 11.5) <= start && start < at(3, 12.1);
    let numbered = inverter.inputs.iter();
    let dc_w = |measured: bool| -> f64 {
        let inputs = numbered.clone();
        inputs
            .map(|input| {
                let expected = expected(input, start);
                let share = if measured {
                    carrying(inverter, input, start)
                } else {
                    1.0
                };
                expected.voltage.v() * expected.current.a() * share
            })
            .sum()
    };
    let limit = inverter.rated_ac.w();
    let limited = 0.97 * dc_w(true) > limit;
    let ac_w = if tripped {
        0.0
    } else {
        (0.97 * dc_w(true)).min(limit)
    };
    let state = (silent, tripped, limited);
    InverterSlot {
        ac_power: (!silent).then(|| Power::from_w(ac_w)),
        expected_ac_power: Some(Power::from_w((0.97 * dc_w(false)).min(limit))),
        shade_ac_power: None,
        limit: None,
        producing: Some(!silent && !tripped),
        inputs: numbered
            .map(|input| input_slot(inverter, input, start, state))
            .collect(),
    }
}

fn input_slot(
    inverter: &Inverter,
    input: &Input,
    start: Time,
    (silent, tripped, limited): (bool, bool, bool),
) -> InputSlot {
    let expected = expected(input, start);
    let light = light_w_m2(input.plane(), start);
    let dark = light < 30.0;
    let noise = |scale: f64, salt: i64| 1.0 + scale * noise(start.unix_ms() / SLOT.ms() + salt);
    let salt = i64::from(input.number) * 7919;
    let mut voltage = expected.voltage.v() * noise(0.006, salt);
    let mut current =
        expected.current.a() * carrying(inverter, input, start) * noise(0.015, salt + 1);
    if limited {
        voltage *= 1.06;
        current *= 0.85;
    }
    if tripped {
        (voltage, current) = (1.19 * voltage, 0.0);
    }
    let gate = match () {
        () if silent => Gate::NotMeasured,
        () if dark => Gate::Dark,
        () if tripped => Gate::NotProducing,
        () if limited => Gate::Limited,
        () if unsteady(input.plane(), start) => Gate::Unsteady,
        () => Gate::Valid,
    };
    let asleep = light < 4.0;
    InputSlot {
        voltage: (!silent && !asleep).then(|| Voltage::from_v(voltage)),
        current: (!silent && !asleep).then(|| Current::from_a(current)),
        expected: (!asleep).then_some(expected),
        gate,
        limit: None,
    }
}

fn expected(input: &Input, start: Time) -> InputExpected {
    let light = light_w_m2(input.plane(), start).max(0.1);
    let strings = input.strings.len() as f64;
    let current = strings * IMP_A * light / 1000.0;
    let hot = -0.0034 * (cell_degc(light) - 25.0);
    let dim = (0.05 * (light / 1000.0).ln()).max(-0.35);
    let voltage = f64::from(MODULES_IN_STRING) * VMP_V * (1.0 + hot + dim);
    InputExpected {
        voltage: Voltage::from_v(voltage),
        current: Current::from_a(current),
        sigma_voltage: Voltage::from_v(0.012 * voltage),
        sigma_current: Current::from_a(0.03 * current + 0.06),
        sigma_power: Power::from_w(0.035 * voltage * current),
    }
}

/// The share of the expected current that flows.
fn carrying(inverter: &Inverter, input: &Input, start: Time) -> f64 {
    let opened = inverter.id.as_str() == "inv-1" && input.number == 2 && start >= at(0, 13.25);
    let snow = at(SNOW_DAY, 0.0) <= start && start < at(SNOW_DAY, 13.5);
    match (snow, opened) {
        (true, _) => 0.03,
        (false, true) => 0.5,
        (false, false) => 1.0,
    }
}

fn cell_degc(light: f64) -> f64 {
    4.0 + light / 30.0
}

fn light_w_m2(plane: usize, start: Time) -> f64 {
    let hours = (start - START).ms().rem_euclid(86_400_000) as f64 / 3.6e6;
    let (peak, middle, length) = if plane == 0 {
        (930.0, 12.4, 11.6)
    } else {
        (720.0, 13.6, 11.2)
    };
    let phase = (hours - middle) / length + 0.5;
    if !(0.0..=1.0).contains(&phase) {
        return 0.0;
    }
    let clear = peak * (std::f64::consts::PI * phase).sin().powf(1.3);
    clear * clearness(start)
}

fn clearness(start: Time) -> f64 {
    let step = start.unix_ms() / SLOT.ms();
    let day = (start - START).ms() / 86_400_000;
    match day % 4 {
        CLOUDY_DAY => {
            let slow = (step as f64 / 9.0).sin() * (step as f64 / 4.1).sin();
            (0.62 + 0.3 * slow + 0.16 * noise(step)).clamp(0.15, 1.05)
        }
        SNOW_DAY => 0.85 + 0.02 * noise(step),
        _ => 1.0 + 0.006 * noise(step),
    }
}

fn unsteady(plane: usize, start: Time) -> bool {
    let (now, before) = (light_w_m2(plane, start), light_w_m2(plane, start - SLOT));
    (now - before).abs() > 0.25 * now.max(before)
}

/// Between -1 and 1, the same for the same number (a multiplicative hash, no statistics needed).
fn noise(n: i64) -> f64 {
    let mixed = (n as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (mixed >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// What the detectors would say about it.
pub fn findings() -> Vec<Finding> {
    let standing = None;
    let snow = |device, input| {
        let ended = Some(at(SNOW_DAY, 13.5));
        finding(
            device,
            Some(input),
            None,
            Kind::Snow,
            at(SNOW_DAY, 6.75),
            ended,
        )
    };
    vec![
        snow("inv-1", 1),
        finding(
            "inv-1",
            Some(2),
            Some("B2"),
            Kind::StringOpen,
            at(0, 13.25),
            standing,
        ),
        snow("inv-1", 2),
        snow("inv-1", 3),
        snow("inv-2", 1),
        finding(
            "inv-2",
            None,
            None,
            Kind::LinkLost,
            at(2, 12.5),
            Some(at(2, 15.25)),
        ),
        finding(
            "inv-2",
            None,
            None,
            Kind::GridTrip,
            at(3, 11.5),
            Some(at(3, 12.1)),
        ),
        finding(
            "inv-2",
            Some(2),
            None,
            Kind::CurrentLow,
            at(-3, 9.0),
            Some(at(0, 16.0)),
        ),
        finding(
            "inv-1",
            None,
            None,
            Kind::IsolationLow,
            at(3, 6.5),
            standing,
        ),
    ]
}

/// A finding with nothing in it but what a picture shows.
pub fn finding(
    device: &str,
    input: Option<u8>,
    string: Option<&str>,
    kind: Kind,
    began: Time,
    ended: Option<Time>,
) -> Finding {
    let subject = Subject {
        device: DeviceId::new(device),
        input,
        string: string.map(str::to_owned),
    };
    Finding {
        id: FindingId::new(&subject, kind, began),
        subject,
        kind,
        severity: kind.severity(),
        began,
        found: began + Span::from_min(30),
        ended,
        confidence: 0.97,
        causes: Vec::new(),
        evidence: Default::default(),
        lost: Energy::from_wh(0.0),
        summary: String::new(),
        advice: Vec::new(),
        caution: Vec::new(),
    }
}
