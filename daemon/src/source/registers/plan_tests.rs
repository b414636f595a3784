//! Properties of the plan, and cases that a person can follow.

use super::*;
use analysis::reading::Quantity;
use config::registers::{Encoding, Forbidden, Meaning, NumberKind};
use proptest::prelude::*;

fn register(function: Function, address: u16, kind: NumberKind, place: Place) -> Register {
    Register {
        function,
        address,
        encoding: Encoding {
            kind,
            is_low_word_first: false,
            is_low_byte_first: false,
        },
        meaning: Meaning::Number {
            scale: 1.0,
            offset: 0.0,
        },
        not_available: Vec::new(),
        faulty: Vec::new(),
        place,
        quantity: Quantity::DcCurrent,
        every: None,
    }
}

fn limits(max_block: u16, max_gap: u16, forbidden: &[(u16, u16)]) -> BlockLimits {
    let forbidden = forbidden.iter().map(|&(first, last)| Forbidden {
        function: Function::Holding,
        first,
        last,
    });
    BlockLimits {
        max_block,
        max_gap,
        forbidden: forbidden.collect(),
    }
}

fn spans(registers: &[Register], limits: &BlockLimits) -> Vec<(u16, u16)> {
    let all = (0..registers.len()).collect();
    let blocks = plan(registers, &all, &BTreeSet::new(), limits);
    blocks
        .iter()
        .map(|block| (block.first, block.count))
        .collect()
}

fn at(address: u16, place: Place) -> Register {
    register(Function::Holding, address, NumberKind::U16, place)
}

#[test]
fn a_gap_is_read_along_up_to_its_limit() {
    let registers = [
        at(10, Place::Device),
        at(14, Place::Device),
        at(20, Place::Device),
    ];
    assert_eq!(spans(&registers, &limits(60, 3, &[])), [(10, 5), (20, 1)]);
    assert_eq!(spans(&registers, &limits(60, 5, &[])), [(10, 11)]);
}

#[test]
fn what_is_forbidden_parts_a_block() {
    let registers = [at(10, Place::Device), at(12, Place::Device)];
    assert_eq!(
        spans(&registers, &limits(60, 9, &[(11, 11)])),
        [(10, 1), (12, 1)]
    );
}

/// Voltage and current of an input stay together where that costs no block.
#[test]
fn an_instant_is_not_parted_without_need() {
    let (one, two) = (Place::Input(1), Place::Input(2));
    let registers = [
        at(0, one),
        at(1, one),
        at(2, two),
        at(3, two),
        at(4, Place::Device),
    ];
    // A greedy pass would read 0 to 2 and part the second input.
    assert_eq!(spans(&registers, &limits(3, 9, &[])), [(0, 2), (2, 3)]);
}

/// A pass from the lowest address that makes each block as long as it may be.
fn greedy(registers: &[Register], limits: &BlockLimits) -> usize {
    let mut order: Vec<usize> = (0..registers.len()).collect();
    order.sort_by_key(|i| (registers[*i].function, registers[*i].address));
    let (mut count, mut run) = (0, Vec::new());
    for index in order {
        run.push(index);
        if run.len() == 1 || !is_one_block(registers, &run, limits) {
            (count, run) = (count + 1, vec![index]);
        }
    }
    count
}

fn any_register() -> impl Strategy<Value = Register> {
    let function = prop::sample::select(vec![Function::Holding, Function::Input]);
    let kind = prop::sample::select(vec![NumberKind::U16, NumberKind::I32, NumberKind::U64]);
    let place = prop_oneof![
        Just(Place::Device),
        (1u8..4).prop_map(Place::Input),
        (1u8..3, 1u8..4).prop_map(|(n, k)| Place::String(n, k)),
    ];
    let near = prop_oneof![0u16..120, 65_500u16..65_533];
    (function, near, kind, place)
        .prop_map(|(f, address, kind, place)| register(f, address, kind, place))
}

proptest! {
    /// Covered, within the limits, nothing forbidden, never more than one block for each register, and
    /// as few as a greedy pass needs.
    #[test]
    fn every_plan_keeps_what_a_plan_promises(
        registers in prop::collection::vec(any_register(), 1..40),
        max_block in 4u16..125,
        max_gap in 0u16..30,
        forbidden in prop::collection::vec((0u16..140, 0u16..6), 0..4),
        alone in prop::collection::btree_set(0usize..40, 0..3),
    ) {
        let spans: Vec<_> = forbidden.iter().map(|(first, more)| (*first, first + more)).collect();
        let limits = limits(max_block, max_gap, &spans);
        // A checked map has no register there.
        let is_allowed = |r: &Register| {
            let meets = |f: &Forbidden| f.function == r.function && f.first <= r.last() && f.last >= r.address;
            !limits.forbidden.iter().any(meets)
        };
        let registers: Vec<_> = registers.into_iter().filter(is_allowed).collect();
        let all: BTreeSet<usize> = (0..registers.len()).collect();
        let blocks = plan(&registers, &all, &alone, &limits);

        let mut covered = Vec::new();
        for block in &blocks {
            let end = u32::from(block.first) + u32::from(block.count);
            prop_assert!(block.count >= 1 && block.count <= max_block && end <= 0x1_0000);
            for f in &limits.forbidden {
                let apart = u32::from(f.first) >= end || f.last < block.first;
                prop_assert!(f.function != block.function || apart, "{block:?} {f:?}");
            }
            for index in &block.registers {
                let r = &registers[*index];
                prop_assert_eq!(r.function, block.function);
                prop_assert!(r.address >= block.first && u32::from(r.last()) < end);
                prop_assert!(!alone.contains(index) || block.registers.len() == 1);
                covered.push(*index);
            }
        }
        covered.sort_unstable();
        prop_assert_eq!(covered, all.iter().copied().collect::<Vec<_>>());
        prop_assert!(blocks.len() <= registers.len());
        if alone.is_empty() {
            prop_assert_eq!(blocks.len(), greedy(&registers, &limits));
        }
    }
}
