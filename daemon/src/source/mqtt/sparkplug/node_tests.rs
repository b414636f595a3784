//! Births, data by alias and deaths. Kind of truth: the specification, by
//! examples; property for bytes of any content.

use super::message::{Metric, MetricValue, Number, Payload, Properties, Property};
use super::node::{EdgeNode, Event, Oddity};
use super::topic::Verb;
use prost::Message;

fn metric(name: Option<&str>, alias: Option<u64>, value: MetricValue) -> Metric {
    Metric {
        name: name.map(str::to_owned),
        alias,
        value: Some(value),
        ..Metric::default()
    }
}

fn message(seq: u64, metrics: Vec<Metric>) -> Vec<u8> {
    let payload = Payload {
        timestamp: Some(1_000),
        metrics,
        seq: Some(seq),
    };
    payload.encode_to_vec()
}

fn values(event: Event) -> Vec<(String, Option<Number>)> {
    let Event::Values(told) = event else {
        panic!("{event:?}")
    };
    told.into_iter().map(|t| (t.name, t.number)).collect()
}

#[test]
fn data_by_alias_have_the_name_and_the_sign_of_their_birth() {
    let mut node = EdgeNode::default();
    let born = Metric {
        datatype: Some(2),
        ..metric(Some("Air"), Some(7), MetricValue::Int(20))
    };
    let (event, odd) = node
        .take(Verb::Birth, None, &message(0, vec![]))
        .expect("right");
    assert_eq!((values(event), odd), (vec![], vec![]));
    let birth = message(1, vec![born]);
    let (event, odd) = node.take(Verb::Birth, Some("mast"), &birth).expect("right");
    assert_eq!(values(event), [("Air".to_owned(), Some(Number::Whole(20)))]);
    assert_eq!(odd, []);
    let cold = message(2, vec![metric(None, Some(7), MetricValue::Int(0xFFF6))]);
    let (event, odd) = node.take(Verb::Data, Some("mast"), &cold).expect("right");
    assert_eq!(
        values(event),
        [("Air".to_owned(), Some(Number::Whole(-10)))]
    );
    assert_eq!(odd, []);
}

#[test]
fn a_gap_is_noticed_once_and_the_number_begins_again_after_255() {
    let mut node = EdgeNode::default();
    node.take(Verb::Birth, None, &message(254, vec![]))
        .expect("right");
    let odd = |node: &mut EdgeNode, seq| {
        node.take(Verb::Data, Some("inv"), &message(seq, vec![]))
            .expect("right")
            .1
    };
    assert_eq!(odd(&mut node, 255), []);
    assert_eq!(odd(&mut node, 0), []);
    assert_eq!(
        odd(&mut node, 3),
        [Oddity::Gap {
            wanted: 1,
            found: 3
        }]
    );
    assert_eq!(odd(&mut node, 4), []);
}

#[test]
fn what_was_not_born_or_has_died_is_not_known() {
    let mut node = EdgeNode::default();
    let data = message(9, vec![metric(None, Some(1), MetricValue::Float(2.5))]);
    let (event, odd) = node.take(Verb::Data, Some("inv"), &data).expect("right");
    assert_eq!((values(event), odd), (vec![], vec![Oddity::NoBirth]));
    let birth = message(0, vec![metric(Some("P"), Some(1), MetricValue::Float(2.5))]);
    node.take(Verb::Birth, None, &birth).expect("right");
    let (died, _) = node
        .take(Verb::Death, None, &[])
        .expect("an empty payload is one");
    assert_eq!(died, Event::Died);
    assert_eq!(node, EdgeNode::default());
}

#[test]
fn a_value_that_its_sender_calls_bad_or_stale_is_faulty() {
    let with = |code: Option<u32>| Metric {
        properties: Some(Properties {
            keys: vec!["engUnit".to_owned(), "Quality".to_owned()],
            values: vec![Property::default(), Property { int: code }],
        }),
        ..metric(Some("P"), None, MetricValue::Float(2.5))
    };
    let plain = metric(Some("P"), None, MetricValue::Float(2.5));
    let codes = [
        with(Some(192)),
        with(Some(0)),
        with(Some(500)),
        with(None),
        plain,
    ];
    let mut node = EdgeNode::default();
    let birth = message(0, codes.to_vec());
    let (event, _) = node.take(Verb::Birth, Some("inv"), &birth).expect("right");
    let Event::Values(told) = event else {
        panic!("{event:?}")
    };
    let faulty: Vec<bool> = told.iter().map(|told| told.is_faulty).collect();
    assert_eq!(faulty, [false, true, true, false, false]);
}

proptest::proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes: Vec<u8>, device: bool) {
        let mut node = EdgeNode::default();
        let device = device.then_some("inv");
        for verb in [Verb::Birth, Verb::Data, Verb::Death] {
            let _garbage_or_not = node.take(verb, device, &bytes);
        }
    }
}
