//! A day of one channel's cells as one value, and back without loss.
//!
//! A minute's smallest, largest and mean are near each other, so of decimals the distances from the
//! smallest are stored: whole numbers again, and small ones.

use super::blob::{packed, unpacked};
use super::cells::{Cell, Held};
use super::column::{Column, Unreadable, power, whole};
use analysis::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// In order of time; only cells with a reading. Of `held` only the rows with a good one.
#[derive(Serialize, Deserialize)]
struct Cells {
    rows: u32,
    /// Where a cell begins, in its own lengths since 1970.
    number: Column,
    good: Column,
    out_of_range: Column,
    missing: Column,
    held: HeldColumns,
}

/// A variant's place in this list is part of the format.
#[derive(Serialize, Deserialize)]
enum HeldColumns {
    None,
    /// Measured: sum, smallest, largest.
    Numbers(Column, Column, Column),
    /// Measured, decimals of so many places: smallest, largest - smallest, sum - good * smallest.
    Decimals(u8, Column, Column, Column),
    /// First, last.
    Counter(Column, Column),
    /// Last, seen.
    Code(Column, Column),
    /// Faulty readings, of which there is at least one, and the rest as without them.
    BesideFaulty(Column, Box<HeldColumns>),
}

/// As bytes. The cells are `span` long and of one quantity.
pub(super) fn pack(cells: &[Cell], span: Span) -> Vec<u8> {
    let column = |part: &dyn Fn(&Cell) -> i64| {
        Column::of_wholes(&cells.iter().map(part).collect::<Vec<i64>>())
    };
    packed(&Cells {
        rows: u32::try_from(cells.len()).expect("a day has 1440 minutes"),
        number: column(&|cell| cell.start.unix_ms().div_euclid(span.ms())),
        good: column(&|cell| i64::from(cell.good)),
        out_of_range: column(&|cell| i64::from(cell.out_of_range)),
        missing: column(&|cell| i64::from(cell.missing)),
        held: match cells.iter().any(|cell| cell.faulty > 0) {
            true => {
                let faulty = column(&|cell| i64::from(cell.faulty));
                HeldColumns::BesideFaulty(faulty, Box::new(held_columns(cells)))
            }
            false => held_columns(cells),
        },
    })
}

fn held_columns(cells: &[Cell]) -> HeldColumns {
    let held = || {
        cells
            .iter()
            .filter_map(|c| c.held.map(|held| (c.good, held)))
    };
    let column = |part: fn(Held) -> f64| {
        Column::of(&held().map(|(_, held)| part(held)).collect::<Vec<f64>>())
    };
    match held().next() {
        None => HeldColumns::None,
        Some((_, Held::Measured { .. })) => decimals(held()).unwrap_or_else(|| {
            let numbers = |i: usize| {
                let rows = held().map(|(_, held)| numbers_of(held)[i]);
                Column::of(&rows.collect::<Vec<f64>>())
            };
            HeldColumns::Numbers(numbers(0), numbers(1), numbers(2))
        }),
        Some((_, Held::Counter { .. })) => {
            HeldColumns::Counter(column(|h| numbers_of(h)[0]), column(|h| numbers_of(h)[1]))
        }
        Some((_, Held::Code { .. })) => {
            HeldColumns::Code(column(|h| numbers_of(h)[0]), column(|h| numbers_of(h)[1]))
        }
    }
}

fn numbers_of(held: Held) -> [f64; 3] {
    match held {
        Held::Measured { sum, min, max } => [sum, min, max],
        Held::Counter { first, last } => [first, last, 0.0],
        Held::Code { last, seen } => [last, seen, 0.0],
    }
}

