//! Numbers for collectors in the text format of OpenMetrics 1.0: last values, how devices are heard,
//! and what stands.
//! Never in here: history; collectors keep their own.

use super::unavailable;
use crate::store::{Delivery, Way};
use crate::web::Page;
use crate::web::view::device::{self, Device, Freshness};
use crate::web::view::finding::{self, Answered};
use analysis::detect::Severity;
use analysis::reading::{Place, Quantity};
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::fmt::Write;
use std::sync::Arc;

const KIND: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// All of them.
pub async fn metrics(State(page): State<Arc<Page>>) -> Response {
    let found = page
        .view(|page, store| {
            let outbox = (store.waiting()?, store.late(page.clock.now())?);
            Ok((finding::standing(store)?, outbox))
        })
        .await;
    let (found, (waiting, late)) = match found {
        Ok(found) => found,
        Err(why) => return unavailable(&why),
    };
    let mut text = String::new();
    let devices = device::devices(&page);
    values(&devices, &mut text);
    health(&devices, &mut text);
    standing(&found, &mut text);
    outbox(&waiting, late, &mut text);
    text.push_str("# EOF\n");
    ([(header::CONTENT_TYPE, KIND)], text).into_response()
}

/// What has not left: by way, and how much of all of it is late.
fn outbox(waiting: &[Delivery], late: usize, text: &mut String) {
    let name = "noonmark_deliveries_waiting";
    let help = "mails, calls and messages that nobody has taken yet";
    family(name, "gauge", help, text);
    for way in Way::ALL {
        let of_way = waiting.iter().filter(|d| d.made.target.way() == way);
        sample(name, &[("way", way.name())], of_way.count() as f64, text);
    }
    let name = "noonmark_deliveries_late";
    let help = "mails, calls and messages that nobody has taken for more than a day";
    family(name, "gauge", help, text);
    sample(name, &[], late as f64, text);
}

fn family(name: &str, kind: &str, help: &str, text: &mut String) {
    writeln!(text, "# TYPE {name} {kind}\n# HELP {name} {help}").expect("a String");
}

fn sample(name: &str, labels: &[(&str, &str)], value: f64, text: &mut String) {
    let labels: Vec<String> = labels
        .iter()
        .map(|(name, value)| format!("{name}=\"{}\"", escaped(value)))
        .collect();
    writeln!(text, "{name}{{{}}} {value}", labels.join(",")).expect("a String");
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

/// One family for each quantity, by its name with the unit; none for what has no good value.
fn values(devices: &[Device], text: &mut String) {
    for quantity in Quantity::ALL {
        let name = format!("noonmark_{}", quantity.name());
        let of_quantity = devices.iter().flat_map(|device| {
            let own = device.values.iter().filter(|v| v.of.quantity == *quantity);
            let good = own.filter(|v| v.quality == "good" && device.freshness == Freshness::Fresh);
            good.filter_map(move |v| Some((device, v.of.place, v.value?)))
        });
        let mut of_quantity = of_quantity.peekable();
        if of_quantity.peek().is_some() {
            family(&name, "gauge", &quantity.name().replace('_', " "), text);
        }
        for (device, place, value) in of_quantity {
            let (input, string) = match place {
                Place::Device => (String::new(), String::new()),
                Place::Input(n) => (n.to_string(), String::new()),
                Place::String(n, k) => (n.to_string(), k.to_string()),
            };
            let labels = [
                ("device", device.id.as_str()),
                ("input", &input),
                ("string", &string),
            ];
            let known: Vec<_> = labels
                .into_iter()
                .filter(|(_, value)| !value.is_empty())
                .collect();
            sample(&name, &known, value, text);
        }
    }
}

fn health(devices: &[Device], text: &mut String) {
    let mut of_all =
        |name: &str, kind: &str, help: &str, end: &str, value: fn(&Device) -> Option<f64>| {
            family(name, kind, help, text);
            for device in devices {
                if let Some(value) = value(device) {
                    sample(
                        &format!("{name}{end}"),
                        &[("device", &device.id)],
                        value,
                        text,
                    );
                }
            }
        };
    let up = |device: &Device| Some(f64::from(u8::from(!device.freshness.is_missed())));
    of_all(
        "noonmark_device_up",
        "gauge",
        "whether the device is heard as often as it should be, or is an inverter that is off for want of light",
        "",
        up,
    );
    let asleep = |device: &Device| Some(f64::from(u8::from(device.freshness == Freshness::Asleep)));
    of_all(
        "noonmark_device_asleep",
        "gauge",
        "whether the device is an inverter that is off for want of light",
        "",
        asleep,
    );
    let silent = |device: &Device| device.silent_s.map(|s| s as f64);
    of_all(
        "noonmark_device_silent_s",
        "gauge",
        "seconds since the device was heard",
        "",
        silent,
    );
    let answers = |device: &Device| Some(device.answers as f64);
    of_all(
        "noonmark_device_answers",
        "counter",
        "answers since the start",
        "_total",
        answers,
    );
    let failures = |device: &Device| Some(device.failures as f64);
    of_all(
        "noonmark_device_failures",
        "counter",
        "polls without an answer",
        "_total",
        failures,
    );
}

fn standing(found: &[Answered], text: &mut String) {
    let name = "noonmark_findings_standing";
    family(
        name,
        "gauge",
        "findings that stand, by how urgent they are",
        text,
    );
    let stand = || found.iter();
    for severity in [
        Severity::Note,
        Severity::Plan,
        Severity::Soon,
        Severity::Now,
    ] {
        let count = stand().filter(|a| a.finding.severity == severity).count();
        sample(name, &[("severity", severity.name())], count as f64, text);
    }
    let name = "noonmark_finding_lost_wh";
    family(
        name,
        "gauge",
        "energy that a standing finding has cost so far",
        text,
    );
    for answered in stand() {
        let finding = &answered.finding;
        let (id, kind) = (finding.id.as_str(), finding.kind.name());
        let device = finding.subject.device.as_str();
        let labels = [("id", id), ("kind", kind), ("device", device)];
        sample(name, &labels, finding.lost.wh(), text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_cannot_end_its_line() {
        let mut text = String::new();
        sample("noonmark_x", &[("device", "a\"b\\c\nd")], 1.5, &mut text);
        assert_eq!(text, "noonmark_x{device=\"a\\\"b\\\\c\\nd\"} 1.5\n");
    }
}
