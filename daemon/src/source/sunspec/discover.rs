//! Asking a device which models it has, and for the registers of one of them.
//! Never in here: what the registers mean.

use super::identity::Identity;
use super::reads::Reads;
use super::settings::{has_settings, settings};
use super::table::has_values;
use super::walk::{Model, Next, Walk, WalkEnd};
use super::{BASES, END_OF_MODELS, MARKER};
use crate::source::modbus::{ModbusError, ReadOnlyClient, RegisterKind};
use analysis::plant::GridSettings;
use std::collections::BTreeSet;
use thiserror::Error;

/// Model of names.
const COMMON: u16 = 1;

/// What a device offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// With which function it answers.
    pub kind: RegisterKind,
    /// Where the marker stands.
    pub base: u16,
    /// Its models in its order.
    pub models: Vec<Model>,
    /// Why the list ended.
    pub end: WalkEnd,
    /// Who it says it is.
    pub identity: Identity,
}

impl Device {
    /// Models that carry values for us, each once, those with AC and DC values first and together. Where
    /// model 160 has inputs, model 714 is not used: it may number them otherwise.
    pub fn used(&self) -> Vec<Model> {
        let mut used = self.once(|id| id != COMMON && has_values(id));
        if used
            .iter()
            .any(|model| model.id == 160 && model.has_inputs())
        {
            used.retain(|model| model.id != 714);
        }
        used.sort_by_key(|model| !matches!(model.id, 101..=113 | 160 | 701 | 714));
        used
    }

    /// Models that say how the inverter is set, each once.
    pub fn settings(&self) -> Vec<Model> {
        self.once(has_settings)
    }

    fn once(&self, is_wanted: impl Fn(u16) -> bool) -> Vec<Model> {
        let mut seen = BTreeSet::new();
        let wanted = |m: &&Model| is_wanted(m.id) && seen.insert(m.id);
        self.models.iter().filter(wanted).copied().collect()
    }

    /// Models that are not read: those that we do not know, and repetitions.
    pub fn skipped(&self) -> Vec<Model> {
        let read = [self.used(), self.settings()].concat();
        let skipped = |m: &&Model| m.id != COMMON && !read.contains(m);
        self.models.iter().filter(skipped).copied().collect()
    }
}

/// Why a device's models cannot be read. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum DiscoverError {
    /// A request failed.
    #[error(transparent)]
    Modbus(#[from] ModbusError),
    /// The device answers and has no marker where it may stand.
    #[error("find the SunSpec marker at any of {BASES:?} with function 3 or 4")]
    NoMarker,
    /// Where a model was, another stands now.
    #[error(
        "read model {} with length {} at {}: found model {id} with length {length} there",
        wanted.id, wanted.length, wanted.address
    )]
    Changed {
        /// As discovered.
        wanted: Model,
        /// The id found.
        id: u16,
        /// The length found.
        length: u16,
    },
}

/// Looks for the marker and walks along the models.
pub async fn discover(client: &mut ReadOnlyClient) -> Result<Device, DiscoverError> {
    for kind in [RegisterKind::Holding, RegisterKind::Input] {
        for base in BASES {
            let marker = unless_refused(client.registers(kind, base, 2).await)?;
            if marker.as_deref() == Some(&MARKER) {
                return describe(client, kind, base).await;
            }
        }
    }
    Err(DiscoverError::NoMarker)
}

/// What every model of settings says that answers; one that the device refuses leaves the rest.
pub async fn read_settings(
    client: &mut ReadOnlyClient,
    device: &Device,
) -> Result<GridSettings, DiscoverError> {
    let mut images = Vec::new();
    for model in device.settings() {
        match read(client, device.kind, &model).await {
            Ok(image) => images.extend(image.map(|image| (model.id, image))),
            Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => {}
            Err(error) => return Err(error),
        }
    }
    Ok(settings(images.iter().map(|(id, image)| (*id, &image[..]))))
}

