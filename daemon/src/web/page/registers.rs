//! What a device has answered over Modbus, register by register, for whoever holds it against the maker's
//! list.
//! Never in here: what a register means.

use super::{Answer, Frame, filled, message};
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::{Page, show};
use analysis::reading::DeviceId;
use askama::Template;
use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/registers.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    name: String,
    blocks: Vec<Block>,
}

/// Registers that were read together.
struct Block {
    /// Which kind, and when.
    name: String,
    rows: Vec<Row>,
}

struct Row {
    address: usize,
    hexadecimal: String,
    decimal: u16,
}

/// The page.
pub async fn page(
    State(page): State<Arc<Page>>,
    Path(id): Path<String>,
    visit: Extension<Visit>,
) -> Answer {
    let t = visit.t;
    let plant = &page.site.plant;
    let inverters = plant.inverters.iter().map(|inverter| &inverter.id);
    let mut devices = inverters.chain(plant.weather.iter().map(|device| &device.id));
    let device = devices.find(|device| device.as_str() == id);
    let device = device.ok_or_else(|| message::nothing(&page, t))?;
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.registers, "/devices").live(),
        name: id,
        blocks: blocks(&page, t, device),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn blocks(page: &Page, t: &Texts, device: &DeviceId) -> Vec<Block> {
    let now = page.clock.now();
    let words = page.latest.words(device).into_iter();
    let block = |((function, first), (at, words)): ((u8, u16), (_, Vec<u16>))| {
        let kind = match function {
            1 => t.coils,
            2 => t.discrete_inputs,
            3 => t.holding_registers,
            _ => t.input_registers,
        };
        let rows = (usize::from(first)..)
            .zip(words)
            .map(|(address, word)| Row {
                address,
                hexadecimal: format!("{word:#06x}"),
                decimal: word,
            });
        Block {
            name: format!("{kind}, {}", show::ago(t, now - at)),
            rows: rows.collect(),
        }
    };
    words.map(block).collect()
}
