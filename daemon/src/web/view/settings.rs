//! The site file as it was understood, without paths of this machine and without secrets.

use crate::web::Page;
use config::checked::{Link, RegisterMap, Source};

/// A group of settings.
#[derive(Debug, Clone)]
pub struct Group {
    pub name: String,
    pub lines: Vec<(&'static str, String)>,
}

/// All of them.
pub fn settings(page: &Page) -> Vec<Group> {
    let mut groups = vec![site(page)];
    groups.extend(page.site.plant.planes.iter().map(|plane| Group {
        name: format!("plane {}", plane.id),
        lines: vec![
            ("tilt", format!("{} deg", plane.tilt.deg())),
            ("azimuth", format!("{} deg from north", plane.azimuth.deg())),
            ("ground reflectance", plane.albedo_ratio.to_string()),
        ],
    }));
    groups.extend(page.site.plant.modules.iter().map(|module| Group {
        name: format!("module {}", module.id),
        lines: vec![
            ("power", format!("{:.1} W", module.pmp().w())),
            ("open circuit", format!("{} V", module.voc.v())),
            ("short circuit", format!("{} A", module.isc.a())),
            (
                "maximum power",
                format!("{} V, {} A", module.vmp.v(), module.imp.a()),
            ),
            ("cells in series", module.cells_in_series.to_string()),
            ("bypass sections", module.bypass_sections.to_string()),
        ],
    }));
    groups.extend(inverters(page));
    groups.extend(page.site.plant.weather.iter().map(|weather| {
        let plane = weather.plane.map(|p| page.site.plant.planes[p].id.clone());
        let mut lines = vec![(
            "plane of its sensor",
            plane.unwrap_or_else(|| "none".to_owned()),
        )];
        lines.extend(page.site.source(&weather.id).into_iter().flat_map(source));
        Group {
            name: format!("weather device {}", weather.id),
            lines,
        }
    }));
    groups.push(daemon(page));
    groups
}

fn site(page: &Page) -> Group {
    let (file, site) = (&page.site, &page.site.plant.site);
    let price = site.energy_price.as_ref();
    let price = price.map(|price| format!("{} {} per kWh", price.per_kwh, price.currency));
    Group {
        name: format!("site {}", site.name),
        lines: vec![
            (
                "place",
                format!(
                    "{} deg north, {} deg east, {} m",
                    site.latitude.deg(),
                    site.longitude.deg(),
                    site.altitude_m
                ),
            ),
            ("time zone", file.timezone.to_string()),
            ("handed over", file.commissioned.to_string()),
            ("supply rules", site.grid_limits.rules.clone()),
            ("energy price", price.unwrap_or_else(|| "none".to_owned())),
        ],
    }
}

fn inverters(page: &Page) -> impl Iterator<Item = Group> {
    let plant = &page.site.plant;
    plant.inverters.iter().map(|inverter| {
        let mut lines = vec![
            ("rated AC power", format!("{} W", inverter.rated_ac.w())),
            (
                "highest DC voltage",
                format!("{} V", inverter.max_dc_voltage.v()),
            ),
            (
                "tracking window",
                format!(
                    "{} to {} V",
                    inverter.tracking_min.v(),
                    inverter.tracking_max.v()
                ),
            ),
            ("phases", inverter.phases.to_string()),
            (
                "lowest insulation",
                format!("{:.0} kohm", inverter.isolation_limit.ohm() / 1000.0),
            ),
        ];
        for input in &inverter.inputs {
            let strings = input.strings.iter().map(|s| {
                let module = &plant.modules[s.module].id;
                format!(
                    "{} ({} x {module} on {})",
                    s.label, s.count, plant.planes[s.plane].id
                )
            });
            let strings: Vec<_> = strings.collect();
            lines.push(("input", format!("{}: {}", input.number, strings.join(", "))));
        }
        lines.extend(page.site.source(&inverter.id).into_iter().flat_map(source));
        Group {
            name: format!("inverter {}", inverter.id),
            lines,
        }
    })
}

/// A serial port and the file of a map are paths of this machine.
fn source(source: &Source) -> Vec<(&'static str, String)> {
    let by = match &source.link {
        Link::ModbusTcp { address, unit } => format!("Modbus TCP at {address}, unit {unit}"),
        Link::ModbusRtuOverTcp { address, unit } => {
            format!("serial frames through a converter at {address}, unit {unit}")
        }
        Link::ModbusRtu { baud, unit, .. } => format!("serial line at {baud} baud, unit {unit}"),
        Link::Mqtt { broker, topic } => format!("MQTT broker at {}, topic {topic}", broker.address),
    };
    let map = match &source.map {
        RegisterMap::SunSpec => "open SunSpec models".to_owned(),
        RegisterMap::File { map, .. } => map.name.clone(),
        RegisterMap::Messages { map, .. } => map.name.clone(),
    };
    vec![
        ("reached by", by),
        ("read with", map),
        ("read every", format!("{} s", source.every.seconds())),
    ]
}

fn daemon(page: &Page) -> Group {
    let keep = page.site.keep;
    let days = |span: analysis::reading::Span| format!("{:.0} days", span.hours() / 24.0);
    Group {
        name: "program".to_owned(),
        lines: vec![
            ("version", env!("CARGO_PKG_VERSION").to_owned()),
            (
                "false alarms",
                format!(
                    "at most {} per inverter and year",
                    page.site.plant.false_alarms_per_inverter_year
                ),
            ),
            ("single readings kept", days(keep.readings)),
            ("minutes kept", days(keep.minutes)),
            ("findings, hours, slots kept", "for ever".to_owned()),
        ],
    }
}
