//! All that the table has of a model, point by point, in the units of the standard.
//!
//! Of several curves the first; its corners as far as there is room for them.
//! Check: tests/acceptance/decoded.rs, against another library's decoder.
//! Never in here: our channels and units.

use super::decode::{blocks, exponent, times_ten_to};
use super::encoding::{Encoding, text};
use super::table::{Layout, Point, layout};

/// Where a point stands in its model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// In the part that is there once.
    Fixed,
    /// In a block, from 1.
    Block(usize),
    /// In the head of the first curve.
    Curve,
    /// In a corner of that curve, from 1.
    Corner(usize),
}

/// What a point holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// A number in the unit of the standard; an exponent of ten, a state, flags as they are.
    Number(f64),
    /// A text.
    Text(String),
    /// The device does not implement it, or not its exponent of ten.
    Missing,
}

/// A point of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct PointValue {
    /// Where it stands.
    pub part: Part,
    /// Its name in the standard.
    pub name: &'static str,
    /// What it holds.
    pub content: Content,
    /// Whether it only says how others are read: id, length, exponents of ten, room.
    pub is_frame: bool,
}

/// Every point of a model, as far as the image goes; the image begins at the id register.
pub fn points(model: u16, image: &[u16]) -> Vec<PointValue> {
    let Some(layout) = layout(model) else {
        return Vec::new();
    };
    let mut parts = vec![(Part::Fixed, &layout.fixed, image)];
    for (number, block) in (1..).zip(blocks(layout, image)) {
        parts.push((Part::Block(number), &layout.block, block));
    }
    let behind = |registers: usize| image.get(registers..).unwrap_or_default();
    parts.push((Part::Curve, &layout.curve, behind(layout.fixed_size())));
    let first = layout.fixed_size() + layout.curve_size();
    for number in 0..corners(layout, image) {
        let corner = behind(first + number * layout.corner_size());
        parts.push((Part::Corner(number + 1), &layout.corner, corner));
    }
    let of_part = |(part, points, registers): (Part, &'static Vec<Point>, &[u16])| {
        let held = |point: &'static Point| {
            Some(PointValue {
                part,
                name: &point.name,
                content: content(image, point, point.slice(registers)?),
                is_frame: is_frame(part, point),
            })
        };
        points.iter().filter_map(held).collect::<Vec<_>>()
    };
    parts.into_iter().flat_map(of_part).collect()
}

fn content(image: &[u16], point: &Point, raw: &[u16]) -> Content {
    if point.encoding == Encoding::String {
        return text(raw).map_or(Content::Missing, Content::Text);
    }
    let number = point.encoding.number(raw);
    let scaled = number.and_then(|raw| Some(times_ten_to(raw, exponent(image, point)?)));
    scaled.map_or(Content::Missing, Content::Number)
}

fn is_frame(part: Part, point: &Point) -> bool {
    let is_header = part == Part::Fixed && matches!(point.name.as_str(), "ID" | "L");
    is_header || matches!(point.encoding, Encoding::Sunssf | Encoding::Pad)
}

/// How many corners a curve has room for; none where no corner is described.
fn corners(layout: &Layout, image: &[u16]) -> usize {
    let most = layout
        .fixed_point("NPt")
        .filter(|_| layout.corner_size() > 0);
    let most = most.and_then(|p| p.encoding.number(p.slice(image)?));
    let behind = image
        .len()
        .saturating_sub(layout.fixed_size() + layout.curve_size());
    let room = behind.checked_div(layout.corner_size()).unwrap_or(0);
    most.map_or(0, |most| room.min(most as usize))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::sunspec::ModelImage;

    const MODELS: [u16; 8] = [1, 120, 160, 304, 704, 708, 711, 714];

    #[test]
    fn a_point_whose_exponent_is_none_is_missing_and_a_text_is_text() {
        let mut nameplate = ModelImage::new(120, 0).expect("known");
        nameplate.number("WRtg", 3300.0).expect("fits");
        let held = |image: &ModelImage, name: &str| {
            let all = points(image.registers()[0], image.registers());
            let held = all.into_iter().find(|p| p.name == name);
            held.expect("in the table").content
        };
        assert_eq!(held(&nameplate, "WRtg"), Content::Missing);
        nameplate.scale("WRtg_SF", 1).expect("fits");
        assert_eq!(held(&nameplate, "WRtg"), Content::Number(33_000.0));
        let mut names = ModelImage::new(1, 0).expect("known");
        names.text("Mn", "Sample").expect("fits");
        assert_eq!(held(&names, "Mn"), Content::Text("Sample".to_owned()));
        assert_eq!(held(&names, "Opt"), Content::Missing);
    }

    #[test]
    fn a_cut_image_gives_what_is_whole() {
        let mut image = vec![705, 13, 1, 0, 1, 2, 1];
        assert_eq!(points(705, &image).len(), 7);
        image.extend([0; 8 + 10 + 3]);
        let corners = |image: &[u16]| {
            let all = points(705, image);
            all.iter()
                .filter(|p| matches!(p.part, Part::Corner(_)))
                .count()
        };
        assert_eq!(corners(&image), 2);
        image[5] = 0xFFFF;
        assert_eq!(corners(&image), 0);
    }

    proptest::proptest! {
        #[test]
        fn no_image_makes_a_panic(
            which in 0..MODELS.len(),
            image in proptest::collection::vec(proptest::num::u16::ANY, 0..300),
        ) {
            for held in points(MODELS[which], &image) {
                if let Content::Number(number) = held.content {
                    proptest::prop_assert!(number.is_finite());
                }
            }
        }
    }
}
