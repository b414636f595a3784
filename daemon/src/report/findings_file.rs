//! `findings.jsonl`: one finding per line, in the shape that other programs rely on.
//!
//! Times are UTC as RFC 3339; what there is none of is `null`. The file appears whole or not at all.
//! Never in here: choosing or wording findings.

use super::whole_file::{WriteError, write_whole};
use crate::text::utc;
use analysis::detect::{Kind, Severity};
use analysis::diagnose::{Evidence, Finding};
use analysis::plant::Site;
use analysis::reading::Time;
use serde::Serialize;
use std::path::Path;
use thiserror::Error;

/// Why the file could not be written. A file that was there before is untouched.
#[derive(Debug, Error)]
pub enum FindingsFileError {
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// NaN or infinity, which JSON cannot say.
    #[error("write finding {id}: {name} is {found}")]
    NotFinite {
        /// The finding.
        id: String,
        /// Which number.
        name: String,
        /// The value.
        found: f64,
    },
    /// A time outside the calendar.
    #[error("write finding {id}: {unix_ms} ms since 1970 is no date")]
    NoDate {
        /// The finding.
        id: String,
        /// The time.
        unix_ms: i64,
    },
    /// The encoder refused.
    #[error("encode finding {id}")]
    Encode {
        /// The finding.
        id: String,
        /// What the encoder said.
        source: serde_json::Error,
    },
}

/// The order of the fields is the order in the file.
#[derive(Serialize)]
struct Line<'a> {
    id: &'a str,
    site: &'a str,
    device: &'a str,
    input: Option<u8>,
    string: Option<&'a str>,
    kind: Kind,
    severity: Severity,
    began: String,
    found: String,
    ended: Option<String>,
    confidence: f64,
    causes: Vec<CauseOfLine<'a>>,
    evidence: &'a Evidence,
    lost_kwh: f64,
    lost_money: Option<f64>,
    summary: &'a str,
    advice: &'a [String],
    caution: &'a [String],
}

#[derive(Serialize)]
struct CauseOfLine<'a> {
    cause: &'a str,
    probability: f64,
}

const WH_PER_KWH: f64 = 1000.0;

/// A number with the digits that mean something; without a sign where nothing is left.
fn rounded(number: f64, per_unit: f64) -> f64 {
    (number * per_unit).round() / per_unit + 0.0
}

/// One finding as one line of JSON, without the line's end.
pub fn line(finding: &Finding, site: &Site) -> Result<String, FindingsFileError> {
    refuse_not_finite(finding)?;
    let date = |time| rfc3339(finding, time);
    let lost_kwh = rounded(finding.lost.wh() / WH_PER_KWH, 1e4);
    let causes = finding.causes.iter().map(|cause| CauseOfLine {
        cause: &cause.cause,
        probability: rounded(cause.probability, 1e4),
    });
    let line = Line {
        id: finding.id.as_str(),
        site: &site.name,
        device: finding.subject.device.as_str(),
        input: finding.subject.input,
        string: finding.subject.string.as_deref(),
        kind: finding.kind,
        severity: finding.severity,
        began: date(finding.began)?,
        found: date(finding.found)?,
        ended: finding.ended.map(date).transpose()?,
        confidence: rounded(finding.confidence, 1e4),
        causes: causes.collect(),
        evidence: &finding.evidence,
        lost_kwh,
        lost_money: site
            .energy_price
            .as_ref()
            .map(|price| rounded(lost_kwh * price.per_kwh, 1e4)),
        summary: &finding.summary,
        advice: &finding.advice,
        caution: &finding.caution,
    };
    serde_json::to_string(&line).map_err(|source| FindingsFileError::Encode {
        id: finding.id.to_string(),
        source,
    })
}

/// Writes the findings in the order given, in place of an earlier file.
///
/// # Errors
/// If a finding cannot be said in JSON, or the file cannot be written.
pub fn write(path: &Path, findings: &[Finding], site: &Site) -> Result<(), FindingsFileError> {
    let mut text = String::new();
    for finding in findings {
        text.push_str(&line(finding, site)?);
        text.push('\n');
    }
    Ok(write_whole(path, text.as_bytes())?)
}

fn refuse_not_finite(finding: &Finding) -> Result<(), FindingsFileError> {
    match finding.numbers().find(|(_, number)| !number.is_finite()) {
        None => Ok(()),
        Some((name, found)) => Err(FindingsFileError::NotFinite {
            id: finding.id.to_string(),
            name: name.to_owned(),
            found,
        }),
    }
}

