//! What an inverter says of itself that does not change: ratings and how many inputs it has (models 120,
//! 121, 160, 702, 714), for whoever begins to describe a plant.
//!
//! Source:  SunSpec model definition files (models 120, 121 and 714 at commits 241057a1, 0d6e5022 and
//!          09b35b5e of their public repository, Apache-2.0), which give the offsets below, counted from
//!          the register of the model's id.
//! Check:   tests/acceptance/init.rs, against another library's server.
//! Never in here: what is polled.

use super::discover::{Device, DiscoverError};
use super::walk::Model;
use crate::source::modbus::{ModbusError, ReadOnlyClient, RegisterKind};

/// Where a number stands and where its exponent of ten.
#[derive(Debug, Clone, Copy)]
struct Rated {
    model: u16,
    number: u16,
    exponent: u16,
}

/// Active power; what the inverter can comes before what it is set to.
const ACTIVE: [Rated; 3] = [
    Rated {
        model: 702,
        number: 2,
        exponent: 45,
    },
    Rated {
        model: 120,
        number: 3,
        exponent: 4,
    },
    Rated {
        model: 121,
        number: 2,
        exponent: 22,
    },
];
/// Apparent power.
const APPARENT: [Rated; 3] = [
    Rated {
        model: 702,
        number: 7,
        exponent: 47,
    },
    Rated {
        model: 120,
        number: 5,
        exponent: 6,
    },
    Rated {
        model: 121,
        number: 7,
        exponent: 26,
    },
];
/// How many inputs model 160 has.
const INPUTS: u16 = 160;
const INPUTS_COUNT: u16 = 8;
/// How many ports model 714 has, where the first one stands, and how far they are apart; a port
/// begins with its type.
const PORTS: u16 = 714;
const PORTS_COUNT: u16 = 4;
const FIRST_PORT: u16 = 20;
const PORT_SIZE: u16 = 25;
const PORT_OF_MODULES: u16 = 1;
const NOT_IMPLEMENTED: u16 = 0xFFFF;
/// More is no inverter (the site file's own limit).
const MOST_INPUTS: u16 = 64;

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
    let mut inputs = asked.register(INPUTS, INPUTS_COUNT).await?;
    if inputs.is_none() {
        inputs = asked.ports_of_modules().await?;
    }
    let inputs = inputs.filter(|count| (1..=MOST_INPUTS).contains(count));
    Ok(Ratings {
        active_w: asked.first_of(&ACTIVE).await?,
        apparent_va: asked.first_of(&APPARENT).await?,
        inputs: inputs.and_then(|count| u8::try_from(count).ok()),
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
    async fn first_of(&mut self, places: &[Rated]) -> Result<Option<f64>, DiscoverError> {
        for place in places {
            let number = self.register(place.model, place.number).await?;
            let exponent = self.register(place.model, place.exponent).await?;
            if let Some(value) = number.zip(exponent).and_then(scaled) {
                return Ok(Some(value));
            }
        }
        Ok(None)
    }

    async fn ports_of_modules(&mut self) -> Result<Option<u16>, DiscoverError> {
        let Some(ports) = self.register(PORTS, PORTS_COUNT).await? else {
            return Ok(None);
        };
        let mut of_modules = 0;
        for port in 0..ports.min(MOST_INPUTS) {
            let kind = self.register(PORTS, FIRST_PORT + port * PORT_SIZE).await?;
            of_modules += u16::from(kind == Some(PORT_OF_MODULES));
        }
        Ok(Some(of_modules))
    }

    /// A register of a model, counted from its id; `None` where it has no such register or says that
    /// there is nothing in it.
    async fn register(&mut self, id: u16, offset: u16) -> Result<Option<u16>, DiscoverError> {
        let model = self.device.models.iter().find(|model| model.id == id);
        let Some(model) = model.filter(|model| offset < model.length + 2) else {
            return Ok(None);
        };
        let kind: RegisterKind = self.device.kind;
        match self.client.registers(kind, model.address + offset, 1).await {
            Ok(words) => Ok(words
                .first()
                .copied()
                .filter(|word| *word != NOT_IMPLEMENTED)),
            Err(ModbusError::Refused { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }
}

/// A rating of nothing is none; an exponent is from -10 to 10.
fn scaled((number, exponent): (u16, u16)) -> Option<f64> {
    let exponent = exponent as i16;
    let is_exponent = (-10..=10).contains(&exponent);
    let value = f64::from(number) * 10_f64.powi(exponent.into());
    (is_exponent && value > 0.0).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exponent_that_is_none_makes_no_rating() {
        assert_eq!(scaled((3300, 1)), Some(33_000.0));
        assert_eq!(scaled((500, (-1_i16) as u16)), Some(50.0));
        assert_eq!(scaled((3300, 0x8000)), None);
        assert_eq!(scaled((0, 1)), None);
    }
}
