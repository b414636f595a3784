//! Pieces that several pages show: a finding in short, a curve.

use crate::text;
use crate::web::show;
use crate::web::texts::Texts;
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
    pub fn new(page: &Page, t: &Texts, brief: &Brief) -> Self {
        let timezone = page.site.timezone;
        let began = show::local(t, brief.began, timezone);
        let when = match brief.ended {
            None => format!("{} {began}", t.since),
            Some(ended) => format!("{began} {} {}", t.until, show::local(t, ended, timezone)),
        };
        let snoozed = brief.snoozed_until.map(|at| show::local(t, at, timezone));
        Self {
            path: paths::finding(&brief.id),
            title: t.finding_title(brief.is, &brief.subject),
            summary: brief.summary.clone(),
            severity: severity_name(brief.severity),
            shape: t.severity_shape(brief.severity),
            urgency: t.severity(brief.severity),
            when,
            lost: lost(page, t, brief.lost_kwh),
            is_acknowledged: brief.is_acknowledged,
            snoozed_until: snoozed.unwrap_or_default(),
        }
    }
}

/// What was lost, with what it is worth.
fn lost(page: &Page, t: &Texts, kwh: f64) -> String {
    if kwh < 0.005 {
        return String::new();
    }
    let energy = show::energy(t, kwh * 1000.0);
    let price = page.site.plant.site.energy_price.as_ref();
    match price {
        None => energy,
        Some(price) => {
            let worth = show::number(t, Some(kwh * price.per_kwh), 2, &price.currency);
            format!("{energy}, {worth}")
        }
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
pub fn curve(page: &Page, t: &Texts, points: &[Point], (from_s, to_s): (i64, i64)) -> String {
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
    let (highest, title) = (show::power(t, Some(most)), t.chart_of_today);
    format!(
        "<figure class=\"curve\"><svg viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{title}\" \
         preserveAspectRatio=\"none\"><path class=\"base\" d=\"M0 {bottom}H{width}\"/>\
         <path class=\"expected\" d=\"{expected}\"/><path class=\"measured\" d=\"{measured}\"/></svg>\
         <figcaption><span class=\"ends\"><span>{from}</span> <span>{to}</span></span><span class=\"line measured\"></span>{} <span class=\"line expected\"></span>{}, \
         {} {highest}</figcaption></figure>",
        t.measured,
        t.expected,
        t.highest,
        bottom = height - 2.0,
    )
}