/// `None` where one of the numbers is no decimal, or a distance does not fit.
fn decimals(held: impl Iterator<Item = (u32, Held)> + Clone) -> Option<HeldColumns> {
    let mut places = 0;
    for number in held.clone().flat_map(|(_, held)| numbers_of(held)) {
        while whole(number, places).is_none() {
            places += 1;
            power(places)?;
        }
    }
    let (mut smallest, mut spread, mut excess) = (Vec::new(), Vec::new(), Vec::new());
    for (good, held) in held {
        let [sum, min, max] = numbers_of(held);
        let (sum, min, max) = (
            whole(sum, places)?,
            whole(min, places)?,
            whole(max, places)?,
        );
        smallest.push(min);
        spread.push(max.checked_sub(min)?);
        excess.push(sum.checked_sub(min.checked_mul(i64::from(good))?)?);
    }
    let [smallest, spread, excess] = [smallest, spread, excess].map(|c| Column::of_wholes(&c));
    Some(HeldColumns::Decimals(places, smallest, spread, excess))
}

/// The cells that were packed, each `span` long.
pub(super) fn unpack(bytes: &[u8], span: Span) -> Result<Vec<Cell>, Unreadable> {
    let cells: Cells = unpacked(bytes)?;
    let rows = cells.rows as usize;
    let numbers = cells.number.wholes(rows)?;
    let counts = |column: &Column| -> Result<Vec<u32>, Unreadable> {
        let count = |n: i64| u32::try_from(n).map_err(|_| Unreadable(format!("count {n}")));
        column.wholes(rows)?.into_iter().map(count).collect()
    };
    let good = counts(&cells.good)?;
    let (out_of_range, missing) = (counts(&cells.out_of_range)?, counts(&cells.missing)?);
    let (faulty, held) = match cells.held {
        HeldColumns::BesideFaulty(faulty, held) => (counts(&faulty)?, *held),
        held => (vec![0; rows], held),
    };
    let with_good: Vec<u32> = good.iter().copied().filter(|n| *n > 0).collect();
    let mut held = held_rows(&held, &with_good)?.into_iter();
    let cell = |i: usize| Cell {
        start: Time::from_unix_ms(numbers[i].saturating_mul(span.ms())),
        good: good[i],
        out_of_range: out_of_range[i],
        missing: missing[i],
        faulty: faulty[i],
        held: if good[i] > 0 { held.next() } else { None },
    };
    Ok((0..rows).map(cell).collect())
}

/// One for each of the cells with a good reading, of which `good` says how many.
fn held_rows(columns: &HeldColumns, good: &[u32]) -> Result<Vec<Held>, Unreadable> {
    let rows = good.len();
    let three = |a: Vec<f64>, b: Vec<f64>, c: Vec<f64>| {
        let rows = a.into_iter().zip(b).zip(c);
        rows.map(|((sum, min), max)| Held::Measured { sum, min, max })
            .collect()
    };
    let two = |a: &Column, b: &Column, held: fn((f64, f64)) -> Held| {
        let rows = a.numbers(rows)?.into_iter().zip(b.numbers(rows)?);
        Ok(rows.map(held).collect())
    };
    match columns {
        HeldColumns::None if rows == 0 => Ok(Vec::new()),
        HeldColumns::None => Err(Unreadable(format!("no values for {rows} rows"))),
        HeldColumns::Numbers(sum, min, max) => Ok(three(
            sum.numbers(rows)?,
            min.numbers(rows)?,
            max.numbers(rows)?,
        )),
        HeldColumns::Decimals(places, smallest, spread, excess) => {
            let unit = power(*places).ok_or_else(|| Unreadable(format!("places {places}")))?;
            let (smallest, spread) = (smallest.wholes(rows)?, spread.wholes(rows)?);
            let excess = excess.wholes(rows)?;
            let row = |i: usize| Held::Measured {
                sum: (excess[i] + smallest[i] * i64::from(good[i])) as f64 / unit,
                min: smallest[i] as f64 / unit,
                max: (smallest[i] + spread[i]) as f64 / unit,
            };
            Ok((0..rows).map(row).collect())
        }
        HeldColumns::Counter(first, last) => {
            two(first, last, |(first, last)| Held::Counter { first, last })
        }
        HeldColumns::Code(last, seen) => two(last, seen, |(last, seen)| Held::Code { last, seen }),
        HeldColumns::BesideFaulty(..) => Err(Unreadable("faulty beside faulty".to_owned())),
    }
}
