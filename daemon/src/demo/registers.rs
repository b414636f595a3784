//! The demo's values as the registers of open SunSpec models. Never in here: physics.

use super::register_server::Registers;
use super::twin::{InverterValues, Published};
use crate::source::sunspec::{EncodeError, ModelImage, Spot, lay_out};
use analysis::plant::Plant;
use analysis::reading::Quantity;

/// Where the models begin on every unit, as most devices have it.
const BASE: u16 = 40_000;

/// Puts what is published into the registers: units 1, 2, ... are the inverters, then the mast.
///
/// # Errors
/// If a value does not fit into its register.
pub fn fill(registers: &Registers, plant: &Plant, now: &Published) -> Result<(), EncodeError> {
    for (unit, values) in (1..).zip(&now.inverters) {
        match values {
            Some(values) => registers.replace(unit, lay_out(BASE, &inverter(values)?)),
            None => registers.remove(unit),
        }
    }
    let mast = plant.inverters.len() as u8 + 1;
    registers.replace(mast, lay_out(BASE, &weather(&now.weather)?));
    Ok(())
}

fn inverter(values: &InverterValues) -> Result<Vec<ModelImage>, EncodeError> {
    let mut ac = ModelImage::new(103, 0)?;
    let mut status = ModelImage::new(122, 0)?;
    for (quantity, value) in &values.device {
        let model = match quantity {
            Quantity::IsolationResistance => &mut status,
            _ => &mut ac,
        };
        model.put(Spot::Device, *quantity, *value)?;
    }
    let mut inputs = ModelImage::new(160, values.inputs.len())?;
    for (n, (volts, amps)) in (1..).zip(&values.inputs) {
        inputs.put(Spot::Input(n), Quantity::DcVoltage, *volts)?;
        inputs.put(Spot::Input(n), Quantity::DcCurrent, *amps)?;
        inputs.put(Spot::Input(n), Quantity::DcPower, volts * amps)?;
    }
    Ok(vec![identity()?, ac, status, inputs])
}

fn weather(values: &[(Quantity, f64)]) -> Result<Vec<ModelImage>, EncodeError> {
    let mut light = ModelImage::new(302, 1)?;
    let mut air = ModelImage::new(307, 0)?;
    for (quantity, value) in values {
        let model = if *quantity == Quantity::Poa {
            &mut light
        } else {
            &mut air
        };
        model.put(Spot::Device, *quantity, *value)?;
    }
    Ok(vec![identity()?, light, air])
}

fn identity() -> Result<ModelImage, EncodeError> {
    let mut identity = ModelImage::new(1, 0)?;
    identity.text("Mn", "Noonmark demo")?;
    identity.text("Md", "invented")?;
    Ok(identity)
}
