//! A slot as rows: one for the slot, one for each plane, inverter and input.
//!
//! What is read back is laid out as the plant is now: parts that the plant no longer has are left
//! out, and parts that were not stored are empty.

use super::StoreError;
use super::commit::{finite_if_any, name_of};
use super::layout::{Layout, Numbers, places};
use super::query::{each_row, get_at, named_at, named_at_if_any, undecodable};
use analysis::detect::{InputSlot, InverterSlot, PlaneSlot, Slot};
use analysis::expected::InputExpected;
use analysis::reading::{Current, Irradiance, Power, Span, Speed, Temperature, Time, Voltage};
use rusqlite::{Connection, Params, Row, params};
use std::collections::BTreeMap;

/// Writes a slot in place of an earlier one with the same beginning.
pub(super) fn write_slot(
    db: &Connection,
    layout: &Layout,
    numbers: &Numbers,
    slot: &Slot,
) -> Result<(), StoreError> {
    check_shape(layout, slot)?;
    let start = slot.start.unix_ms();
    execute(db, "DELETE FROM slot WHERE start_utc_ms = ?1", [start])?;
    let air = column("slot.air_temperature_degc", slot.air.map(|air| air.degc()))?;
    let wind = column("slot.wind_speed_m_s", slot.wind.map(|wind| wind.m_s()))?;
    execute(
        db,
        "INSERT INTO slot VALUES (?1, ?2, ?3, ?4)",
        params![start, slot.span.ms(), air, wind],
    )?;
    for (plane, number) in slot.planes.iter().zip(&numbers.planes) {
        write_plane(db, start, *number, plane)?;
    }
    let inverters = layout.inverters.iter().zip(&numbers.inverters);
    for (inverter, ((_, inputs), number)) in slot.inverters.iter().zip(inverters) {
        write_inverter(db, start, *number, inverter)?;
        for (input, input_number) in inverter.inputs.iter().zip(inputs) {
            write_input(db, start, *number, *input_number, input)?;
        }
    }
    Ok(())
}

/// The slots that begin in `[from, to)`, in order.
pub(super) fn read_slots(
    db: &Connection,
    layout: &Layout,
    numbers: &Numbers,
    (from, to): (Time, Time),
    only: Option<usize>,
) -> Result<Vec<Slot>, StoreError> {
    // One transaction, so that the four queries see the same moment.
    let view = db
        .unchecked_transaction()
        .map_err(StoreError::at("read slots"))?;
    let range = [from.unix_ms(), to.unix_ms()];
    let mut slots = BTreeMap::new();
    each_row(&view, &select("slot", SLOT), range, |row| {
        let start: i64 = get_at(row, (0, "start_utc_ms"))?;
        let mut slot = empty_slot(layout, start, get_at(row, (1, "span_ms"))?);
        let air: Option<f64> = get_at(row, (2, "air_temperature_degc"))?;
        let wind: Option<f64> = get_at(row, (3, "wind_speed_m_s"))?;
        slot.air = air.map(Temperature::from_degc);
        slot.wind = wind.map(Speed::from_m_s);
        slots.insert(start, slot);
        Ok(())
    })?;
    let planes = places(&numbers.planes);
    each_row(&view, &select("plane_slot", PLANE), range, |row| {
        if let Some((slot, place)) = find(&mut slots, &planes, row, "plane")? {
            slot.planes[place] = read_plane(row)?;
        }
        Ok(())
    })?;
    let inverters = places(&numbers.inverters);
    // One that is not in the store has no number, and none is negative.
    let of = only.map(|i| numbers.inverters[i].unwrap_or(-1));
    let of = (from.unix_ms(), to.unix_ms(), of);
    each_row(&view, &select_of("inverter_slot", INVERTER), of, |row| {
        if let Some((slot, place)) = find(&mut slots, &inverters, row, "inverter")? {
            read_inverter(row, &mut slot.inverters[place])?;
        }
        Ok(())
    })?;
    each_row(&view, &select_of("input_slot", INPUT), of, |row| {
        if let Some((slot, place)) = find(&mut slots, &inverters, row, "inverter")? {
            let number: u8 = get_at(row, (2, "input"))?;
            let input = layout.inverters[place].1.iter().position(|n| *n == number);
            if let Some(input) = input {
                slot.inverters[place].inputs[input] = read_input(row)?;
            }
        }
        Ok(())
    })?;
    Ok(slots.into_values().collect())
}

