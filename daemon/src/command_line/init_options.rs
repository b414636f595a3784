//! Options of `noonmark init`. Never in here: what becomes of them.

use crate::commands::init::Given;
use clap::Args;
use std::path::PathBuf;

/// What is known of a site. What is not given is asked: questions on a terminal, else one answer for each
/// line, empty for what is not known.
#[derive(Debug, Args)]
pub struct InitOptions {
    /// The new site file
    #[arg(long, value_name = "FILE", default_value = "site.toml")]
    pub out: PathBuf,
    /// Name of the site for people
    #[arg(long)]
    name: Option<String>,
    /// Degrees, north positive
    #[arg(long, value_name = "DEG", allow_hyphen_values = true)]
    latitude: Option<String>,
    /// Degrees, east positive
    #[arg(long, value_name = "DEG", allow_hyphen_values = true)]
    longitude: Option<String>,
    /// Metres above sea level
    #[arg(long, value_name = "M", allow_hyphen_values = true)]
    altitude: Option<String>,
    /// As in Australia/Hobart
    #[arg(long)]
    timezone: Option<String>,
    /// Protection limits of the supply, as in au-c
    #[arg(long)]
    grid_rules: Option<String>,
    /// Day of the handover, as in 2023-02-17
    #[arg(long, value_name = "DATE")]
    commissioned: Option<String>,
    /// An inverter or weather device on Modbus TCP, as 192.0.2.7:502, with its unit as 192.0.2.7:502,3;
    /// again for each device
    #[arg(long, value_name = "ADDRESS")]
    device: Vec<String>,
}

impl InitOptions {
    /// The same for the command.
    pub fn given(self) -> Given {
        let site = [
            ("name", self.name),
            ("latitude_deg", self.latitude),
            ("longitude_deg", self.longitude),
            ("altitude_m", self.altitude),
            ("timezone", self.timezone),
            ("grid_rules", self.grid_rules),
            ("commissioned", self.commissioned),
        ];
        let known = |(key, value): (&'static str, Option<String>)| Some((key, value?));
        Given {
            site: site.into_iter().filter_map(known).collect(),
            devices: self.device,
        }
    }
}
