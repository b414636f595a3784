//! The synthetic days that the tests of delivery share: something of everything goes wrong.
//! Never in here: how the readings are delivered.

use crate::drive::Poll;
use analysis::detect::Kind;
use analysis::plant::{EventBit, Plant};
use analysis::reading::{Channel, ChannelTable, DeviceId, Place, Quantity, Span, Time};
use std::sync::Arc;
use tests::plant::{Network, Period, START, Shape, Twin, What, World, plant, two_inverters};

/// Days of the scenario.
pub const DAYS: i64 = 4;
/// Every kind of finding that must come out of it.
pub const KINDS: [Kind; 9] = [
    Kind::InputDead,
    Kind::StringOpen,
    Kind::InverterOff,
    Kind::IsolationLow,
    Kind::ResidualCurrentHigh,
    Kind::GridTrip,
    Kind::GridTripsRepeated,
    Kind::GridVoltageHigh,
    Kind::LinkLost,
];

/// Inverters that nothing limits.
pub fn ample_inverters() -> Shape {
    let mut shape = two_inverters();
    shape.inverters[0].0 = 40_000.0;
    shape.inverters[1].0 = 20_000.0;
    shape
}

/// A plant of this shape, with these quantities of the mast as well.
pub fn with_mast(shape: &Shape, more: &[Quantity]) -> Plant {
    let mut plant = plant(shape);
    let channels = plant.channels.iter().map(|(_, channel)| channel.clone());
    let more = more.iter().map(|quantity| Channel {
        device: DeviceId::new("mast"),
        place: Place::Device,
        quantity: *quantity,
    });
    plant.channels = ChannelTable::new(channels.chain(more).collect::<Vec<_>>());
    plant
}

/// Polls of a shape of plant in a world.
pub fn play(shape: &Shape, world: World, days: i64) -> (Arc<Plant>, Vec<Poll>) {
    let plant = Arc::new(plant(shape));
    let polls = polls(&plant, world, days, shape.every);
    (plant, polls)
}

/// Polls of a plant in a world.
pub fn polls(plant: &Arc<Plant>, world: World, days: i64, every: Span) -> Vec<Poll> {
    let twin = Twin::new(plant.clone(), world);
    let count = Span::from_h(24 * days).ms() / every.ms();
    let at = |n: i64| -> Time { START + every * n };
    (0..count).map(|n| (at(n), twin.poll(at(n)))).collect()
}

/// Four days of two inverters: a string opens, the supply trips twice within half an hour, an
/// inverter falls silent now and then, rain gets into an array, an input dies, a residual current is
/// too high, an inverter is off. The supply is high by night and swings, and trips again on the last
/// day.
pub fn everything() -> (Arc<Plant>, Vec<Poll>) {
    let fair = World {
        measures_water: true,
        ..World::fair()
    };
    let world = fair
        .with(
            Period::new((1, 10.4), (2, 9.0)),
            What::StringsOpen {
                input: (0, 0),
                count: 1,
            },
        )
        .with(Period::new((1, 12.4), (1, 12.72)), What::SupplyHigher(18.0))
        .with(
            Period::new((1, 12.6), (1, 12.7)),
            What::Tripped(0, Some(EventBit::AcOverVoltage)),
        )
        .with(Period::new((1, 13.5), (1, 13.8)), What::Tripped(1, None))
        .with(
            Period::new((1, 13.5), (1, 13.8)),
            What::SupplyHigher(-230.0),
        )
        // Two breaks of one link within the hour, and one later.
        .with(Period::new((1, 14.0), (1, 14.2)), What::Silent(Some(1)))
        .with(Period::new((1, 14.5), (1, 14.7)), What::Silent(Some(1)))
        .with(Period::new((1, 16.1), (1, 16.3)), What::Silent(Some(1)))
        .with(Period::new((2, 1.0), (2, 4.0)), What::Silent(None))
        .with(Period::new((2, 4.0), (2, 9.5)), What::Leaks(1))
        .with(Period::new((2, 5.5), (2, 9.5)), What::FaultAt(1, 0.3))
        .with(Period::new((2, 2.0), (2, 6.0)), What::Rains(3.0))
        .with(
            Period::new((3, 8.0), (3, 8.2)),
            What::ResidualCurrent(1, 0.4),
        )
        .with(
            Period::new((2, 13.0), (3, 11.0)),
            What::StringsOpen {
                input: (1, 0),
                count: 1,
            },
        )
        .with(Period::new((3, 9.0), (3, 15.0)), What::Stopped(0))
        .with(
            Period::new((3, 15.5), (3, 15.6)),
            What::Tripped(0, Some(EventBit::AcOverVoltage)),
        );
    let world = World {
        network: Network {
            swing: (11.0, 2.0),
            resistance_ohm: [0.1; 3],
            publishes_current: true,
            ..Network::FEEDER
        },
        ..world
    };
    play(&two_inverters(), world, DAYS)
}