/// Columns in the order in which they are read.
const SLOT: &str = "start_utc_ms, span_ms, air_temperature_degc, wind_speed_m_s";
const PLANE: &str = "start_utc_ms, plane, poa_w_m2, weather_rung, cell_temperature_degc";
const INVERTER: &str = "start_utc_ms, inverter, ac_power_w, expected_ac_power_w, acting_limit, \
                        producing, shade_ac_power_w";
const INPUT: &str = "start_utc_ms, inverter, input, dc_voltage_v, dc_current_a, \
                     expected_dc_voltage_v, expected_dc_current_a, expected_dc_voltage_sigma_v, \
                     expected_dc_current_sigma_a, gate, acting_limit, expected_dc_power_sigma_w";

fn select(table: &str, columns: &str) -> String {
    format!(
        "SELECT {columns} FROM {table} WHERE start_utc_ms >= ?1 AND start_utc_ms < ?2 ORDER BY start_utc_ms"
    )
}

/// Of one inverter, or of all where none is said.
fn select_of(table: &str, columns: &str) -> String {
    format!(
        "SELECT {columns} FROM {table} WHERE start_utc_ms >= ?1 AND start_utc_ms < ?2
         AND (?3 IS NULL OR inverter = ?3) ORDER BY start_utc_ms"
    )
}

/// The slot that a row belongs to, and the place in the plant of the part that it describes.
fn find<'s>(
    slots: &'s mut BTreeMap<i64, Slot>,
    places: &BTreeMap<i64, usize>,
    row: &Row<'_>,
    part: &'static str,
) -> Result<Option<(&'s mut Slot, usize)>, StoreError> {
    let start: i64 = get_at(row, (0, "start_utc_ms"))?;
    let place = places.get(&get_at(row, (1, part))?).copied();
    Ok(slots.get_mut(&start).zip(place))
}

fn check_shape(layout: &Layout, slot: &Slot) -> Result<(), StoreError> {
    let same = |what, found, wanted| {
        if found == wanted {
            return Ok(());
        }
        Err(StoreError::SlotShape {
            what,
            found,
            wanted,
        })
    };
    same("planes", slot.planes.len(), layout.planes.len())?;
    same("inverters", slot.inverters.len(), layout.inverters.len())?;
    for (inverter, (_, inputs)) in slot.inverters.iter().zip(&layout.inverters) {
        same("inputs", inverter.inputs.len(), inputs.len())?;
    }
    Ok(())
}

fn empty_slot(layout: &Layout, start_ms: i64, span_ms: i64) -> Slot {
    let (start, span) = (Time::from_unix_ms(start_ms), Span::from_ms(span_ms));
    let inputs = layout.inverters.iter().map(|(_, inputs)| inputs.len());
    Slot::not_measured(start, span, layout.planes.len(), inputs)
}

fn write_plane(
    db: &Connection,
    start: i64,
    number: Option<i64>,
    plane: &PlaneSlot,
) -> Result<(), StoreError> {
    let poa = column("plane_slot.poa_w_m2", plane.poa.map(|(poa, _)| poa.w_m2()))?;
    let rung = plane.poa.map(|(_, rung)| name_of(rung));
    let cell = plane.cell.map(|cell| cell.degc());
    let cell = column("plane_slot.cell_temperature_degc", cell)?;
    execute(
        db,
        "INSERT INTO plane_slot VALUES (?1, ?2, ?3, ?4, ?5)",
        params![start, number, poa, rung, cell],
    )
}

fn read_plane(row: &Row<'_>) -> Result<PlaneSlot, StoreError> {
    let poa: Option<f64> = get_at(row, (2, "poa_w_m2"))?;
    let poa = match poa {
        None => None,
        Some(poa) => Some((
            Irradiance::from_w_m2(poa),
            named_at(row, (3, "weather_rung"))?,
        )),
    };
    let cell: Option<f64> = get_at(row, (4, "cell_temperature_degc"))?;
    Ok(PlaneSlot {
        poa,
        cell: cell.map(Temperature::from_degc),
    })
}

