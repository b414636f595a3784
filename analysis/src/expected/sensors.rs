//! Which channels carry a weather quantity, and what they show where it can be true.
//! Never in here: which of several quantities is better.

use super::moment::Moment;
use crate::plant::Plant;
use crate::reading::{Channel, ChannelId, DeviceId, Irradiance, Place, Quantity};

/// The channels of a quantity on devices and inverters in some planes.
pub(super) fn weather_channels(
    plant: &Plant,
    quantity: Quantity,
    in_plane: impl Fn(Option<usize>) -> bool,
) -> Vec<ChannelId> {
    let devices = plant
        .weather
        .iter()
        .map(|device| (&device.id, device.plane));
    // Sensors may be wired to an inverter; then they see the plane of its first input.
    let inverters = plant.inverters.iter().map(|inverter| {
        let plane = inverter.inputs.first().map(|input| input.plane());
        (&inverter.id, plane)
    });
    let carries = |channel: &Channel, id: &DeviceId| {
        channel.device == *id && channel.place == Place::Device && channel.quantity == quantity
    };
    devices
        .chain(inverters)
        .filter(|(_, plane)| in_plane(*plane))
        .flat_map(|(id, _)| plant.channels.iter().filter(move |(_, c)| carries(c, id)))
        .map(|(id, _)| id)
        .collect()
}

/// The first of some sensors that shows what can be true, over the part of the slot with sun.
pub(super) fn sensor(
    moment: &Moment,
    channels: &[ChannelId],
    lit_ratio: f64,
    is_possible: impl Fn(Irradiance) -> bool,
) -> Option<(ChannelId, Irradiance)> {
    let trusted = |id: &ChannelId| !moment.distrusted.contains(id);
    channels.iter().copied().filter(trusted).find_map(|id| {
        // A pyranometer reads a little below zero at night.
        let mean = moment.means.get(id)?.mean.max(0.0) / lit_ratio;
        let irradiance = Irradiance::from_w_m2(mean);
        is_possible(irradiance).then_some((id, irradiance))
    })
}

pub(super) fn sensor_value(
    moment: &Moment,
    channels: &[ChannelId],
    lit_ratio: f64,
    is_possible: impl Fn(Irradiance) -> bool,
) -> Option<Irradiance> {
    sensor(moment, channels, lit_ratio, is_possible).map(|(_, irradiance)| irradiance)
}
