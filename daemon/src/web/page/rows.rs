//! Pieces that several pages show: a finding in short, a curve.

use super::T;
use crate::text;
use crate::web::show;
use crate::web::view::finding::Brief;
use crate::web::view::overview::Point;
use crate::web::{Page, paths};
use analysis::detect::Severity;
use analysis::reading::Time;
use std::fmt::Write;

/// A finding in short.
pub struct FindingRow {
    pub path: String,
    pub title: String,
    pub summary: String,
    pub severity: &'static str,
    pub shape: &'static str,
    pub urgency: &'static str,
    pub when: String,
    /// Energy and money; empty where nothing was lost.
    pub lost: String,
    pub is_acknowledged: bool,
    pub snoozed_until: String,
}

impl FindingRow {
    pub fn new(page: &Page, brief: &Brief) -> Self {
        let timezone = page.site.timezone;
        let began = show::local(brief.began, timezone);
        let when = match brief.ended {
            None => format!("{} {began}", T.since),
            Some(ended) => format!("{began} {} {}", T.until, show::local(ended, timezone)),
        };
        let snoozed = brief.snoozed_until_utc.as_deref();
        let snoozed = snoozed.and_then(|text| chrono::DateTime::parse_from_rfc3339(text).ok());
        let snoozed = snoozed.map(|at| {
            let at = analysis::reading::Time::from_unix_ms(at.timestamp_millis());
            show::local(at, timezone)
        });
        Self {
            path: paths::finding(&brief.id),
            title: brief.title.clone(),
            summary: brief.summary.clone(),
            severity: severity_name(brief.severity),
            shape: T.severity_shape(brief.severity),
            urgency: T.severity(brief.severity),
            when,
            lost: lost(page, brief.lost_kwh),
            is_acknowledged: brief.is_acknowledged,
            snoozed_until: snoozed.unwrap_or_default(),
        }
    }
}

/// What was lost, with what it is worth.
fn lost(page: &Page, kwh: f64) -> String {
    if kwh < 0.005 {
        return String::new();
    }
    let energy = show::energy(kwh * 1000.0);
    let price = page.site.plant.site.energy_price.as_ref();
    match price {
        None => energy,
        Some(price) => format!("{energy}, {:.2} {}", kwh * price.per_kwh, price.currency),
    }
}

/// Its name in the style sheet.
pub fn severity_name(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Plan => "plan",
        Severity::Soon => "soon",
        Severity::Now => "now",
    }
}

/// Width and height of the curve of a day, in its own units.
const CURVE: (f64, f64) = (360.0, 120.0);

/// Measured and expected power of a day as a small picture inside the page, which takes its colours
/// from the style sheet.
pub fn curve(page: &Page, points: &[Point], (from_s, to_s): (i64, i64)) -> String {
    let most = points
        .iter()
        .flat_map(|p| [p.measured_w, p.expected_w])
        .flatten();
    let most = most.fold(0.0, f64::max);
    if most <= 0.0 || from_s >= to_s {
        return String::new();
    }
    let x = |at: i64| (at - from_s) as f64 / (to_s - from_s) as f64 * CURVE.0;
    let y = |w: f64| CURVE.1 - (w / most).clamp(0.0, 1.0) * (CURVE.1 - 6.0) - 2.0;
    let line = |of: fn(&Point) -> Option<f64>| {
        let mut path = String::new();
        let mut is_on = false;
        for point in points {
            let Some(w) = of(point) else {
                is_on = false;
                continue;
            };
            let command = if is_on { 'L' } else { 'M' };
            write!(path, "{command}{:.1} {:.1}", x(point.at_unix_s), y(w)).expect("a String");
            is_on = true;
        }
        path
    };
    let (expected, measured) = (line(|p| p.expected_w), line(|p| p.measured_w));
    let (width, height) = CURVE;
    let clock = |s: i64| text::clock(Time::from_unix_ms(s * 1000), page.site.timezone);
    let (from, to) = (clock(from_s), clock(to_s));
    let (highest, title) = (show::power(Some(most)), T.chart_of_today);
    format!(
        "<figure class=\"curve\"><svg viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{title}\" \
         preserveAspectRatio=\"none\"><path class=\"base\" d=\"M0 {bottom}H{width}\"/>\
         <path class=\"expected\" d=\"{expected}\"/><path class=\"measured\" d=\"{measured}\"/></svg>\
         <figcaption><span class=\"ends\"><span>{from}</span> <span>{to}</span></span><span class=\"line measured\"></span>{} <span class=\"line expected\"></span>{}, \
         {} {highest}</figcaption></figure>",
        T.measured,
        T.expected,
        "≤",
        bottom = height - 2.0,
    )
}
