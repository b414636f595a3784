//! What a device says of itself. Its serial number is not asked for.
//! Never in here: the text of a site file.

use super::InitError;
use super::answers::Place;
use crate::commands::scan::WITHIN;
use crate::source::modbus::{Endpoint, Line, ModbusError, ReadOnlyClient};
use crate::source::sunspec::{
    Decoded, Device, DiscoverError, Ratings, decode, discover, ratings, read,
};
use analysis::reading::{Quantity, Value};
use std::fmt;

/// A device that answers.
#[derive(Debug)]
pub(super) struct FoundDevice {
    pub(super) place: Place,
    pub(super) kind: Kind,
    /// Whether it shows the light in a plane. Which plane that is nobody but a person knows.
    pub(super) has_plane_sensor: bool,
    /// Manufacturer and model, for people.
    pub(super) named: String,
}

/// What it is.
#[derive(Debug)]
pub(super) enum Kind {
    /// With open models of an inverter.
    Inverter(Ratings),
    /// With open models of weather and none of an inverter.
    Weather,
    /// It answers and has no open models: whoever describes it knows more.
    WithoutModels,
}

/// Asks a device.
pub(super) async fn ask(place: &Place) -> Result<FoundDevice, InitError> {
    let unreachable = |error| InitError::Unreachable {
        address: place.address.clone(),
        unit: place.unit,
        error,
    };
    let address = place.address.clone();
    let line = Line::to(Endpoint::Tcp { address });
    let mut client = ReadOnlyClient::on(line, place.unit, WITHIN);
    let device = match discover(&mut client).await {
        Ok(device) => device,
        Err(DiscoverError::NoMarker) => {
            return Ok(FoundDevice {
                place: place.clone(),
                kind: Kind::WithoutModels,
                has_plane_sensor: false,
                named: String::new(),
            });
        }
        Err(error) => return Err(unreachable(error)),
    };
    let has = |ids: &[u16]| device.models.iter().any(|model| ids.contains(&model.id));
    let is_weather = has(&[302, 303, 307, 308]);
    let is_inverter = has(&[101, 102, 103, 111, 112, 113, 701]);
    let kind = match is_weather && !is_inverter {
        true => Kind::Weather,
        false => Kind::Inverter(ratings(&mut client, &device).await.map_err(unreachable)?),
    };
    let has_plane_sensor = has_plane_sensor(&mut client, &device)
        .await
        .map_err(unreachable)?;
    let names = [&device.identity.manufacturer, &device.identity.model];
    let names: Vec<&str> = names.into_iter().flatten().map(String::as_str).collect();
    Ok(FoundDevice {
        place: place.clone(),
        kind,
        has_plane_sensor,
        named: names.join(" "),
    })
}

/// A model has a register for it whether a sensor is there or not: its value tells.
async fn has_plane_sensor(
    client: &mut ReadOnlyClient,
    device: &Device,
) -> Result<bool, DiscoverError> {
    let mut shown = false;
    for model in device.used() {
        let image = read(client, device.kind, &model).await;
        let image = match image {
            Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => continue,
            image => image?.unwrap_or_default(),
        };
        let is_light = |d: &Decoded| d.quantity == Quantity::Poa && d.value != Value::Missing;
        shown |= decode(model.id, &image).iter().any(is_light);
    }
    Ok(shown)
}

impl fmt::Display for FoundDevice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Place { address, unit } = &self.place;
        write!(f, "{address}, unit {unit}: ")?;
        match &self.kind {
            Kind::WithoutModels => write!(f, "answers and has no SunSpec models"),
            Kind::Weather => write!(f, "{} measures weather", self.named),
            Kind::Inverter(ratings) => {
                let said = |what: &str, value: Option<f64>| match value {
                    Some(value) => format!("{value} {what}"),
                    None => format!("{what} not told"),
                };
                let (inputs, phases) = (ratings.inputs, ratings.phases);
                let all = [
                    said("W", ratings.active_w),
                    said("inputs", inputs.map(f64::from)),
                    said("phases", phases.map(f64::from)),
                ];
                write!(f, "{}; {}", self.named, all.join(", "))
            }
        }?;
        match self.has_plane_sensor {
            true => write!(f, ", with a sensor in a plane: the file must say in which"),
            false => Ok(()),
        }
    }
}
