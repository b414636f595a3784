//! The devices of a soak on the loopback: what the plant's twin publishes, as registers of open models,
//! once for a daemon that is left alone and once behind converters that do what goes wrong on lines.
//! Never in here: when something goes wrong.

use super::plan::INVERTERS;
use crate::fault_proxy::{FaultProxy, Frames, Trouble};
use crate::plant::Twin;
use analysis::plant::Plant;
use analysis::reading::{Place, Quantity, Reading, Span, Time};
use daemon::clock::Clock;
use daemon::demo::{Registers, serve};
use daemon::source::sunspec::{ModelImage, Spot, lay_out};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use tokio::net::TcpListener;

/// Where the models begin, as most devices have it.
const BASE: u16 = 40_000;

/// Registers of all devices, unit by unit: inverters from 1 on, then the mast.
#[derive(Debug, Clone)]
pub struct Devices {
    registers: Registers,
    /// Inverters that show their models in another order.
    moved: Arc<Mutex<BTreeSet<usize>>>,
    /// Where each listens.
    pub addresses: Vec<String>,
}

impl Devices {
    /// Servers of all of them; they end with the runtime.
    pub async fn serve() -> Self {
        let registers = Registers::new();
        let mut addresses = Vec::new();
        for _ in 0..=INVERTERS {
            let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
            addresses.push(listener.local_addr().expect("bound").to_string());
            tokio::spawn(serve(listener, registers.clone(), std::future::pending()));
        }
        Self {
            registers,
            moved: Arc::default(),
            addresses,
        }
    }

    /// Whether an inverter shows its models in another order from the next values on.
    pub fn set_moved(&self, inverter: usize, is_moved: bool) {
        let mut moved = self.moved.lock().expect("no panic");
        match is_moved {
            true => moved.insert(inverter),
            false => moved.remove(&inverter),
        };
    }

    fn fill(&self, plant: &Plant, readings: &[Reading]) {
        let moved = self.moved.lock().expect("no panic").clone();
        let of = |device: &str| -> Vec<(Place, Quantity, f64)> {
            let mine = readings.iter().filter_map(|reading| {
                let channel = plant.channels.channel(reading.channel);
                let value = reading.value.good()?;
                let is_mine = channel.device.as_str() == device;
                is_mine.then_some((channel.place, channel.quantity, value))
            });
            mine.collect()
        };
        for (i, inverter) in plant.inverters.iter().enumerate() {
            let values = of(inverter.id.as_str());
            let models = inverter_models(&values, inverter.inputs.len(), moved.contains(&i));
            self.registers.replace(i as u8 + 1, lay_out(BASE, &models));
        }
        let models = mast_models(&of("mast"));
        let unit = INVERTERS as u8 + 1;
        self.registers.replace(unit, lay_out(BASE, &models));
    }
}

fn inverter_models(
    values: &[(Place, Quantity, f64)],
    inputs: usize,
    is_moved: bool,
) -> Vec<ModelImage> {
    let mut ac = model(103, 0);
    let mut status = model(122, 0);
    let mut of_inputs = model(160, inputs);
    for (place, quantity, value) in values {
        let (image, spot) = match (place, quantity) {
            (Place::Input(n), Quantity::DcVoltage | Quantity::DcCurrent) => {
                (&mut of_inputs, Spot::Input(*n))
            }
            (Place::Device, Quantity::IsolationResistance) => (&mut status, Spot::Device),
            (
                Place::Device,
                Quantity::AcPower
                | Quantity::AcReactivePower
                | Quantity::AcVoltageL1
                | Quantity::AcVoltageL2
                | Quantity::AcVoltageL3
                | Quantity::Frequency
                | Quantity::HeatsinkTemperature
                | Quantity::State
                | Quantity::EventBits,
            ) => (&mut ac, Spot::Device),
            _ => continue,
        };
        image.put(spot, *quantity, *value).expect("it fits");
    }
    match is_moved {
        true => vec![identity(), status, ac, of_inputs],
        false => vec![identity(), ac, status, of_inputs],
    }
}

fn mast_models(values: &[(Place, Quantity, f64)]) -> Vec<ModelImage> {
    let (mut light, mut air) = (model(302, 1), model(307, 0));
    for (_, quantity, value) in values {
        let image = match quantity {
            Quantity::Poa => &mut light,
            Quantity::AirTemperature | Quantity::WindSpeed => &mut air,
            _ => continue,
        };
        // What a sensor shows in the dark may be below zero, and its register holds no sign.
        let value = match quantity {
            Quantity::Poa => value.max(0.0),
            _ => *value,
        };
        image.put(Spot::Device, *quantity, value).expect("it fits");
    }
    vec![identity(), light, air]
}

fn identity() -> ModelImage {
    let mut identity = model(1, 0);
    identity.text("Mn", "Noonmark soak").expect("it fits");
    identity
}

fn model(id: u16, blocks: usize) -> ModelImage {
    ModelImage::new(id, blocks).expect("a known model")
}

/// The converters before the devices of the daemon that is not left alone.
pub struct Lines(Vec<FaultProxy>);

impl Lines {
    /// One before each device.
    pub async fn before(devices: &Devices) -> Self {
        let mut lines = Vec::new();
        for address in &devices.addresses {
            lines.push(FaultProxy::start(address.clone(), Frames::Tcp).await);
        }
        Self(lines)
    }

    /// Where they listen.
    pub fn addresses(&self) -> Vec<String> {
        self.0.iter().map(FaultProxy::address).collect()
    }

    /// What happens to the answers of an inverter from now on.
    pub fn set(&self, inverter: usize, trouble: Option<Trouble>) {
        self.0[inverter].set(inverter as u8 + 1, trouble);
    }
}

/// The plant at work: fills the registers of all devices with what its twin publishes.
pub struct Plays {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Plays {
    /// From now on, step by step of the clock that everybody shares. The values of a step stand there
    /// from half a step before it, so that polls that fall on it get them.
    pub fn start(
        twin: Twin,
        plant: Arc<Plant>,
        clock: Clock,
        step: Span,
        to: Vec<Devices>,
    ) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let mut filled = fill(&twin, &plant, next(clock.now(), step), &to);
        let is_stopped = stop.clone();
        let thread = std::thread::spawn(move || {
            while !is_stopped.load(Ordering::Relaxed) {
                let due = next(clock.now(), step);
                if due > filled {
                    filled = fill(&twin, &plant, due, &to);
                }
                std::thread::sleep(std::time::Duration::from_millis(2));
            }
        });
        Self {
            stop,
            thread: Some(thread),
        }
    }
}

fn next(now: Time, step: Span) -> Time {
    (now + step.half()).slot_start(step)
}

fn fill(twin: &Twin, plant: &Plant, at: Time, to: &[Devices]) -> Time {
    let readings = twin.poll(at);
    for devices in to {
        devices.fill(plant, &readings);
    }
    at
}

impl Plays {
    /// Ends it.
    pub fn end(mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let thread = self.thread.take().expect("it ends once");
        thread.join().expect("the twin published to the end");
    }
}

impl Drop for Plays {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}
