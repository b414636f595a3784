//! Why no picture could be drawn.

use crate::reading::Time;
use thiserror::Error;

/// Why no picture could be drawn.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ChartError {
    /// There is no slot.
    #[error("draw the picture: there is no slot to draw")]
    NothingToDraw,
    /// Not even one input fits.
    #[error(
        "draw the picture: {width_px} x {height_px} px is too small, \
         {needed_width_px} x {needed_height_px} px are needed"
    )]
    TooSmall {
        /// Width asked for.
        width_px: u32,
        /// Greatest height asked for.
        height_px: u32,
        /// Smallest width.
        needed_width_px: u32,
        /// Smallest height for this plant.
        needed_height_px: u32,
    },
    /// More pixels than any reader can use or a small machine can hold.
    #[error("draw the picture: {px} px in one direction is more than {most_px}")]
    TooLarge {
        /// Asked for.
        px: u32,
        /// Most.
        most_px: u32,
    },
    /// A slot that begins before its predecessor ends.
    #[error("draw the picture: slot at {} ms begins before {} ms, where the last one ends",
        .at.unix_ms(), .last_ended.unix_ms())]
    SlotsOutOfOrder {
        /// Where it begins.
        at: Time,
        /// Where the one before it ends.
        last_ended: Time,
    },
    /// A slot or finding at a time that no calendar of ours covers, or a slot without length.
    #[error("draw the picture: {from_ms} ms to {to_ms} ms is not a period from 1970 to 2999")]
    OutsideCalendar {
        /// Where it begins.
        from_ms: i64,
        /// Where it ends.
        to_ms: i64,
    },
    /// A slot that does not have one entry for each plane, inverter and input of the plant.
    #[error("draw the picture: slot at {} ms has {found} {what}, the plant has {wanted}", .at.unix_ms())]
    NotThisPlant {
        /// Where the slot begins.
        at: Time,
        /// Of what there is a wrong number.
        what: &'static str,
        /// How many the slot has.
        found: usize,
        /// How many the plant has.
        wanted: usize,
    },
    /// A value that is no number or larger than anything at a plant.
    #[error("draw the picture: {what} of {value} in the slot at {} ms", .at.unix_ms())]
    NotDrawable {
        /// Where the slot begins.
        at: Time,
        /// Which quantity.
        what: &'static str,
        /// Its number.
        value: f64,
    },
    /// The font inside the program cannot be read.
    #[error("draw the picture: font {name} cannot be read")]
    Font {
        /// Which of the two.
        name: &'static str,
    },
    /// The drawing library gave up.
    #[error("draw the picture: {step}: {cause}")]
    Drawing {
        /// What was drawn.
        step: &'static str,
        /// What the library says.
        cause: String,
    },
}
