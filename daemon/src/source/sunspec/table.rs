//! The points of the models, read once from `points.csv`.
//! Never in here: what a device answered.

use super::encoding::Encoding;
use analysis::reading::{Quantity, Scope};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// One point.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Name in the standard.
    pub name: String,
    /// First register, counted from the start of its part.
    pub offset: usize,
    /// Registers.
    pub size: usize,
    /// Type.
    pub encoding: Encoding,
    /// Where its exponent of ten comes from.
    pub scale: Scale,
    /// How the number becomes a value.
    pub read_as: ReadAs,
    /// Our channel, if we have one for it.
    pub quantity: Option<Quantity>,
    /// Exponent of ten from the unit of the standard to ours.
    pub shift: i32,
}

impl Point {
    /// Its registers in an image that begins where its part begins; `None` if that is too short.
    pub fn slice<'a>(&self, part: &'a [u16]) -> Option<&'a [u16]> {
        part.get(self.offset..self.offset + self.size)
    }
}

/// Where an exponent of ten comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// The standard gives it.
    Fixed(i32),
    /// A register of the fixed part.
    At(usize),
}

/// How a number becomes a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReadAs {
    /// Times ten to the scale.
    #[default]
    Number,
    /// Operating state, 1 to 8.
    State,
    /// Operating state, 0 to 7 in the same order.
    StateFromZero,
    /// Percent of rated power, in force while the point `WMaxLim_Ena` is 1.
    Limit,
    /// Alarms of DC inputs, which have numbers of their own.
    InputAlarms,
    /// How many blocks there are.
    Blocks,
    /// Whether a block is an input for modules.
    KindOfPort,
}

/// The points of one model.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Layout {
    /// Counted from the id register.
    pub fixed: Vec<Point>,
    /// Counted from the start of each repeated block.
    pub block: Vec<Point>,
    /// Head of the first curve, counted from the end of the fixed part. The first is the one in force.
    pub curve: Vec<Point>,
    /// Corners of that curve, counted from the start of each, behind its head.
    pub corner: Vec<Point>,
}

impl Layout {
    /// Registers of the fixed part, id and length included.
    pub fn fixed_size(&self) -> usize {
        end(&self.fixed)
    }

    /// Registers of one block; 0 where nothing is repeated.
    pub fn block_size(&self) -> usize {
        end(&self.block)
    }

    /// Registers of the head of a curve.
    pub fn curve_size(&self) -> usize {
        end(&self.curve)
    }

    /// Registers of one corner of a curve.
    pub fn corner_size(&self) -> usize {
        end(&self.corner)
    }

    /// A point of the fixed part.
    pub fn fixed_point(&self, name: &str) -> Option<&Point> {
        self.fixed.iter().find(|point| point.name == name)
    }

    /// A point by how it is read.
    pub fn read_as(points: &[Point], how: ReadAs) -> Option<&Point> {
        points.iter().find(|point| point.read_as == how)
    }

    /// Registers up to the last one that decoding needs, blocks left out.
    pub fn needed(&self) -> usize {
        let own = self.fixed.iter().filter(|p| p.quantity.is_some());
        let scales = self.fixed.iter().chain(&self.block);
        let scales = scales.filter_map(|p| match (p.quantity, p.scale) {
            (Some(_), Scale::At(offset)) => Some(offset + 1),
            _ => None,
        });
        let own = own.map(|p| p.offset + p.size);
        own.chain(scales).max().unwrap_or(0).max(HEADER)
    }

    /// How many blocks a model has whose registers after the header are `length` in number.
    pub fn blocks(&self, length: u16) -> usize {
        let behind = (HEADER + usize::from(length)).saturating_sub(self.fixed_size());
        let blocks = behind.checked_div(self.block_size()).unwrap_or(0);
        blocks.min(MAX_BLOCKS)
    }
}

/// Most blocks of one model that are read (common practice: the largest inverters have two dozen
/// inputs); a wrong length must not become hundreds of requests.
pub const MAX_BLOCKS: usize = 64;

/// Registers of id and length.
pub const HEADER: usize = 2;

/// The points of a model, if the table has it.
pub fn layout(model: u16) -> Option<&'static Layout> {
    TABLE.get(&model)
}

/// Whether there is a channel for anything in a model.
pub fn has_values(model: u16) -> bool {
    let Some(layout) = layout(model) else {
        return false;
    };
    let mut all = layout.fixed.iter().chain(&layout.block);
    all.any(|point| point.quantity.is_some())
}

/// Whether a model of such a length has blocks of single inputs.
pub fn has_inputs(model: u16, length: u16) -> bool {
    let Some(layout) = layout(model) else {
        return false;
    };
    let is_of_input =
        |p: &Point| matches!(p.quantity.map(Quantity::scope), Some(Scope::Input { .. }));
    layout.blocks(length) > 0 && layout.block.iter().any(is_of_input)
}

static TABLE: LazyLock<BTreeMap<u16, Layout>> = LazyLock::new(|| parse(include_str!("points.csv")));

#[derive(Debug, Deserialize)]
struct Row {
    models: String,
    part: Part,
    offset: usize,
    size: usize,
    point: String,
    #[serde(rename = "type")]
    encoding: Encoding,
    scale: String,
    read_as: Option<ReadAs>,
    quantity: String,
    shift: Option<i32>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Part {
    Fixed,
    Block,
    Curve,
    Point,
}

/// The file is part of the program, so what is wrong with it is found by the tests below.
fn parse(csv: &str) -> BTreeMap<u16, Layout> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(csv.as_bytes());
    let rows: Vec<Row> = reader
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("points.csv is well-formed: tested");
    let mut table: BTreeMap<u16, Layout> = BTreeMap::new();
    for row in &rows {
        for model in row.models.split(' ') {
            let model = model.parse().expect("models are numbers: tested");
            let layout = table.entry(model).or_default();
            let point = point(row, &rows);
            match row.part {
                Part::Fixed => layout.fixed.push(point),
                Part::Block => layout.block.push(point),
                Part::Curve => layout.curve.push(point),
                Part::Point => layout.corner.push(point),
            }
        }
    }
    table
}

fn point(row: &Row, rows: &[Row]) -> Point {
    let quantity = (!row.quantity.is_empty())
        .then(|| Quantity::from_name(&row.quantity).expect("quantities are ours: tested"));
    Point {
        name: row.point.clone(),
        offset: row.offset,
        size: row.size,
        encoding: row.encoding,
        scale: scale(row, rows),
        read_as: row.read_as.unwrap_or_default(),
        quantity,
        shift: row.shift.unwrap_or(0),
    }
}

fn scale(row: &Row, rows: &[Row]) -> Scale {
    if row.scale.is_empty() {
        return Scale::Fixed(0);
    }
    if let Ok(exponent) = row.scale.parse() {
        return Scale::Fixed(exponent);
    }
    let holder = rows.iter().find(|other| {
        other.models == row.models && other.part == Part::Fixed && other.point == row.scale
    });
    Scale::At(
        holder
            .expect("scales stand in the fixed part: tested")
            .offset,
    )
}

fn end(points: &[Point]) -> usize {
    points.iter().map(|p| p.offset + p.size).max().unwrap_or(0)
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
