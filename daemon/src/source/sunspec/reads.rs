//! Which registers of a model are read together.
//!
//! A model is read in one request where it fits, so that voltage, current and state are of one
//! instant. A longer one is cut between blocks, never inside: an input's voltage and current always
//! come together. Never in here: input or output.

use super::settings::has_settings;
use super::table::{Layout, layout};
use super::walk::Model;
use crate::source::modbus::MAX_REGISTERS;

/// Most reads of a model without blocks: the longest of the table, with all its curves, has fewer
/// (judgement).
const MOST_READS: usize = 16;

/// Spans of registers, each read by one request; together they are the image of a model up to the
/// last register that is needed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reads {
    /// First register counted from the id register, and count.
    pub spans: Vec<(u16, u16)>,
}

impl Reads {
    /// For a model as a device has it; `None` where the table does not have the model.
    pub fn plan(model: &Model) -> Option<Self> {
        let layout = layout(model.id)?;
        let size = 2 + usize::from(model.length);
        let spans = match layout.blocks(model.length) {
            // Nothing of ours in model 1 but names, which are read whole.
            0 if model.id == 1 => vec![(0, size.min(layout.fixed_size()))],
            // Settings stand in the fixed part and behind it.
            0 if has_settings(model.id) => vec![(0, size.min(usize::from(MAX_REGISTERS)))],
            0 => vec![(0, size.min(layout.needed()))],
            blocks => blocked(layout, blocks),
        };
        Some(Self::of(spans))
    }

    /// All of a model, for whoever wants to see every point of it.
    pub fn whole(model: &Model) -> Option<Self> {
        let layout = layout(model.id)?;
        let blocks = layout.blocks(model.length);
        if blocks > 0 {
            return Some(Self::of(blocked(layout, blocks)));
        }
        let limit = usize::from(MAX_REGISTERS);
        let size = (2 + usize::from(model.length)).min(limit * MOST_READS);
        let span = |first| (first, limit.min(size - first));
        Some(Self::of((0..size).step_by(limit).map(span).collect()))
    }

    fn of(spans: Vec<(usize, usize)>) -> Self {
        let spans = spans.into_iter().map(|(first, count)| {
            // A model ends before address 65536, so its spans fit.
            let fits = "spans lie inside the model: see the walk";
            (
                u16::try_from(first).expect(fits),
                u16::try_from(count).expect(fits),
            )
        });
        Self {
            spans: spans.collect(),
        }
    }
}

fn blocked(layout: &Layout, blocks: usize) -> Vec<(usize, usize)> {
    let limit = usize::from(MAX_REGISTERS);
    let mut spans = Vec::new();
    let (mut first, mut count) = (0, layout.fixed_size());
    for _ in 0..blocks {
        if count + layout.block_size() > limit {
            spans.push((first, count));
            (first, count) = (first + count, 0);
        }
        count += layout.block_size();
    }
    spans.push((first, count));
    spans
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spans(id: u16, length: u16) -> Vec<(u16, u16)> {
        let address = 40_000;
        let model = Model {
            id,
            address,
            length,
        };
        Reads::plan(&model).expect("in the table").spans
    }

    #[test]
    fn five_inputs_are_one_read_and_six_are_two() {
        assert_eq!(spans(160, 8 + 20 * 5), [(0, 110)]);
        assert_eq!(spans(160, 8 + 20 * 6), [(0, 110), (110, 20)]);
        assert_eq!(spans(160, 8 + 20 * 12), [(0, 110), (110, 120), (230, 20)]);
    }

    #[test]
    fn the_length_of_the_device_bounds_the_read() {
        assert_eq!(spans(103, 50), [(0, 42)]);
        assert_eq!(spans(103, 20), [(0, 22)]);
        assert_eq!(spans(1, 65), [(0, 67)]);
        assert_eq!(spans(701, 153), [(0, 123)]);
    }

    #[test]
    fn four_ports_are_one_read_and_five_are_two() {
        assert_eq!(spans(714, 18 + 25 * 4), [(0, 120)]);
        assert_eq!(spans(714, 18 + 25 * 5), [(0, 120), (120, 25)]);
    }

    #[test]
    fn a_whole_model_is_read_to_its_end() {
        let whole = |id, length| {
            let model = Model {
                id,
                address: 0,
                length,
            };
            Reads::whole(&model).expect("in the table").spans
        };
        assert_eq!(whole(120, 26), [(0, 28)]);
        assert_eq!(whole(701, 153), [(0, 125), (125, 30)]);
        assert_eq!(whole(160, 8 + 20 * 6), [(0, 110), (110, 20)]);
        assert_eq!(whole(705, 60_000).len(), MOST_READS);
    }

    #[test]
    fn an_absurd_length_does_not_become_hundreds_of_reads() {
        assert_eq!(spans(160, 25_000).len(), 11);
        assert!(spans(160, 25_000).iter().all(|s| s.1 <= MAX_REGISTERS));
    }

    #[test]
    fn a_model_with_curves_is_read_as_far_as_one_read_goes() {
        // 9 registers, and two curves of three times 1 + 3 x 5.
        assert_eq!(spans(708, 7 + 2 * (1 + 3 * 16)), [(0, 107)]);
        assert_eq!(spans(708, 7 + 4 * (1 + 3 * 16)), [(0, 125)]);
        assert_eq!(spans(703, 17), [(0, 19)]);
    }

    #[test]
    fn an_unknown_model_is_not_read() {
        let model = Model {
            id: 64_110,
            address: 0,
            length: 20,
        };
        assert_eq!(Reads::plan(&model), None);
    }
}
