//! Event bits that no other finding tells: one finding on the first poll, in trade words, as urgent as
//! the bit.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::{ample_inverters, polls};
use analysis::detect::{Kind, Severity};
use analysis::plant::EventBit;
use analysis::reading::{Quantity, Span, Value};
use std::sync::Arc;
use tests::plant::{Period, START, What, World, plant};

const EVERY: Span = Span::from_min(1);

fn told(world: World) -> Told {
    let plant = Arc::new(plant(&ample_inverters()));
    let polls = polls(&plant, world, 1, EVERY);
    account(&plant, one_by_one(&polls), end_of(&plant, &polls))
}

fn shown(bit: EventBit, period: Period) -> Told {
    told(World::fair().with(period, What::Shows(0, bit)))
}

#[test]
fn one_poll_with_a_bit_is_one_finding_as_urgent_as_the_bit() {
    let one_poll = Period::new((0, 12.0), (0, 12.0 + 1.0 / 60.0));
    for (bit, severity, word) in [
        (EventBit::ArcDetected, Severity::Now, "arc"),
        (EventBit::DcOverVoltage, Severity::Now, "voltage"),
        (EventBit::BlownStringFuse, Severity::Soon, "fuse"),
        (EventBit::OverTemperature, Severity::Soon, "hot"),
        (EventBit::HardwareTestFailure, Severity::Soon, "hardware"),
        (EventBit::CabinetOpen, Severity::Soon, "cabinet"),
        (EventBit::AcDisconnect, Severity::Soon, "AC side"),
        (EventBit::MemoryLoss, Severity::Plan, "memory"),
        (EventBit::MakersAlarm, Severity::Plan, "maker"),
        (EventBit::UnderTemperature, Severity::Note, "cold"),
    ] {
        let told = shown(bit, one_poll);
        let [acted] = told.of(Kind::ProtectionActed)[..] else {
            panic!("{bit:?}: {}", told.list());
        };
        assert_eq!(told.findings.len(), 1, "{}", told.list());
        assert_eq!(acted.severity, severity, "{bit:?}");
        assert!(acted.summary.contains(word), "{}", acted.summary);
        assert_eq!((acted.began, acted.found), (one_poll.from, one_poll.from));
        assert_eq!(acted.ended, Some(one_poll.from));
        let says_fire = acted.caution.iter().any(|line| line.contains("fire"));
        assert_eq!(says_fire, bit == EventBit::ArcDetected);
    }
}

#[test]
fn hundreds_of_repeats_in_minutes_are_one_finding_that_counts_them() {
    let plant = Arc::new(plant(&ample_inverters()));
    let every = Span::from_s(2);
    let mut polls = polls(&plant, World::fair(), 1, EVERY);
    polls.retain(|(at, _)| *at < START + Span::from_h(12));
    let bits = polls.last().expect("polls").1.iter().find(|r| {
        let (_, channel) = plant
            .channels
            .iter()
            .find(|(id, _)| *id == r.channel)
            .expect("of the plant");
        channel.quantity == Quantity::EventBits && channel.device.to_string() == "inv-1"
    });
    let bits = *bits.expect("it publishes bits");
    for n in 0..600 {
        let at = START + Span::from_h(12) + every * n;
        let set = f64::from(u8::from(n % 2 == 0)) * 128.0;
        let reading = analysis::reading::Reading {
            at,
            value: Value::Good(set),
            ..bits
        };
        polls.push((at, vec![reading]));
    }
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let [hot] = told.of(Kind::ProtectionActed)[..] else {
        panic!("{}", told.list());
    };
    assert_eq!(hot.ended, None);
    assert_eq!(hot.causes.len(), 1);
    let ended = {
        let late = START + Span::from_h(14);
        let clear = analysis::reading::Reading { at: late, ..bits };
        polls.push((late, vec![clear]));
        account(&plant, one_by_one(&polls), end_of(&plant, &polls))
    };
    let [hot] = ended.of(Kind::ProtectionActed)[..] else {
        panic!("{}", ended.list());
    };
    assert_eq!(hot.evidence["times_count"], 300.0);
    assert_eq!(hot.evidence["over_temperature_polls_count"], 300.0);
    assert_eq!(hot.ended, Some(START + Span::from_h(12) + every * 598));
}

#[test]
fn what_the_supply_the_insulation_or_a_hand_does_is_not_told_twice() {
    let noon = Period::new((0, 11.0), (0, 12.0));
    for what in [
        What::Tripped(0, Some(EventBit::AcOverVoltage)),
        What::Tripped(0, Some(EventBit::AcDisconnect)),
        What::Tripped(0, None),
        What::Leaks(0),
        What::Shows(0, EventBit::ManualShutdown),
        What::Shows(0, EventBit::GridDisconnect),
    ] {
        let told = told(World::fair().with(noon, what));
        assert!(
            told.of(Kind::ProtectionActed).is_empty(),
            "{what:?}: {}",
            told.list()
        );
    }
}

#[test]
fn a_stop_by_protection_costs_what_was_not_produced() {
    let noon = Period::new((0, 11.0), (0, 12.0));
    let stop = What::Tripped(0, Some(EventBit::HardwareTestFailure));
    let told = told(World::fair().with(noon, stop));
    let [acted] = told.of(Kind::ProtectionActed)[..] else {
        panic!("{}", told.list());
    };
    let before = START + Span::from_min(10 * 60 + 30);
    let slot = told.slots.iter().find(|s| s.start == before);
    let hour_wh = slot.and_then(|s| s.inverters[0].ac_power).expect("at work");
    let lost = acted.lost.wh() / hour_wh.w();
    assert!((0.8..1.3).contains(&lost), "{lost} of an hour's energy");
}

#[test]
fn a_standstill_that_protection_explains_is_not_told_as_an_inverter_that_is_off() {
    let hours = Period::new((0, 9.5), (0, 15.5));
    let of = |bit| told(World::fair().with(hours, What::Tripped(0, Some(bit))));
    let stopped = of(EventBit::HardwareTestFailure);
    assert_eq!(stopped.of(Kind::ProtectionActed).len(), 1);
    assert_eq!(stopped.of(Kind::InverterOff).len(), 0, "{}", stopped.list());
    // Lost memory says nothing of why it stands still.
    let off = of(EventBit::MemoryLoss);
    assert_eq!(off.of(Kind::InverterOff).len(), 1, "{}", off.list());
}