/// Reads the image of a model, up to the last register that is needed. `None` where the table does
/// not have the model.
pub async fn read(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    model: &Model,
) -> Result<Option<Vec<u16>>, DiscoverError> {
    read_where_known(client, kind, model, Reads::plan(model)).await
}

/// Reads a model to its end, or as far as a model that the table has may go.
pub async fn read_whole(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    model: &Model,
) -> Result<Option<Vec<u16>>, DiscoverError> {
    read_where_known(client, kind, model, Reads::whole(model)).await
}

async fn read_where_known(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    model: &Model,
    reads: Option<Reads>,
) -> Result<Option<Vec<u16>>, DiscoverError> {
    match reads {
        Some(reads) => read_planned(client, kind, model, &reads).await.map(Some),
        None => Ok(None),
    }
}

/// Reads as far as a plan says that was made before.
pub async fn read_planned(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    model: &Model,
    reads: &Reads,
) -> Result<Vec<u16>, DiscoverError> {
    let mut image = Vec::new();
    for (first, count) in &reads.spans {
        let first = model.address + first;
        let span = client.registers(kind, first, *count).await?;
        match image.is_empty() {
            true => image = span,
            false => image.extend(span),
        }
    }
    // A plan has at least id and length; after an update of the device others may stand there.
    let (id, length) = (image[0], image[1]);
    if (id, length) != (model.id, model.length) {
        let wanted = *model;
        return Err(DiscoverError::Changed { wanted, id, length });
    }
    Ok(image)
}

async fn describe(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    base: u16,
) -> Result<Device, DiscoverError> {
    let mut walk = Walk::new(base);
    let mut next = walk.first();
    let end = loop {
        let address = match next {
            Next::Read(address) => address,
            Next::End(end) => break end,
        };
        next = match header(client, kind, address).await? {
            Some((id, length)) => walk.header(id, length),
            None => break walk.refused(),
        };
    };
    let models = walk.into_models();
    let identity = identity(client, kind, &models).await?;
    Ok(Device {
        kind,
        base,
        models,
        end,
        identity,
    })
}

/// Id and length. Behind the end marker there need not be a register, so a refusal of two is not
/// the last word.
async fn header(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    address: u16,
) -> Result<Option<(u16, Option<u16>)>, ModbusError> {
    if address < u16::MAX
        && let Some(both) = unless_refused(client.registers(kind, address, 2).await)?
    {
        return Ok(Some((both[0], Some(both[1]))));
    }
    let alone = unless_refused(client.registers(kind, address, 1).await)?;
    let marker = alone.filter(|id| id[0] == END_OF_MODELS);
    Ok(marker.map(|id| (id[0], None)))
}

async fn identity(
    client: &mut ReadOnlyClient,
    kind: RegisterKind,
    models: &[Model],
) -> Result<Identity, DiscoverError> {
    let Some(common) = models.iter().find(|m| m.id == COMMON) else {
        return Ok(Identity::default());
    };
    match read(client, kind, common).await {
        Ok(image) => Ok(Identity::decode(&image.unwrap_or_default())),
        // Names are for people: a device that does not give them is still read.
        Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => Ok(Identity::default()),
        Err(error) => Err(error),
    }
}

/// "Nothing there" is an answer here. A device that is busy or behind a silent gateway has not
/// answered: taking that for the end of the list would lose models for as long as it is connected.
fn unless_refused(result: Result<Vec<u16>, ModbusError>) -> Result<Option<Vec<u16>>, ModbusError> {
    match result {
        Ok(registers) => Ok(Some(registers)),
        Err(ModbusError::Refused { code, .. }) if !is_not_now(code) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Acknowledged and still working, busy, and the two of gateways. Source: MODBUS Application
/// Protocol Specification V1.1b3, 7.
fn is_not_now(code: u8) -> bool {
    matches!(code, 5 | 6 | 10 | 11)
}
