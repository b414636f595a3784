//! What an inverter says of itself that does not change: ratings and how many inputs it has (models 120,
//! 121, 160, 702, 714), for whoever begins to describe a plant.
//!
//! Source:  SunSpec model definition files; `points.csv`.
//! Check:   tests/acceptance/init.rs, against another library's server.
//! Never in here: what is polled.

use super::decode::{Decoded, Spot, decode};
use super::discover::{Device, DiscoverError, read_whole};
use super::points::{Content, Part, PointValue, points};
use super::walk::Model;
use crate::source::modbus::{ModbusError, ReadOnlyClient};

/// A point in the fixed part of a model.
type Named = (u16, &'static str);

/// Active power; what the inverter can comes before what it is set to.
const ACTIVE: [Named; 3] = [(702, "WMaxRtg"), (120, "WRtg"), (121, "WMax")];
/// Apparent power.
const APPARENT: [Named; 3] = [(702, "VAMaxRtg"), (120, "VARtg"), (121, "VAMax")];
/// How many inputs there are.
const INPUTS: Named = (160, "N");
/// Where ports stand that are for modules or for something else.
const PORTS: u16 = 714;
/// More is no inverter (the site file's own limit).
const MOST_INPUTS: f64 = 64.0;

/// What is said; what is not, or cannot be, is absent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ratings {
    /// Active power [W].
    pub active_w: Option<f64>,
    /// Apparent power [VA].
    pub apparent_va: Option<f64>,
    /// Inputs for modules.
    pub inputs: Option<u8>,
    /// Phases of the supply.
    pub phases: Option<u8>,
}

/// Asks for all of it.
///
/// # Errors
/// If the device does not answer; what it refuses is not said.
pub async fn ratings(
    client: &mut ReadOnlyClient,
    device: &Device,
) -> Result<Ratings, DiscoverError> {
    let mut asked = Asked { client, device };
    let mut inputs = asked.first_of(&[INPUTS]).await?;
    if inputs.is_none() {
        inputs = asked.ports_of_modules().await?;
    }
    let inputs = inputs.filter(|count| (1.0..=MOST_INPUTS).contains(count));
    Ok(Ratings {
        active_w: asked.first_of(&ACTIVE).await?,
        apparent_va: asked.first_of(&APPARENT).await?,
        inputs: inputs.map(|count| count as u8),
        phases: phases(&device.models),
    })
}

/// By the model of AC values: one of a single phase, or of three. Two lines of a split phase and model
/// 701, which serves all, say nothing that a site file knows.
fn phases(models: &[Model]) -> Option<u8> {
    models.iter().find_map(|model| match model.id {
        101 | 111 => Some(1),
        103 | 113 => Some(3),
        _ => None,
    })
}

struct Asked<'a> {
    client: &'a mut ReadOnlyClient,
    device: &'a Device,
}

impl Asked<'_> {
    /// The first that is given.
    async fn first_of(&mut self, places: &[Named]) -> Result<Option<f64>, DiscoverError> {
        for (model, name) in places {
            let image = self.image(*model).await?;
            let number = image.and_then(|image| number(*model, &image, name));
            if number.is_some() {
                return Ok(number);
            }
        }
        Ok(None)
    }

    async fn ports_of_modules(&mut self) -> Result<Option<f64>, DiscoverError> {
        let image = self.image(PORTS).await?;
        Ok(image.map(|image| inputs(&decode(PORTS, &image))))
    }

    /// `None` where the device has no such model, or refuses it.
    async fn image(&mut self, id: u16) -> Result<Option<Vec<u16>>, DiscoverError> {
        let Some(model) = self.device.models.iter().find(|model| model.id == id) else {
            return Ok(None);
        };
        match read_whole(self.client, self.device.kind, model).await {
            Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => Ok(None),
            other => other,
        }
    }
}

/// A rating of nothing is none.
fn number(model: u16, image: &[u16], name: &str) -> Option<f64> {
    let all = points(model, image);
    let is_it = |held: &&PointValue| held.part == Part::Fixed && held.name == name;
    match all.iter().find(is_it)?.content {
        Content::Number(number) => Some(number).filter(|number| *number > 0.0),
        Content::Text(_) | Content::Missing => None,
    }
}

fn inputs(values: &[Decoded]) -> f64 {
    let number = |value: &Decoded| match value.spot {
        Spot::Input(number) => number,
        Spot::Device | Spot::AllInputs => 0,
    };
    f64::from(values.iter().map(number).max().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exponent_that_is_none_makes_no_rating() {
        let rated = |watts: u16, exponent: u16| {
            let mut image = vec![0xFFFF; 28];
            image[..5].copy_from_slice(&[120, 26, 4, watts, exponent]);
            number(120, &image, "WRtg")
        };
        let with_exponent = |exponent: u16| rated(3300, exponent);
        assert_eq!(with_exponent(1), Some(33_000.0));
        assert_eq!(with_exponent((-1_i16) as u16), Some(330.0));
        assert_eq!(with_exponent(0x8000), None);
        assert_eq!(rated(0, 1), None);
    }
}
