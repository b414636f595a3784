//! Writes the summary picture into a folder: `summary.svg` and `summary.png`.
//!
//! Each file is written beside its place and then renamed, so that a reader finds the old picture
//! or the new one and never half of it. Never in here: what the picture shows.

use analysis::chart::{ChartError, RgbPicture, Size, SummaryInput, summary_rgb, summary_svg};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;
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
    /// The file could not be written; the old one, if any, is untouched.
    #[error("write {}", .path.display())]
    Write {
        /// Where it should have come.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Draws the summary and writes both files; returns their paths. Nothing is written unless both
/// could be drawn.
pub fn write(
    input: &SummaryInput,
    size: Size,
    folder: &Path,
) -> Result<[PathBuf; 2], ChartFilesError> {
    let svg = summary_svg(input, size)?;
    let png = packed(&summary_rgb(input, size)?)?;
    let svg_path = replace(folder, SVG_NAME, svg.as_bytes())?;
    let png_path = replace(folder, PNG_NAME, &png)?;
    Ok([svg_path, png_path])
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

fn replace(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, ChartFilesError> {
    let path = folder.join(name);
    match renamed_into_place(folder, &path, bytes) {
        Ok(()) => Ok(path),
        Err(source) => Err(ChartFilesError::Write { path, source }),
    }
}

fn renamed_into_place(folder: &Path, path: &Path, bytes: &[u8]) -> io::Result<()> {
    // In the same folder: a rename between file systems would be a copy.
    let mut file = NamedTempFile::new_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    readable_by_all(file.as_file())?;
    file.persist(path)?;
    Ok(())
}

/// A temporary file is its owner's alone; a picture is for whoever may enter the folder.
#[cfg(unix)]
fn readable_by_all(file: &std::fs::File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable_by_all(_: &std::fs::File) -> io::Result<()> {
    Ok(())
}
