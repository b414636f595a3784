//! What polling costs: a site of many inverters on Modbus TCP, each with some hundred registers, each
//! read every second. Run by hand: `cargo run --release -p noonmark-tests --example many_devices -- 1000`
//! (devices, then seconds to measure; 1000 and 30 where nothing is said).
//!
//! Devices are simulated by a process of their own. Three programs read the same registers from
//! them, one after the other: a bare loop over the Modbus library, this project's pollers, and the whole
//! daemon with analysis, store and reports. Each is measured after it has settled.

use analysis::reading::{Quantity, Time, Value};
use config::checked::SiteFile;
use daemon::clock::Clock;
use daemon::commands::run::STORE_NAME;
use daemon::demo::{Registers, serve};
use daemon::source::modbus::Poller;
use daemon::source::settings;
use daemon::source::sunspec::{ModelImage, Spot, lay_out};
use daemon::store::{Layout, Store};
use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tests::environment_of_service;
use tokio::net::{TcpListener, TcpStream};
use tokio::time::{Instant, Interval, MissedTickBehavior, interval_at, sleep};
use tokio_modbus::client::{Reader, tcp};

const DEVICES: usize = 1000;
const MEASURED_S: u64 = 30;
/// Connecting, discovery and the first slots of the engine.
const SETTLING: Duration = Duration::from_secs(10);
/// Until everything that was read is in the store.
const STORING: Duration = Duration::from_secs(5);
const EVERY: Duration = Duration::from_secs(1);
const UNIT: u8 = 1;
/// Id, length and values of the two models with values: where they stand, and how many registers.
const BLOCKS: [(u16, u16); 2] = [(40_002, 52), (40_054, 50)];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.first().map(String::as_str) {
        Some("devices") => runtime().block_on(devices(number(&args, 1, DEVICES as u64) as usize)),
        Some(program @ ("bare" | "pollers" | "whole")) => {
            let mut addresses = String::new();
            std::io::stdin()
                .read_to_string(&mut addresses)
                .expect("addresses");
            let addresses: Vec<String> = addresses.lines().map(str::to_owned).collect();
            let measured = Duration::from_secs(number(&args, 1, MEASURED_S));
            runtime().block_on(reading(program, &addresses, measured));
        }
        _ => compare(
            number(&args, 0, DEVICES as u64),
            number(&args, 1, MEASURED_S),
        ),
    }
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Runtime::new().expect("a runtime")
}

fn number(args: &[String], at: usize, otherwise: u64) -> u64 {
    args.get(at)
        .map_or(otherwise, |text| text.parse().expect("a number"))
}

fn compare(count: u64, measured_s: u64) {
    let this = std::env::current_exe().expect("known");
    let mut devices = Command::new(&this)
        .args(["devices", &count.to_string()])
        .stdout(Stdio::piped())
        .spawn()
        .expect("started");
    let out = BufReader::new(devices.stdout.take().expect("piped"));
    let addresses = out
        .lines()
        .take(count as usize)
        .map(|line| line.expect("an address"));
    let addresses = addresses.collect::<Vec<_>>().join("\n");
    println!("{count} devices, {} registers each, every second", 52 + 50);
    let mut bare_cores = None;
    for program in ["bare", "pollers", "whole"] {
        let mut child = Command::new(&this)
            .args([program, &measured_s.to_string()])
            .envs(environment_of_service())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("started");
        let stdin = child.stdin.take();
        stdin
            .expect("piped")
            .write_all(addresses.as_bytes())
            .expect("taken");
        let output = child.wait_with_output().expect("ended");
        let text = String::from_utf8(output.stdout).expect("text");
        let numbers: Vec<f64> = text
            .split_whitespace()
            .map(|n| n.parse().expect("a number"))
            .collect();
        let [cores, resident_mb, peak_mb, reads_per_s] = numbers[..] else {
            panic!("{program}: {text:?}");
        };
        let bare = *bare_cores.get_or_insert(cores);
        println!(
            "{program:<8} {cores:.4} cores, {:.2} x bare, resident {resident_mb:.1} MB, peak {peak_mb:.1} MB, {reads_per_s:.0} polls/s",
            cores / bare
        );
    }
    devices.kill().expect("it was started here");
    devices.wait().expect("ended");
}

