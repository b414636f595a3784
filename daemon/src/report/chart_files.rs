//! Writes the summary picture into a folder: `summary.svg` and `summary.png`.
//!
//! Never in here: what the picture shows.

use super::whole_file::{WriteError, write_whole};
use analysis::chart::{ChartError, RgbPicture, Size, SummaryInput, summary_rgb, summary_svg};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Name of the SVG in the folder.
pub const SVG_NAME: &str = "summary.svg";
/// Name of the PNG in the folder.
pub const PNG_NAME: &str = "summary.png";

/// Why the picture is not in the folder.
#[derive(Debug, Error)]
pub enum ChartFilesError {
    /// It could not be drawn.
    #[error(transparent)]
    Draw(#[from] ChartError),
    /// The pixels could not be packed.
    #[error("pack {width_px} x {height_px} pixels as PNG")]
    Pack {
        /// Width of the picture.
        width_px: u32,
        /// Height of the picture.
        height_px: u32,
        /// Why.
        source: png::EncodingError,
    },
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Draws the summary and writes both files; returns their paths. Nothing is written unless both
/// could be drawn.
pub fn write(
    input: &SummaryInput,
    size: Size,
    folder: &Path,
) -> Result<[PathBuf; 2], ChartFilesError> {
    let svg = summary_svg(input, size)?;
    let Png { bytes: png, .. } = png(input, size)?;
    let (svg_path, png_path) = (folder.join(SVG_NAME), folder.join(PNG_NAME));
    write_whole(&svg_path, svg.as_bytes())?;
    write_whole(&png_path, &png)?;
    Ok([svg_path, png_path])
}

/// The summary as PNG.
#[derive(Debug)]
pub struct Png {
    /// The file.
    pub bytes: Vec<u8>,
    /// Indices of the inverters that it shows.
    pub inverters: BTreeSet<usize>,
}

/// Draws it.
///
/// # Errors
/// If it cannot be drawn or packed.
pub fn png(input: &SummaryInput, size: Size) -> Result<Png, ChartFilesError> {
    let picture = summary_rgb(input, size)?;
    Ok(Png {
        bytes: packed(&picture)?,
        inverters: picture.inverters,
    })
}

fn packed(picture: &RgbPicture) -> Result<Vec<u8>, ChartFilesError> {
    let mut bytes = Vec::new();
    encode(picture, &mut bytes).map_err(|source| ChartFilesError::Pack {
        width_px: picture.width_px,
        height_px: picture.height_px,
        source,
    })?;
    Ok(bytes)
}

fn encode(picture: &RgbPicture, into: &mut Vec<u8>) -> Result<(), png::EncodingError> {
    let mut encoder = png::Encoder::new(into, picture.width_px, picture.height_px);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&picture.rgb)?;
    writer.finish()
}
