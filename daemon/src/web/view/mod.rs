//! What is shown, as plain data with units in its names: pages and answers for programs are made of
//! it. Times in it are UTC; pages show them in the site's.
//! Never in here: HTML, JSON, or an opinion of a plant that the analysis does not have.

pub mod day;
pub mod device;
pub mod finding;
mod in_english;
pub mod inverter;
pub mod ledger;
pub mod overview;
pub mod performance;
pub mod settings;

use super::Page;
use crate::text;
use analysis::reading::{Channel, ChannelId, DeviceId, Place, Quantity, Time, Value};

/// A time as programs read it.
pub fn utc(at: Time) -> String {
    text::utc(at).unwrap_or_default()
}

/// A number to so many decimals, so that programs do not read digits that mean nothing.
pub fn rounded(number: f64, decimals: i32) -> f64 {
    let per_unit = 10f64.powi(decimals);
    // Without a sign where nothing is left.
    (number * per_unit).round() / per_unit + 0.0
}

/// A channel's last good value, if it is not older than its device may be silent.
pub fn fresh(page: &Page, device: &DeviceId, place: Place, quantity: Quantity) -> Option<f64> {
    let channel = Channel {
        device: device.clone(),
        place,
        quantity,
    };
    let ChannelId(id) = page.site.plant.channels.id(&channel)?;
    let (at, value) = page.latest.values().get(usize::from(id)).copied()??;
    let Value::Good(value) = value else {
        return None;
    };
    let is_fresh = page.clock.now() - at <= device::silent_after(page, device);
    is_fresh.then_some(value)
}