/// Simulated devices, each with an address on the loopback of its own; prints them.
async fn devices(count: usize) {
    let registers = Registers::new();
    registers.replace(UNIT, lay_out(40_000, &[ac(), inputs()]));
    for k in 0..count {
        let host = format!("127.0.{}.{}:0", k / 250, k % 250 + 1);
        let listener = TcpListener::bind(host)
            .await
            .expect("the loopback has many addresses");
        println!("{}", listener.local_addr().expect("bound"));
        tokio::spawn(serve(listener, registers.clone(), std::future::pending()));
    }
    std::future::pending::<()>().await;
}

fn ac() -> ModelImage {
    let mut ac = ModelImage::new(103, 0).expect("known");
    for (quantity, value) in [
        (Quantity::AcPower, 8123.0),
        (Quantity::Frequency, 50.01),
        (Quantity::AcVoltageL1, 231.4),
        (Quantity::State, 4.0),
        (Quantity::EventBits, 0.0),
    ] {
        ac.put(Spot::Device, quantity, value).expect("fits");
    }
    ac
}

fn inputs() -> ModelImage {
    let mut inputs = ModelImage::new(160, 2).expect("known");
    for (n, amps, volts) in [(1, 8.34, 580.1), (2, 9.12, 591.2)] {
        inputs
            .put(Spot::Input(n), Quantity::DcCurrent, amps)
            .expect("fits");
        inputs
            .put(Spot::Input(n), Quantity::DcVoltage, volts)
            .expect("fits");
    }
    inputs
}

/// Reads all devices by one of the programs; prints cores, memory at the end and at most [MB], and polls
/// per second: of the whole daemon those that are in its store.
async fn reading(program: &str, addresses: &[String], measured: Duration) {
    let polls = Arc::new(std::sync::atomic::AtomicU64::new(0));
    let folder = tempfile::tempdir().expect("a folder");
    // The site of the whole daemon, which says itself how often it has polled.
    let whole = match program {
        "bare" => {
            for (address, due) in addresses.iter().zip(times(addresses.len())) {
                tokio::spawn(bare(address.clone(), due, polls.clone()));
            }
            None
        }
        "pollers" => {
            let site = site(addresses);
            let table = Arc::new(site.plant.channels.clone());
            for (source, due) in site.sources.iter().zip(times(addresses.len())) {
                let settings = settings(source).expect("Modbus");
                let poller = Poller::new(settings, source.device.clone(), table.clone());
                tokio::spawn(poll(poller, due, polls.clone()));
            }
            None
        }
        _ => {
            let site = Arc::new(site(addresses));
            let (read, folder) = (site.clone(), folder.path().to_owned());
            tokio::spawn(async move {
                let forever = std::future::pending();
                daemon::commands::run::run(&read, &folder, Clock::System, forever).await
            });
            Some(site)
        }
    };
    sleep(SETTLING).await;
    let count = || polls.load(std::sync::atomic::Ordering::Relaxed);
    let (begin, cpu_before, before) = (Clock::System.now(), cpu_s(), count());
    sleep(measured).await;
    let s = measured.as_secs_f64();
    let cores = (cpu_s() - cpu_before) / s;
    let (resident, peak) = (memory_mb("VmRSS:"), memory_mb("VmHWM:"));
    let done = match whole {
        Some(site) => {
            let end = Clock::System.now();
            sleep(STORING).await;
            stored(&site, folder.path(), begin, end)
        }
        None => count() - before,
    };
    println!("{cores} {resident} {peak} {}", done as f64 / s);
    // Nothing that was started is waited for.
    std::process::exit(0);
}

