//! Devices with their last values.

use super::overview::trouble_text;
use super::{Answer, Frame, filled};
use crate::web::access::Visit;
use crate::web::texts::Texts;
use crate::web::view::device::{Device, Freshness, LastValue, devices};
use crate::web::{Page, paths, show};
use analysis::reading::{DeviceId, Span};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::StatusCode;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "web/devices.html")]
struct Shown {
    t: &'static Texts,
    frame: Frame,
    devices: Vec<DeviceRow>,
}

struct DeviceRow {
    name: String,
    class: &'static str,
    shape: &'static str,
    text: String,
    answers: u64,
    failures: u64,
    values: Vec<ValueRow>,
    /// Names of those that have no value.
    without: String,
    /// Path of what was read; empty where nothing was by registers.
    registers: String,
}

struct ValueRow {
    name: String,
    value: String,
    age: String,
}

/// The page.
pub async fn page(State(page): State<Arc<Page>>, visit: Extension<Visit>) -> Answer {
    let t = visit.t;
    let shown = Shown {
        t,
        frame: Frame::new(&page, &visit, t.devices, "/devices").live(),
        devices: devices(&page)
            .iter()
            .map(|device| row(&page, t, device))
            .collect(),
    };
    Ok(filled(StatusCode::OK, &shown))
}

fn row(page: &Page, t: &Texts, device: &Device) -> DeviceRow {
    let (class, shape, word) = match device.freshness {
        Freshness::Fresh => ("fresh", "●", t.fresh),
        Freshness::Asleep => ("asleep", "☾", t.asleep),
        Freshness::Silent => ("silent", "✕", t.silent),
        Freshness::NotYet => ("silent", "○", t.not_yet),
    };
    let mut parts = vec![word.to_owned()];
    if let (Some(at), Some(silent)) = (device.heard, device.silent_s) {
        let (at, ago) = (
            show::local(t, at, page.site.timezone),
            show::ago(t, Span::from_s(silent)),
        );
        parts.push(format!("{} {at} ({ago})", t.last_heard));
    }
    parts.extend(device.trouble.map(|name| trouble_text(t, name).to_owned()));
    let is_without = |value: &&LastValue| value_text(t, value).is_none();
    let without = device.values.iter().filter(is_without);
    let without: Vec<String> = without
        .map(|value| show::channel_name(t, value.of.place, value.of.quantity))
        .collect();
    DeviceRow {
        name: device.id.clone(),
        class,
        shape,
        text: parts.join(" · "),
        answers: device.answers,
        failures: device.failures,
        values: device
            .values
            .iter()
            .filter_map(|value| value_row(page, t, value))
            .collect(),
        without: without.join("; "),
        registers: match page.latest.has_words(&DeviceId::new(device.id.as_str())) {
            true => paths::registers(&device.id),
            false => String::new(),
        },
    }
}

/// `None` where there is nothing to show.
fn value_text(t: &Texts, value: &LastValue) -> Option<String> {
    let number = value.value.map(|n| show::value(t, value.of.quantity, n));
    Some(match (value.quality, number) {
        ("out_of_range", Some(number)) => format!("{number} ({})", t.quality_out_of_range),
        ("faulty", Some(number)) => format!("{number} ({})", t.quality_faulty),
        ("faulty", None) => t.quality_faulty.to_owned(),
        (_, number) => number?,
    })
}

fn value_row(page: &Page, t: &Texts, value: &LastValue) -> Option<ValueRow> {
    let text = value_text(t, value)?;
    let now = page.clock.now();
    Some(ValueRow {
        name: show::channel_name(t, value.of.place, value.of.quantity),
        value: text,
        age: value
            .at
            .map_or_else(String::new, |at| show::ago(t, now - at)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::texts::ENGLISH;

    #[test]
    fn a_value_that_its_device_calls_wrong_is_shown_as_that_with_or_without_a_number() {
        let text = |quality, number| {
            let of = "inv-1/ac_power_w".parse().expect("an address");
            let value = LastValue {
                channel: String::new(),
                at_utc: None,
                value: number,
                quality,
                of,
                at: None,
            };
            value_text(&ENGLISH, &value)
        };
        let plain = text("good", Some(3.5)).expect("a number");
        let faulty = text("faulty", Some(3.5)).expect("a number");
        assert_eq!(faulty, format!("{plain} (faulty, says the device)"));
        let alone = text("faulty", None).expect("said without a number too");
        assert_eq!(alone, "faulty, says the device");
        assert_eq!(text("missing", None), None);
        assert_eq!(text("not_yet", None), None);
    }
}
