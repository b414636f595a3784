//! The site file as it was understood, without paths of this machine and without secrets.

use crate::web::texts::Texts;
use crate::web::{Page, show};
use analysis::plant::EfficiencyPoint;
use config::checked::{Link, RegisterMap, Source};

/// A group of settings.
#[derive(Debug, Clone)]
pub struct Group {
    pub name: String,
    pub lines: Vec<(&'static str, String)>,
}

/// All of them.
pub fn settings(page: &Page, t: &'static Texts) -> Vec<Group> {
    let mut groups = vec![site(page, t)];
    groups.extend(page.site.plant.planes.iter().map(|plane| Group {
        name: format!("{} {}", t.set_plane, plane.id),
        lines: vec![
            (t.set_tilt, degrees(t, plane.tilt.deg())),
            (
                t.set_azimuth,
                format!("{} {}", degrees(t, plane.azimuth.deg()), t.from_north),
            ),
            (t.set_albedo, show::exact(t, plane.albedo_ratio)),
        ],
    }));
    groups.extend(page.site.plant.modules.iter().map(|module| Group {
        name: format!("{} {}", t.set_module, module.id),
        lines: vec![
            (
                t.set_module_power,
                show::number(t, Some(module.pmp().w()), 1, "W"),
            ),
            (t.set_open_circuit, exact(t, module.voc.v(), "V")),
            (t.set_short_circuit, exact(t, module.isc.a(), "A")),
            (
                t.set_maximum_power,
                format!(
                    "{}, {}",
                    exact(t, module.vmp.v(), "V"),
                    exact(t, module.imp.a(), "A")
                ),
            ),
            (t.set_cells, module.cells_in_series.to_string()),
            (t.set_bypass, module.bypass_sections.to_string()),
        ],
    }));
    groups.extend(inverters(page, t));
    groups.extend(page.site.plant.weather.iter().map(|weather| {
        let plane = weather.plane.map(|p| page.site.plant.planes[p].id.clone());
        let mut lines = vec![(
            t.set_sensor_plane,
            plane.unwrap_or_else(|| t.none.to_owned()),
        )];
        lines.extend(
            page.site
                .source(&weather.id)
                .into_iter()
                .flat_map(|s| source(t, s)),
        );
        Group {
            name: format!("{} {}", t.set_weather, weather.id),
            lines,
        }
    }));
    groups.push(daemon(page, t));
    groups
}

fn site(page: &Page, t: &'static Texts) -> Group {
    let (file, site) = (&page.site, &page.site.plant.site);
    let price = site.energy_price.as_ref();
    let price =
        price.map(|price| format!("{} {}", exact(t, price.per_kwh, &price.currency), t.per_kwh));
    Group {
        name: format!("{} {}", t.set_site, site.name),
        lines: vec![
            (
                t.set_place,
                format!(
                    "{} {}, {} {}, {}",
                    degrees(t, site.latitude.deg()),
                    t.north,
                    degrees(t, site.longitude.deg()),
                    t.east,
                    exact(t, site.altitude_m, "m")
                ),
            ),
            (t.set_time_zone, file.timezone.to_string()),
            (t.set_handed_over, show::date(t, file.commissioned)),
            (t.set_supply_rules, site.grid_limits.rules.clone()),
            (
                t.set_energy_price,
                price.unwrap_or_else(|| t.none.to_owned()),
            ),
        ],
    }
}

fn inverters(page: &Page, t: &'static Texts) -> impl Iterator<Item = Group> {
    let plant = &page.site.plant;
    plant.inverters.iter().map(move |inverter| {
        let mut lines = vec![
            (t.set_rated, exact(t, inverter.rated_ac.w(), "W")),
            (t.set_highest_dc, exact(t, inverter.max_dc_voltage.v(), "V")),
            (
                t.set_tracking,
                format!(
                    "{} – {}",
                    show::exact(t, inverter.tracking_min.v()),
                    exact(t, inverter.tracking_max.v(), "V")
                ),
            ),
            (
                t.set_start_voltage,
                exact(t, inverter.start_voltage.v(), "V"),
            ),
            (t.set_phases, inverter.phases.to_string()),
            (t.set_efficiency, efficiency(t, &inverter.efficiency)),
            (
                t.set_insulation,
                show::resistance(t, Some(inverter.isolation_limit.ohm())),
            ),
        ];
        for input in &inverter.inputs {
            let strings = input.strings.iter().map(|s| {
                let module = &plant.modules[s.module].id;
                format!(
                    "{} ({} × {module} {} {})",
                    s.label, s.count, t.on_plane, plant.planes[s.plane].id
                )
            });
            let strings: Vec<_> = strings.collect();
            lines.push((
                t.input_word,
                format!("{}: {}", input.number, strings.join(", ")),
            ));
        }
        lines.extend(
            page.site
                .source(&inverter.id)
                .into_iter()
                .flat_map(|s| source(t, s)),
        );
        Group {
            name: format!("{} {}", t.set_inverter, inverter.id),
            lines,
        }
    })
}

/// One number where it is the same at every load, else each with its load.
fn efficiency(t: &Texts, curve: &[EfficiencyPoint]) -> String {
    let percent = |ratio: f64| show::percent(t, Some(ratio));
    if let [everywhere] = curve {
        return percent(everywhere.efficiency_ratio);
    }
    let points = curve.iter().map(|point| {
        let (efficiency, load) = (percent(point.efficiency_ratio), percent(point.load_ratio));
        format!("{efficiency} {} {load}", t.set_at_load)
    });
    points.collect::<Vec<_>>().join(", ")
}

/// A serial port and the file of a map are paths of this machine.
fn source(t: &'static Texts, source: &Source) -> Vec<(&'static str, String)> {
    let by = match &source.link {
        Link::ModbusTcp { address, unit } => {
            format!("Modbus TCP {} {address}, {} {unit}", t.set_at, t.set_unit)
        }
        Link::ModbusRtuOverTcp { address, unit } => {
            format!("{} {address}, {} {unit}", t.set_converter, t.set_unit)
        }
        Link::ModbusRtu { baud, unit, .. } => {
            format!("{} {baud}, {} {unit}", t.set_serial, t.set_unit)
        }
        Link::Mqtt { broker, topic } => {
            format!(
                "{} {}, {} {topic}",
                t.set_broker, broker.address, t.set_topic
            )
        }
    };
    let map = match &source.map {
        RegisterMap::SunSpec => t.set_sunspec.to_owned(),
        RegisterMap::File { map, .. } => map.name.clone(),
        RegisterMap::Messages { map, .. } => map.name.clone(),
    };
    vec![
        (t.set_reached_by, by),
        (t.set_read_with, map),
        (t.set_read_every, exact(t, source.every.seconds(), "s")),
    ]
}

fn daemon(page: &Page, t: &'static Texts) -> Group {
    let keep = page.site.keep;
    let days =
        |span: analysis::reading::Span| show::number(t, Some(span.hours() / 24.0), 0, t.days_word);
    let false_alarms = page.site.plant.false_alarms_per_inverter_year;
    Group {
        name: t.set_program.to_owned(),
        lines: vec![
            (t.set_version, env!("CARGO_PKG_VERSION").to_owned()),
            (t.set_false_alarms, show::exact(t, false_alarms)),
            (t.set_readings_kept, days(keep.readings)),
            (t.set_minutes_kept, days(keep.minutes)),
            (t.set_rest_kept, t.for_ever.to_owned()),
        ],
    }
}

/// With all the digits of the site file.
fn exact(t: &Texts, value: f64, unit: &str) -> String {
    format!("{} {unit}", show::exact(t, value))
}

fn degrees(t: &Texts, value: f64) -> String {
    format!("{}°", show::exact(t, value))
}