/// Polls between two times that have a good power in the store.
fn stored(site: &SiteFile, folder: &Path, begin: Time, end: Time) -> u64 {
    let path = folder.join(STORE_NAME);
    let store = Store::open_to_read(&path, &Layout::of(&site.plant)).expect("it is there");
    let channels = site.plant.channels.iter();
    let of_polls = channels.filter(|(_, channel)| channel.quantity == Quantity::AcPower);
    let readings = of_polls.flat_map(|(id, _)| store.readings(id, begin, end).expect("reads"));
    let good = readings.filter(|reading| matches!(reading.value, Value::Good(_)));
    good.count() as u64
}

/// When each device is asked: spread over the time between two polls, for the loop as for the pollers.
fn times(count: usize) -> impl Iterator<Item = Interval> {
    let begin = Instant::now();
    (0..count).map(move |k| {
        let mut due = interval_at(begin + EVERY * k as u32 / count as u32, EVERY);
        due.set_missed_tick_behavior(MissedTickBehavior::Skip);
        due
    })
}

async fn bare(address: String, mut due: Interval, polls: Arc<std::sync::atomic::AtomicU64>) {
    let stream = TcpStream::connect(address).await.expect("connected");
    stream.set_nodelay(true).expect("set");
    let mut context = tcp::attach_slave(stream, tokio_modbus::Slave(UNIT));
    loop {
        due.tick().await;
        for (first, count) in BLOCKS {
            let words = context.read_holding_registers(first, count).await;
            assert_eq!(
                words.expect("sent").expect("read").len(),
                usize::from(count)
            );
        }
        polls.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    }
}

async fn poll(mut poller: Poller, mut due: Interval, polls: Arc<std::sync::atomic::AtomicU64>) {
    loop {
        due.tick().await;
        let readings = poller.poll(Clock::System.now()).await.expect("read");
        assert!(!readings.is_empty());
        polls.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    }
}

/// A site with one inverter of two inputs at each address.
fn site(addresses: &[String]) -> SiteFile {
    let mut text = String::from(
        r#"
[site]
name = "Many inverters"
latitude_deg = -34.5
longitude_deg = 139.0
altitude_m = 80
timezone = "Australia/Adelaide"
grid_rules = "au-a"
commissioned = 2025-01-01
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
"#,
    );
    let input = |n| {
        format!(
            r#"[[inverter.input]]
number = {n}
max_operating_current_a = 16
max_short_circuit_current_a = 20
[[inverter.input.string]]
label = "{n}"
module = "mono-440"
count = 14
plane = "north"
"#
        )
    };
    let inputs = [1, 2].map(input).concat();
    for (k, address) in addresses.iter().enumerate() {
        write!(
            text,
            r#"
[[inverter]]
id = "inv-{k}"
rated_ac_w = 12000
max_dc_voltage_v = 1000
start_voltage_v = 180
tracking_min_v = 200
tracking_max_v = 850
phases = 3
efficiency = 0.975
{inputs}[inverter.source]
kind = "modbus-tcp"
address = "{address}"
unit = {UNIT}
map = "sunspec"
every_s = 1
"#
        )
        .expect("memory takes it");
    }
    config::parse("many.toml", &text, Path::new(".")).unwrap_or_else(|errors| panic!("{errors}"))
}

/// What this process has used of all cores [s].
fn cpu_s() -> f64 {
    let clock = rustix::time::ClockId::ProcessCPUTime;
    let time = rustix::time::clock_gettime(clock);
    time.tv_sec as f64 + time.tv_nsec as f64 / 1e9
}

fn memory_mb(what: &str) -> f64 {
    let status = fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find_map(|line| line.strip_prefix(what));
    let kb = line.and_then(|line| line.trim().strip_suffix("kB"));
    kb.expect("it is told")
        .trim()
        .parse::<f64>()
        .expect("a number")
        / 1000.0
}
