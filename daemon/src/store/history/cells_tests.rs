//! Means of minutes and hours beside what the single readings give, in rational arithmetic.
//! Kind of truth: property.

use super::cells::{Cell, HOUR, Held, MINUTE, Role, hours, minutes};
use super::packed_cells::{pack, unpack};
use analysis::reading::{ChannelId, Reading, Span, Time, Value};
use proptest::collection::btree_map;
use proptest::prelude::*;

const ROLES: [Role; 4] = [Role::Measured, Role::Counter, Role::State, Role::Bits];

/// What a device publishes: a whole number of decimal places; now and then none or an impossible one.
fn published() -> impl Strategy<Value = (u8, i64)> {
    (0_u8..12, -2_000_000_i64..2_000_000)
}

fn reading(at_s: i64, places: u32, (luck, whole): (u8, i64)) -> Reading {
    let number = whole as f64 / 10f64.powi(places as i32);
    let value = match luck {
        0 => Value::Missing,
        1 => Value::OutOfRange(number),
        2 => Value::Faulty(Some(number).filter(|number| *number > 0.0)),
        _ => Value::Good(number),
    };
    Reading {
        channel: ChannelId(0),
        at: Time::from_unix_ms(1000 * at_s),
        value,
    }
}

fn in_cell(at: Time, cell: &Cell, span: Span) -> bool {
    cell.start <= at && at < cell.start + span
}

proptest! {
    /// The sum is the double nearest to the rational sum of what was published, in minutes and in
    /// hours made of minutes; the mean is that sum over the count.
    #[test]
    fn the_mean_of_an_hour_is_what_its_readings_give(
        day in btree_map(0_i64..3 * 3600, published(), 1..300),
        places in 0_u32..=4,
    ) {
        let readings: Vec<Reading> = day.iter().map(|(at, p)| reading(*at, places, *p)).collect();
        let minutes = minutes(&readings, Role::Measured);
        for (cells, span) in [(&minutes, MINUTE), (&hours(&minutes), HOUR)] {
            for cell in cells {
                let inside = || day.iter()
                    .filter(|(at, _)| in_cell(Time::from_unix_ms(1000 * **at), cell, span))
                    .map(|(_, published)| *published);
                let good: Vec<i64> = inside().filter(|(luck, _)| *luck > 2).map(|p| p.1).collect();
                prop_assert_eq!(cell.good as usize, good.len());
                prop_assert_eq!(cell.missing as usize, inside().filter(|p| p.0 == 0).count());
                prop_assert_eq!(cell.out_of_range as usize, inside().filter(|p| p.0 == 1).count());
                prop_assert_eq!(cell.faulty as usize, inside().filter(|p| p.0 == 2).count());
                let number = |whole: i64| whole as f64 / 10f64.powi(places as i32);
                let wanted = good.iter().min().zip(good.iter().max()).map(|(low, high)| {
                    let sum = number(good.iter().sum());
                    Held::Measured { sum, min: number(*low), max: number(*high) }
                });
                prop_assert_eq!(cell.held, wanted);
            }
            let covered: u32 = cells.iter().map(Cell::readings).sum();
            prop_assert_eq!(covered as usize, readings.len(), "each reading counts once");
        }
    }

    /// Doubles that are no decimals: within four roundings of the mean of their sizes.
    #[test]
    fn the_mean_of_other_numbers_is_good_to_the_last_digits(
        day in btree_map(0_i64..3600, -1e9_f64..1e9, 1..300),
    ) {
        let readings: Vec<Reading> = day.iter().map(|(at, number)| Reading {
            channel: ChannelId(0),
            at: Time::from_unix_ms(1000 * at),
            value: Value::Good(*number),
        }).collect();
        let hour = hours(&minutes(&readings, Role::Measured))[0];
        // Whole multiples of 2^-60 of these numbers have an exact sum in 128 bits.
        const UNIT: f64 = (1_u64 << 60) as f64;
        let exact: i128 = day.values().map(|n| (n * UNIT) as i128).sum();
        let size: f64 = day.values().map(|n| n.abs()).sum();
        let Some(Held::Measured { sum, .. }) = hour.held else {
            panic!("there was a good reading");
        };
        let off = (sum - exact as f64 / UNIT).abs();
        prop_assert!(off <= 4.0 * f64::EPSILON * size, "{off} of {size}");
    }

    #[test]
    fn cells_come_back_from_the_disk_as_they_were(
        day in btree_map(0_i64..86_400, published(), 0..300),
        places in 0_u32..=4, thirds in any::<bool>(),
    ) {
        for role in ROLES {
            let mut readings: Vec<Reading> =
                day.iter().map(|(at, p)| reading(*at, places, *p)).collect();
            for reading in readings.iter_mut().filter(|_| thirds) {
                if let Value::Good(number) = &mut reading.value {
                    *number /= 3.0;
                }
            }
            let minutes = minutes(&readings, role);
            for (cells, span) in [(&minutes, MINUTE), (&hours(&minutes), HOUR)] {
                prop_assert_eq!(&unpack(&pack(cells, span), span).expect("it reads"), cells);
            }
        }
    }
}

fn good(at_s: i64, number: f64) -> Reading {
    Reading {
        channel: ChannelId(0),
        at: Time::from_unix_ms(1000 * at_s),
        value: Value::Good(number),
    }
}

#[test]
fn a_counter_keeps_its_first_and_last_also_over_a_reset() {
    let readings = [
        good(0, 900.0),
        good(50, 950.0),
        good(70, 3.0),
        good(3599, 8.0),
    ];
    let minutes = minutes(&readings, Role::Counter);
    let kept = |first, last| Some(Held::Counter { first, last });
    assert_eq!(minutes[0].held, kept(900.0, 950.0));
    assert_eq!(hours(&minutes)[0].held, kept(900.0, 8.0));
    assert_eq!(minutes[0].mean(), None);
}

#[test]
fn every_state_and_every_event_bit_that_was_seen_is_kept() {
    let states = [good(0, 3.0), good(10, 7.0), good(65, 4.0), good(66, 4.5)];
    let of_states = minutes(&states, Role::State);
    let kept = |last, seen| Some(Held::Code { last, seen });
    assert_eq!(of_states[0].held, kept(7.0, 136.0));
    assert_eq!(hours(&of_states)[0].held, kept(4.5, 153.0));
    let bits = [good(0, 1.0), good(10, 4.0), good(65, 0.0)];
    let of_bits = minutes(&bits, Role::Bits);
    assert_eq!(of_bits[0].held, kept(4.0, 5.0));
    assert_eq!(hours(&of_bits)[0].held, kept(0.0, 5.0));
}
