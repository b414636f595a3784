//! Which blocks of registers are asked for, so that every wanted register is covered.
//!
//! Model:   registers in order of function and address are cut into runs; of all cuts the one with
//!          the fewest blocks is taken, and of those the one that parts the fewest instants
//! Symbols: block    one request: no longer than `max_block`, no gap over `max_gap`, nothing forbidden
//!          instant  what belongs together in time: an input with its strings, the device as a whole
//! Range:   registers of a checked map: none is longer than a block, none is forbidden.
//! Source:  own; the cut is the shortest path over the places between registers.
//! Check:   properties below: covered, within limits, no more blocks than a greedy pass needs.
//!
//! Never in here: input or output.

use analysis::reading::Place;
use config::registers::{BlockLimits, Function, Register};
use std::collections::BTreeSet;

/// One request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// How it is read.
    pub function: Function,
    /// First register or bit, counted from 0.
    pub first: u16,
    /// How many, from 1 to `max_block`.
    pub count: u16,
    /// Which registers of the list it covers, by index.
    pub registers: Vec<usize>,
}

/// The blocks for the `wanted` ones of `registers` (by index), in order of function and address.
/// Those that `alone` holds get a block each.
pub fn plan(
    registers: &[Register],
    wanted: &BTreeSet<usize>,
    alone: &BTreeSet<usize>,
    limits: &BlockLimits,
) -> Vec<Block> {
    let mut order: Vec<usize> = wanted.iter().copied().collect();
    order.sort_by_key(|i| (registers[*i].function, registers[*i].address, *i));
    let (single, shared): (Vec<_>, Vec<_>) = order.into_iter().partition(|i| alone.contains(i));
    let mut blocks = cut(registers, &shared, limits);
    blocks.extend(single.iter().map(|i| block(registers, &[*i])));
    blocks.sort_by_key(|block| (block.function, block.first));
    blocks
}

/// Blocks, then instants that are parted: each block counts once for every instant that it touches.
type Cost = (usize, usize);

fn cut(registers: &[Register], order: &[usize], limits: &BlockLimits) -> Vec<Block> {
    // best[n]: cheapest way to cover the first n registers, and where its last block begins.
    let mut best: Vec<(Cost, usize)> = vec![((0, 0), 0)];
    for end in 1..=order.len() {
        let mut cheapest = None;
        for start in (0..end).rev() {
            let run = &order[start..end];
            // A longer run may bridge a gap that a shorter one has: the one before reaches further.
            if is_too_far(registers, run, limits) {
                break;
            }
            if !is_one_block(registers, run, limits) {
                continue;
            }
            let (blocks, parts) = best[start].0;
            let cost = (blocks + 1, parts + instants(registers, run));
            if cheapest.is_none_or(|(known, _)| cost < known) {
                cheapest = Some((cost, start));
            }
        }
        best.push(cheapest.expect("a register alone is a block"));
    }
    let mut blocks = Vec::new();
    let mut end = order.len();
    while end > 0 {
        let start = best[end].1;
        blocks.push(block(registers, &order[start..end]));
        end = start;
    }
    blocks
}

/// With every start before it as well.
fn is_too_far(registers: &[Register], run: &[usize], limits: &BlockLimits) -> bool {
    let (first, last) = (&registers[run[0]], &registers[run[run.len() - 1]]);
    last.function != first.function || last.address - first.address >= limits.max_block
}

fn is_one_block(registers: &[Register], run: &[usize], limits: &BlockLimits) -> bool {
    let [first, .., _] = run else {
        return true;
    };
    let (function, start) = (registers[*first].function, registers[*first].address);
    let mut end = start;
    for index in run {
        let register = &registers[*index];
        let gap = register.address.saturating_sub(end).saturating_sub(1);
        let gap = if *index == *first { 0 } else { gap };
        if register.function != function || gap > limits.max_gap {
            return false;
        }
        end = end.max(register.last());
    }
    let is_short = u32::from(end) - u32::from(start) < u32::from(limits.max_block);
    let is_allowed = !limits.forbidden.iter().any(|forbidden| {
        forbidden.function == function && forbidden.first <= end && forbidden.last >= start
    });
    is_short && is_allowed
}

fn instants(registers: &[Register], run: &[usize]) -> usize {
    let instant = |index: &usize| match registers[*index].place {
        Place::Device => 0,
        Place::Input(n) | Place::String(n, _) => n,
    };
    run.iter().map(instant).collect::<BTreeSet<u8>>().len()
}

fn block(registers: &[Register], run: &[usize]) -> Block {
    let first = &registers[run[0]];
    let last = run.iter().map(|index| registers[*index].last()).max();
    Block {
        function: first.function,
        first: first.address,
        count: last.expect("a run is not empty") - first.address + 1,
        registers: run.to_vec(),
    }
}

#[cfg(test)]
#[path = "plan_tests.rs"]
mod tests;
