//! Plants whose truth differs from what is known of them by stated errors, drawn one plant at a
//! time.
//!
//! The errors are put into the world here, by hand and one after the other; nothing of how the
//! program propagates them is used. The sun, the one-diode model and the transposition are shared
//! with the program, so their own errors are not in here, but for the model of the sky: half of the
//! plants stand under another one.
//! Never in here: bands.

mod errors;
mod truth;

pub use errors::Errors;
pub use truth::DrawnPlant;

use crate::plant::{NORTH, Shape, Strings, WEST, plant};
use analysis::plant::Plant;
use analysis::reading::{Angle, Channel, ChannelTable, DeviceId, Place, Power, Quantity, Span};

/// Most that the power of a batch of modules differs from the datasheet [-].
pub const POWER_TOLERANCE_RATIO: f64 = 0.03;
/// From one instant to the next.
pub const STEP: Span = Span::from_min(5);

/// What measures the weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensors {
    /// Irradiance in the plane that looks north, air, wind.
    Plane,
    /// Irradiance in that plane and the back of a module in it.
    PlaneAndBack,
    /// Global and diffuse horizontal irradiance, air, wind.
    HorizontalWithDiffuse,
    /// Global horizontal irradiance, air.
    HorizontalOnly,
    /// Nothing.
    Nothing,
}

impl Sensors {
    /// All of them.
    pub const ALL: [Sensors; 5] = [
        Sensors::Plane,
        Sensors::PlaneAndBack,
        Sensors::HorizontalWithDiffuse,
        Sensors::HorizontalOnly,
        Sensors::Nothing,
    ];

    fn quantities(self) -> &'static [Quantity] {
        match self {
            Self::Plane => &[Quantity::Poa, Quantity::AirTemperature, Quantity::WindSpeed],
            Self::PlaneAndBack => &[
                Quantity::Poa,
                Quantity::ModuleTemperature,
                Quantity::AirTemperature,
            ],
            Self::HorizontalWithDiffuse => &[
                Quantity::Ghi,
                Quantity::Dhi,
                Quantity::AirTemperature,
                Quantity::WindSpeed,
            ],
            Self::HorizontalOnly => &[Quantity::Ghi, Quantity::AirTemperature],
            Self::Nothing => &[],
        }
    }
}

/// What is known of a drawn plant: two inputs to the north, one alone to the west.
fn known(errors: &Errors, sensors: Sensors) -> Plant {
    let strings = |parallel, modules, plane| Strings {
        parallel,
        modules,
        plane,
    };
    let inputs = vec![
        strings(2, 16, NORTH),
        strings(1, 18, NORTH),
        strings(1, 16, WEST),
    ];
    let mut plant = plant(&Shape {
        inverters: vec![(60_000.0, inputs)],
        sensor: Some(NORTH),
        every: STEP,
    });
    plant.site.latitude = Angle::from_deg(errors.latitude_deg);
    plant.planes[NORTH].tilt = Angle::from_deg(errors.tilt_deg);
    plant.modules[0].power_tolerance_ratio = POWER_TOLERANCE_RATIO;
    // What an inverter may pass on is not what is asked here.
    plant.inverters[0].rated_ac = Power::from_w(60_000.0);
    let quantities = sensors.quantities();
    if quantities.is_empty() {
        plant.weather.clear();
    }
    let weather = quantities.iter().map(|quantity| Channel {
        device: DeviceId::new("mast"),
        place: Place::Device,
        quantity: *quantity,
    });
    let of_inverters = |channel: &Channel| channel.device != DeviceId::new("mast");
    let inverters = plant.channels.iter().map(|(_, channel)| channel.clone());
    plant.channels = ChannelTable::new(inverters.filter(of_inverters).chain(weather));
    plant
}