fn write_inverter(
    db: &Connection,
    start: i64,
    number: Option<i64>,
    inverter: &InverterSlot,
) -> Result<(), StoreError> {
    let power = |name, power: Option<Power>| column(name, power.map(|p| p.w()));
    let measured = power("inverter_slot.ac_power_w", inverter.ac_power)?;
    let expected = power(
        "inverter_slot.expected_ac_power_w",
        inverter.expected_ac_power,
    )?;
    execute(
        db,
        "INSERT INTO inverter_slot VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            start,
            number,
            measured,
            expected,
            inverter.limit.map(name_of),
            inverter.producing,
            power("inverter_slot.shade_ac_power_w", inverter.shade_ac_power)?,
        ],
    )
}

fn read_inverter(row: &Row<'_>, inverter: &mut InverterSlot) -> Result<(), StoreError> {
    let power = |name| get_at::<Option<f64>>(row, name).map(|power| power.map(Power::from_w));
    inverter.ac_power = power((2, "ac_power_w"))?;
    inverter.expected_ac_power = power((3, "expected_ac_power_w"))?;
    inverter.shade_ac_power = power((6, "shade_ac_power_w"))?;
    inverter.limit = named_at_if_any(row, (4, "acting_limit"))?;
    inverter.producing = get_at(row, (5, "producing"))?;
    Ok(())
}

fn write_input(
    db: &Connection,
    start: i64,
    inverter: Option<i64>,
    number: u8,
    input: &InputSlot,
) -> Result<(), StoreError> {
    let expected =
        |part: fn(InputExpected) -> f64| column("input_slot.expected_*", input.expected.map(part));
    let row = params![
        start,
        inverter,
        number,
        column("input_slot.dc_voltage_v", input.voltage.map(|v| v.v()))?,
        column("input_slot.dc_current_a", input.current.map(|c| c.a()))?,
        expected(|e| e.voltage.v())?,
        expected(|e| e.current.a())?,
        expected(|e| e.sigma_voltage.v())?,
        expected(|e| e.sigma_current.a())?,
        name_of(input.gate),
        input.limit.map(name_of),
        expected(|e| e.sigma_power.w())?,
    ];
    execute(
        db,
        "INSERT INTO input_slot VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        row,
    )
}

fn read_input(row: &Row<'_>) -> Result<InputSlot, StoreError> {
    let voltage = |name| get_at::<Option<f64>>(row, name).map(|v| v.map(Voltage::from_v));
    let current = |name| get_at::<Option<f64>>(row, name).map(|c| c.map(Current::from_a));
    let expected = (
        voltage((5, "expected_dc_voltage_v"))?,
        current((6, "expected_dc_current_a"))?,
        voltage((7, "expected_dc_voltage_sigma_v"))?,
        current((8, "expected_dc_current_sigma_a"))?,
    );
    let sigma_power =
        get_at::<Option<f64>>(row, (11, "expected_dc_power_sigma_w"))?.map(Power::from_w);
    let expected = match expected {
        (Some(voltage), Some(current), Some(sigma_voltage), Some(sigma_current)) => {
            // Rows of version 1 have none: voltage and current taken as independent.
            let independent = || {
                let parts = (sigma_voltage * current, voltage * sigma_current);
                Power::from_w(parts.0.w().hypot(parts.1.w()))
            };
            Some(InputExpected {
                voltage,
                current,
                sigma_voltage,
                sigma_current,
                sigma_power: sigma_power.unwrap_or_else(independent),
            })
        }
        (None, None, None, None) => None,
        half => return Err(undecodable("expected_*", format!("{half:?}"))),
    };
    Ok(InputSlot {
        voltage: voltage((3, "dc_voltage_v"))?,
        current: current((4, "dc_current_a"))?,
        expected,
        gate: named_at(row, (9, "gate"))?,
        limit: named_at_if_any(row, (10, "acting_limit"))?,
    })
}

fn column(name: &'static str, number: Option<f64>) -> Result<Option<f64>, StoreError> {
    finite_if_any(|| name.to_owned(), number)
}

fn execute(db: &Connection, sql: &str, params: impl Params) -> Result<(), StoreError> {
    db.prepare_cached(sql)
        .and_then(|mut statement| statement.execute(params))
        .map_err(StoreError::at("write a slot"))?;
    Ok(())
}