fn rfc3339(finding: &Finding, time: Time) -> Result<String, FindingsFileError> {
    utc(time).ok_or(FindingsFileError::NoDate {
        id: finding.id.to_string(),
        unix_ms: time.unix_ms(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::diagnose::{Cause, FindingId, Subject};
    use analysis::plant::{EnergyPrice, GridLimits};
    use analysis::reading::{Angle, DeviceId, Energy, Frequency, Temperature, Voltage};

    fn site(energy_price: Option<EnergyPrice>) -> Site {
        Site {
            name: "Hillside \"barn\"".to_owned(),
            latitude: Angle::from_deg(47.0),
            longitude: Angle::from_deg(8.0),
            altitude_m: 500.0,
            commissioned: Time::from_unix_ms(0),
            linke_turbidity: [3.0; 12],
            design_coldest: None,
            design_hottest_cell: Temperature::from_degc(70.0),
            energy_price,
            grid_limits: GridLimits {
                rules: "test".to_owned(),
                nominal_voltage: Voltage::from_v(230.0),
                nominal_frequency: Frequency::from_hz(50.0),
                under_voltage: Vec::new(),
                over_voltage: Vec::new(),
                sustained_over_voltage: None,
                under_frequency: Vec::new(),
                over_frequency: Vec::new(),
                volt_watt: Vec::new(),
                enter_service: None,
            },
        }
    }

    fn finding() -> Finding {
        let subject = Subject {
            device: DeviceId::new("inv-1"),
            input: Some(2),
            string: None,
        };
        // 2024-03-01T09:15:00Z: 19783 days, 9 h and 15 min.
        let began = Time::from_unix_ms((19_783 * 86_400 + 33_300) * 1000);
        Finding {
            id: FindingId::new(&subject, Kind::StringOpen, began),
            subject,
            kind: Kind::StringOpen,
            severity: Severity::Soon,
            began,
            found: Time::from_unix_ms(began.unix_ms() + 1_800_250),
            ended: None,
            confidence: 0.75,
            causes: vec![Cause {
                cause: "open connector".to_owned(),
                probability: 0.5,
            }],
            evidence: Evidence::from([("residual_dc_current_a".to_owned(), -4.5)]),
            lost: Energy::from_wh(1500.0),
            summary: "one of two strings carries nothing".to_owned(),
            advice: vec!["measure".to_owned()],
            caution: Vec::new(),
        }
    }

    fn price() -> Option<EnergyPrice> {
        Some(EnergyPrice {
            per_kwh: 0.25,
            currency: "CHF".to_owned(),
        })
    }

    #[test]
    fn a_line_has_the_agreed_shape() {
        let text = line(&finding(), &site(price())).expect("all of it can be said");
        assert_eq!(
            text,
            concat!(
                r#"{"id":"inv-1.input-2.string_open.1709284500","site":"Hillside \"barn\"","#,
                r#""device":"inv-1","input":2,"string":null,"kind":"string_open","#,
                r#""severity":"soon","began":"2024-03-01T09:15:00Z","#,
                r#""found":"2024-03-01T09:45:00.250Z","ended":null,"confidence":0.75,"#,
                r#""causes":[{"cause":"open connector","probability":0.5}],"#,
                r#""evidence":{"residual_dc_current_a":-4.5},"lost_kwh":1.5,"#,
                r#""lost_money":0.375,"summary":"one of two strings carries nothing","#,
                r#""advice":["measure"],"caution":[]}"#,
            )
        );
    }

    #[test]
    fn what_there_is_none_of_is_null() {
        let mut ended = finding();
        ended.subject.input = None;
        ended.subject.string = Some("A".to_owned());
        ended.ended = Some(ended.began);
        let text = line(&ended, &site(None)).expect("all of it can be said");
        let line: serde_json::Value = serde_json::from_str(&text).expect("one JSON object");
        assert!(line["input"].is_null() && line["lost_money"].is_null());
        assert_eq!(line["string"], "A");
        assert_eq!(line["ended"], line["began"]);
    }

    #[test]
    fn a_refused_write_leaves_the_earlier_file_alone() {
        let dir = tempfile::tempdir().expect("a directory");
        let path = dir.path().join("findings.jsonl");
        write(&path, &[finding(), finding()], &site(price())).expect("room for two lines");
        let earlier = std::fs::read_to_string(&path).expect("it is there");
        assert_eq!(earlier.lines().count(), 2);
        assert!(earlier.ends_with('\n'));

        let mut bad = finding();
        bad.evidence.insert("scale_a".to_owned(), f64::INFINITY);
        let refused = write(&path, &[finding(), bad], &site(price())).expect_err("no number");
        assert!(matches!(refused, FindingsFileError::NotFinite { .. }));
        assert_eq!(
            std::fs::read_to_string(&path).expect("still there"),
            earlier
        );

        // A directory in the way of the rename.
        let taken = dir.path().join("taken.jsonl");
        std::fs::create_dir_all(taken.join("inside")).expect("a directory");
        let refused = write(&taken, &[finding()], &site(None)).expect_err("a directory is there");
        assert!(matches!(refused, FindingsFileError::Write(_)));
        let left = std::fs::read_dir(dir.path())
            .expect("the directory")
            .count();
        assert_eq!(left, 2, "nothing half done stays");
    }
}
