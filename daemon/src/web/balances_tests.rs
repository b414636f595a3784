//! Kind of truth: property. What is kept is what adding up anew gives, whatever is written or found later.

use super::*;
use crate::store::{EngineState, Layout, Step};
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot};
use analysis::diagnose::{FindingId, Subject};
use analysis::reading::{Energy, Power, Span};
use std::path::Path;

const SLOT: Span = Span::from_min(5);
/// 2026-06-21T00:00:00Z.
const DAY: Time = Time::from_unix_ms(1_782_000_000_000);

struct Looked {
    plant: Plant,
    store: Store,
    written: Arc<Written>,
    balances: Balances,
    findings: Vec<Finding>,
}

impl Looked {
    fn new() -> Self {
        let site = include_str!("../../../config/sites/quince-row-dairy.toml");
        let plant = config::parse("site", site, Path::new("")).expect("a right site file");
        let plant = plant.plant;
        let written = Arc::<Written>::default();
        Self {
            store: Store::in_memory(&Layout::of(&plant)).expect("a store"),
            balances: Balances::new(written.clone()),
            written,
            plant,
            findings: Vec::new(),
        }
    }

    /// Two hours at noon of a day in which each inverter gave so much of an expected kilowatt.
    fn write(&mut self, day: i64, measured_w: f64) {
        let first = DAY + Span::from_h(24 * day + 12);
        let slots: Vec<Slot> = (0..24)
            .map(|n| self.slot(first + SLOT * n, measured_w))
            .collect();
        let state = EngineState {
            version: 1,
            bytes: Vec::new(),
        };
        let step = Step {
            slots: &slots,
            ..Step::nothing(&state)
        };
        self.store.commit(&step).expect("room");
        self.written.tell(first);
    }

    fn slot(&self, start: Time, measured_w: f64) -> Slot {
        let inverters = self.plant.inverters.iter().map(|inverter| InverterSlot {
            ac_power: Some(Power::from_w(measured_w)),
            expected_ac_power: Some(Power::from_w(1000.0)),
            shade_ac_power: None,
            limit: None,
            producing: Some(false),
            inputs: inverter
                .inputs
                .iter()
                .map(|_| InputSlot {
                    voltage: None,
                    current: None,
                    expected: None,
                    gate: Gate::NotMeasured,
                    limit: None,
                })
                .collect(),
        });
        Slot {
            start,
            span: SLOT,
            air: None,
            wind: None,
            planes: vec![
                PlaneSlot {
                    poa: None,
                    cell: None
                };
                self.plant.planes.len()
            ],
            inverters: inverters.collect(),
        }
    }

    fn of_day(&self, day: i64) -> Arc<Vec<Balance>> {
        let (from, to) = (
            DAY + Span::from_h(24 * day),
            DAY + Span::from_h(24 * (day + 1)),
        );
        let date = NaiveDate::from_ymd_opt(2026, 6, 21).expect("a date");
        let date = date + chrono::Days::new(day as u64);
        let with = (&self.plant, &self.store);
        let kept = self.balances.of_day(with, date, (from, to), &self.findings);
        let kept = kept.expect("it reads");
        let slots = self.store.slots(from, to).expect("it reads");
        assert_eq!(
            *kept,
            added_up(&self.plant, &self.findings, &slots),
            "as if added up anew"
        );
        kept
    }

    fn find(&mut self, day: i64, ended: Option<Time>) {
        let subject = Subject::device(&self.plant.inverters[0].id);
        let began = DAY + Span::from_h(24 * day + 13);
        self.findings = vec![Finding {
            id: FindingId::new(&subject, Kind::InverterOff, began),
            subject,
            kind: Kind::InverterOff,
            severity: Kind::InverterOff.severity(),
            began,
            found: began,
            ended,
            confidence: 0.9,
            causes: Vec::new(),
            evidence: [].into(),
            lost: Energy::from_wh(0.0),
            summary: String::new(),
            advice: Vec::new(),
            caution: Vec::new(),
        }];
    }
}

#[test]
fn a_day_is_added_up_once_and_again_when_it_is_written_again() {
    let mut looked = Looked::new();
    looked.write(0, 700.0);
    looked.write(1, 800.0);
    let (first, second) = (looked.of_day(0), looked.of_day(1));
    assert!(Arc::ptr_eq(&first, &looked.of_day(0)), "kept");
    // The clock was set back: the second day comes again, with other values.
    looked.write(1, 900.0);
    assert!(
        Arc::ptr_eq(&first, &looked.of_day(0)),
        "nothing was written into it"
    );
    let again = looked.of_day(1);
    assert!(again[0].measured.wh() > second[0].measured.wh());
    assert!(Arc::ptr_eq(&again, &looked.of_day(1)), "kept again");
}

#[test]
fn what_is_found_later_of_a_past_day_is_charged_to_it() {
    let mut looked = Looked::new();
    looked.write(0, 0.0);
    let before = looked.of_day(0);
    looked.find(0, None);
    let charged = looked.of_day(0);
    assert_ne!(before, charged);
    // It ends after that day: nothing in it changes.
    looked.find(0, Some(DAY + Span::from_h(40)));
    assert!(Arc::ptr_eq(&charged, &looked.of_day(0)), "kept");
    looked.find(0, Some(DAY + Span::from_h(13) + Span::from_min(30)));
    assert_ne!(charged, looked.of_day(0), "it ended within the day");
}
