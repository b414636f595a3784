//! The plant of a soak as a site file: twenty inverters and a mast in the middle of nowhere.
//! Never in here: what its devices publish.

use super::plan::{INPUTS, INVERTERS};
use std::fmt::Write as _;

/// Readers of mails: one who is told little, one who is told all that is worth a visit.
pub const OWNER: &str = "family@example.org";
/// The other one.
pub const SERVICE: &str = "service@example.org";

/// Where everything is that a daemon talks to.
#[derive(Debug, Clone)]
pub struct Around {
    /// Address of each inverter, then of the mast.
    pub devices: Vec<String>,
    /// Of the mail server.
    pub mail: String,
    /// Of the broker.
    pub broker: String,
}

/// The text of the site file. Devices are asked every `every_s` seconds.
pub fn text(around: &Around, every_s: u32) -> String {
    let mut text = HEAD.to_owned();
    for (i, address) in around.devices.iter().enumerate() {
        let source = format!(
            "source = {{ kind = \"modbus-tcp\", address = \"{address}\", unit = {}, map = \"sunspec\", \
             every_s = {every_s}, night_every_s = {every_s}, timeout_s = 0.5 }}\n",
            i + 1
        );
        let device = match i {
            INVERTERS => "\n[[weather]]\nid = \"mast\"\nplane = \"north\"\n".to_owned(),
            _ => format!("\n[[inverter]]\nid = \"inv-{}\"\n{INVERTER}", i + 1),
        };
        text += &(device + &source);
        if i < INVERTERS {
            let inputs = (1..=INPUTS).map(|n| INPUT.replace("NUMBER", &n.to_string()));
            text.extend(inputs);
        }
    }
    let (mail, broker) = (&around.mail, &around.broker);
    write!(
        text,
        r#"
[web]
listen = "127.0.0.1:0"

[alerts.mail]
server = "{mail}"
security = "none"
from = "plant@example.org"

[[alerts.reader]]
name = "Nowhere family"
email = "{OWNER}"
role = "owner"

[[alerts.reader]]
name = "Nowhere service"
email = "{SERVICE}"
role = "technician"
told_from = "plan"
most_per_day = 100

[alerts.mqtt]
address = "{broker}"
prefix = "noonmark/soak"
told_from = "note"

[[broker]]
address = "{broker}"
security = "none"
"#
    )
    .expect("memory takes it");
    text
}

const HEAD: &str = r#"
[site]
name = "Nowhere"
latitude_deg = -35
longitude_deg = 150
altitude_m = 300
timezone = "Australia/Brisbane"
grid_rules = "au-a"
commissioned = 2026-11-09

[[module]]
id = "mono-440"
voc_v = 49.4
isc_a = 11.32
vmp_v = 41.1
imp_a = 10.71
cells_in_series = 72
isc_temp_ratio_per_k = 0.0005
voc_temp_ratio_per_k = -0.0027
pmax_temp_ratio_per_k = -0.0035
first_year_loss_ratio = 0
yearly_loss_ratio = 0

[[plane]]
id = "north"
tilt_deg = 20
azimuth_deg = 0
mounting = "open-rack"
"#;

const INVERTER: &str = "rated_ac_w = 30000
max_dc_voltage_v = 1100
start_voltage_v = 200
tracking_min_v = 160
tracking_max_v = 1000
phases = 3
efficiency = 0.97
";

const INPUT: &str = r#"[[inverter.input]]
number = NUMBER
max_operating_current_a = 28
max_short_circuit_current_a = 36
string = [
    { label = "NUMBERa", module = "mono-440", count = 16, plane = "north" },
    { label = "NUMBERb", module = "mono-440", count = 16, plane = "north" },
]
"#;
