//! The table beside the lengths of the standard.

use super::*;

/// Source: lengths in the SunSpec model definition files (fixed part, one block).
const SIZES: [(u16, usize, usize); 33] = [
    (1, 68, 0),
    (101, 52, 0),
    (102, 52, 0),
    (103, 52, 0),
    (111, 62, 0),
    (112, 62, 0),
    (113, 62, 0),
    (120, 28, 0),
    (121, 32, 0),
    (122, 46, 0),
    (123, 26, 0),
    (124, 26, 0),
    (160, 10, 20),
    (302, 2, 5),
    (303, 2, 1),
    (304, 2, 6),
    (305, 38, 0),
    (306, 6, 0),
    (307, 13, 0),
    (308, 6, 0),
    (701, 155, 0),
    (702, 52, 0),
    (703, 19, 0),
    (704, 67, 0),
    (705, 15, 0),
    (706, 15, 0),
    (707, 9, 0),
    (708, 9, 0),
    (709, 9, 0),
    (710, 9, 0),
    (711, 14, 0),
    (712, 14, 0),
    (714, 20, 25),
];

#[test]
fn every_model_has_the_length_of_the_standard_without_gaps() {
    assert_eq!(TABLE.len(), SIZES.len());
    for (model, fixed, block) in SIZES {
        let layout = layout(model).expect("in the table");
        assert_eq!(layout.fixed_size(), fixed, "model {model}");
        assert_eq!(layout.block_size(), block, "model {model}");
        for part in [&layout.fixed, &layout.block, &layout.curve, &layout.corner] {
            let mut next = 0;
            for point in part {
                assert_eq!(point.offset, next, "model {model} {}", point.name);
                next += point.size;
            }
        }
    }
}

/// Head of a curve and one corner. Source: as above; of the trip models the head is the curve's own
/// register and the count of its first curve, the one of must-trip.
#[test]
fn curves_have_the_sizes_of_the_standard() {
    let sizes = [
        (705, 10, 2),
        (706, 5, 2),
        (707, 2, 3),
        (708, 2, 3),
        (709, 2, 4),
        (710, 2, 4),
        (711, 10, 0),
        (712, 4, 2),
    ];
    let with_curves = TABLE.values().filter(|l| !l.curve.is_empty()).count();
    assert_eq!(with_curves, sizes.len());
    for (model, head, corner) in sizes {
        let layout = layout(model).expect("in the table");
        let found = (layout.curve_size(), layout.corner_size());
        assert_eq!(found, (head, corner), "model {model}");
    }
}

#[test]
fn scales_are_scale_factors() {
    for (model, layout) in TABLE.iter() {
        let parts = [&layout.fixed, &layout.block, &layout.curve, &layout.corner];
        for point in parts.into_iter().flatten() {
            if let Scale::At(offset) = point.scale {
                let holder = layout.fixed.iter().find(|p| p.offset == offset);
                let encoding = holder.map(|p| p.encoding);
                assert_eq!(encoding, Some(Encoding::Sunssf), "{model} {}", point.name);
            }
        }
    }
}

#[test]
fn what_is_needed_fits_into_one_read() {
    for (model, layout) in TABLE.iter() {
        let limit = usize::from(crate::source::modbus::MAX_REGISTERS);
        assert!(layout.needed() <= limit, "model {model}");
    }
    assert_eq!(layout(701).expect("in the table").needed(), 123);
}
