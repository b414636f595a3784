//! How a scanned inverter says that it is set: its protection and its answers to the supply.
//! Never in here: reading it (`source::sunspec`).

use analysis::plant::{Curve, GridSettings};
use std::io::{self, Write};

/// Each function that is published: off, or the corners of its curve.
pub(super) fn print_settings(settings: &GridSettings, out: &mut dyn Write) -> io::Result<()> {
    if settings.is_empty() {
        return Ok(());
    }
    writeln!(out, "settings")?;
    let curves = [
        ("trip under (V/Vn, s)", &settings.under_voltage),
        ("trip over (V/Vn, s)", &settings.over_voltage),
        ("trip under (Hz, s)", &settings.under_frequency),
        ("trip over (Hz, s)", &settings.over_frequency),
        ("volt-watt (V/Vn, P/Pn)", &settings.volt_watt),
        ("volt-var (V/Vn, Q/ref)", &settings.volt_var),
        ("watt-var (P/Pn, Q/ref)", &settings.watt_var),
    ];
    for (label, curve) in curves {
        match curve {
            None => {}
            Some(Curve::Off) => writeln!(out, "  {label:<34} off")?,
            Some(Curve::On(corners)) => {
                let corner = |(x, y): &(f64, f64)| format!("{x} {y}");
                let corners: Vec<String> = corners.iter().map(corner).collect();
                writeln!(out, "  {label:<34} {}", corners.join(", "))?;
            }
        }
    }
    let entry = &settings.enter_service;
    let numbers = [
        ("nominal voltage (V)", settings.nominal_v),
        ("connects above (V/Vn)", entry.low_voltage_ratio),
        ("connects below (V/Vn)", entry.high_voltage_ratio),
        ("connects above (Hz)", entry.low_hz),
        ("connects below (Hz)", entry.high_hz),
        ("connects after (s)", entry.delay_s),
        ("connects later by up to (s)", entry.random_s),
        ("full power after (s)", entry.ramp_s),
    ];
    for (label, number) in numbers {
        if let Some(number) = number {
            writeln!(out, "  {label:<34} {number}")?;
        }
    }
    if let Some(droop) = settings.droop {
        let what = match droop.is_on {
            true => format!("{} Hz, {}", droop.over_deadband_hz, droop.over_ratio),
            false => "off".to_owned(),
        };
        writeln!(out, "  {:<34} {what}", "droop (deadband, df/fn)")?;
    }
    Ok(())
}
