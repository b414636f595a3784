//! The site of this measurement, and its devices on the loopback.

use analysis::reading::Quantity;
use daemon::demo::{Registers, serve};
use daemon::source::sunspec::{ModelImage, Spot, lay_out};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use tokio::net::TcpListener;

const UNIT: u8 = 1;

/// Simulated devices; where each is.
pub async fn serve_devices(count: usize) -> Vec<String> {
    let registers = Registers::new();
    registers.replace(UNIT, lay_out(40_000, &[ac(), inputs()]));
    let mut addresses = Vec::new();
    for _ in 0..count {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        addresses.push(listener.local_addr().expect("bound").to_string());
        tokio::spawn(serve(listener, registers.clone(), std::future::pending()));
    }
    addresses
}

fn ac() -> ModelImage {
    let mut ac = ModelImage::new(103, 0).expect("known");
    let values = [
        (Quantity::AcPower, 0.0),
        (Quantity::Frequency, 50.01),
        (Quantity::AcVoltageL1, 231.4),
        (Quantity::AcVoltageL2, 231.0),
        (Quantity::AcVoltageL3, 230.7),
        (Quantity::State, 2.0),
        (Quantity::EventBits, 0.0),
    ];
    for (quantity, value) in values {
        ac.put(Spot::Device, quantity, value).expect("fits");
    }
    ac
}

fn inputs() -> ModelImage {
    let mut inputs = ModelImage::new(160, 2).expect("known");
    for n in [1, 2] {
        for quantity in [Quantity::DcCurrent, Quantity::DcVoltage] {
            inputs.put(Spot::Input(n), quantity, 0.0).expect("fits");
        }
    }
    inputs
}

/// Writes the site file with one inverter of two inputs at each address.
pub fn write(folder: &Path, addresses: &[String]) -> PathBuf {
    let mut text = HEAD.to_owned();
    for (k, address) in addresses.iter().enumerate() {
        let inputs = [1, 2].map(|n| INPUT.replace("NUMBER", &n.to_string()));
        write!(
            text,
            "\n[[inverter]]\nid = \"inv-{k}\"\n{INVERTER}{}[inverter.source]\nkind = \"modbus-tcp\"\n\
             address = \"{address}\"\nunit = {UNIT}\nmap = \"sunspec\"\nevery_s = 1\n",
            inputs.concat()
        )
        .expect("memory takes it");
    }
    text += "\n[web]\nlisten = \"127.0.0.1:0\"\n";
    let file = folder.join("site.toml");
    std::fs::write(&file, text).expect("room");
    file
}

const HEAD: &str = r#"
[site]
name = "Twenty inverters"
latitude_deg = -27.4
longitude_deg = 152.6
altitude_m = 80
timezone = "Australia/Brisbane"
grid_rules = "au-a"
commissioned = 2026-11-10
energy_price_per_kwh = 0.12
currency = "AUD"

[[module]]
id = "mono-440"
voc_v = 49.9
isc_a = 11.2
vmp_v = 41.6
imp_a = 10.6
cells_in_series = 72
isc_temp_ratio_per_k = 0.0005
voc_temp_ratio_per_k = -0.0027
pmax_temp_ratio_per_k = -0.0035

[[plane]]
id = "north"
tilt_deg = 25
azimuth_deg = 0
mounting = "open-rack"
"#;

const INVERTER: &str = "rated_ac_w = 25000
max_dc_voltage_v = 1000
start_voltage_v = 180
tracking_min_v = 200
tracking_max_v = 850
phases = 3
efficiency = 0.975
";

const INPUT: &str = r#"[[inverter.input]]
number = NUMBER
max_operating_current_a = 32
max_short_circuit_current_a = 40
string = [
    { label = "NUMBERa", module = "mono-440", count = 16, plane = "north" },
    { label = "NUMBERb", module = "mono-440", count = 16, plane = "north" },
]
"#;
