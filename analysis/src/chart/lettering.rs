//! Text set with the fonts inside the program, so that no font of the machine is needed.
//!
//! plotters' own text loses the left bearing of every glyph and the fraction of every advance,
//! which shows at 12 pixels; this sets each glyph where the font says.

use super::ChartError;
use super::style::{Rgb, Type};
use ab_glyph::{Font, FontRef, Glyph, PxScale, point};
use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{BackendColor, BackendCoord, BackendTextStyle, FontFamily, FontStyle};
use std::convert::Infallible;

/// plotters' SVG writes `size / 1.24` as the em size, and puts the baseline of text that is
/// anchored at its top 0.76 em below the anchor.
const SVG_SIZE_OVER_EM: f64 = 1.24;
/// See [`SVG_SIZE_OVER_EM`].
pub const TOP_TO_BASELINE_EM: f64 = 0.76;

/// The two weights.
pub struct Fonts {
    regular: FontRef<'static>,
    bold: FontRef<'static>,
}

impl Fonts {
    /// Reads the fonts inside the program.
    pub fn read() -> Result<Self, ChartError> {
        let read =
            |name, bytes| FontRef::try_from_slice(bytes).map_err(|_| ChartError::Font { name });
        Ok(Self {
            regular: read("sans", include_bytes!("font/sans.ttf"))?,
            bold: read("sans-bold", include_bytes!("font/sans-bold.ttf"))?,
        })
    }

    /// Width of a line of text [pixel].
    pub fn width(&self, text: &str, typ: Type) -> f64 {
        let font = self.weight(typ.bold);
        advance(font, text) * typ.size
    }

    /// The text, or its beginning and an ellipsis where it is wider than `room`.
    pub fn fitted(&self, text: &str, typ: Type, room: f64) -> String {
        if self.width(text, typ) <= room {
            return text.to_owned();
        }
        let mut kept = text.to_owned();
        while kept.pop().is_some() {
            let cut = format!("{}…", kept.trim_end());
            if self.width(&cut, typ) <= room {
                return cut;
            }
        }
        "…".to_owned()
    }

    /// The text broken at spaces into lines of at most `room`; single long words are cut.
    pub fn wrapped(&self, text: &str, typ: Type, room: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            let longer = lines.last().map(|line| format!("{line} {word}"));
            match longer {
                Some(longer) if self.width(&longer, typ) <= room => {
                    *lines.last_mut().expect("`longer` was made from it") = longer;
                }
                _ => lines.push(self.fitted(word, typ, room)),
            }
        }
        lines
    }

    fn weight(&self, bold: bool) -> &FontRef<'static> {
        if bold { &self.bold } else { &self.regular }
    }
}

/// Sum of the advances [em].
fn advance(font: &FontRef, text: &str) -> f64 {
    let units: f32 = text
        .chars()
        .map(|c| font.h_advance_unscaled(font.glyph_id(c)))
        .sum();
    f64::from(units / units_per_em(font))
}

fn units_per_em(font: &FontRef) -> f32 {
    // An OpenType font cannot be read without it; 2048 is what these two have.
    font.units_per_em().unwrap_or(2048.0)
}

/// A size, weight, colour and anchor, as plotters' backends want it.
pub struct Lettering<'f> {
    font: &'f FontRef<'static>,
    em: f64,
    bold: bool,
    colour: Rgb,
    anchor: HPos,
}

impl<'f> Lettering<'f> {
    /// Text of this type with an em of `em` units of the backend.
    pub fn new(fonts: &'f Fonts, typ: Type, em: f64, anchor: HPos) -> Self {
        Self {
            font: fonts.weight(typ.bold),
            em,
            bold: typ.bold,
            colour: typ.colour,
            anchor,
        }
    }

    /// Each glyph where it stands, from the top left of the line.
    fn glyphs(&self, text: &str) -> Vec<Glyph> {
        let per_unit = self.em as f32 / units_per_em(self.font);
        let scale = PxScale::from(self.font.height_unscaled() * per_unit);
        let baseline = (self.em * TOP_TO_BASELINE_EM) as f32;
        let mut x = 0.0;
        text.chars()
            .map(|c| {
                let id = self.font.glyph_id(c);
                let glyph = id.with_scale_and_position(scale, point(x, baseline));
                x += self.font.h_advance_unscaled(id) * per_unit;
                glyph
            })
            .collect()
    }
}

impl BackendTextStyle for Lettering<'_> {
    type FontError = Infallible;

    fn color(&self) -> BackendColor {
        BackendColor {
            alpha: 1.0,
            rgb: self.colour,
        }
    }

    fn size(&self) -> f64 {
        self.em * SVG_SIZE_OVER_EM
    }

    fn style(&self) -> FontStyle {
        if self.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        }
    }

    fn anchor(&self) -> Pos {
        Pos::new(self.anchor, VPos::Top)
    }

    fn family(&self) -> FontFamily<'_> {
        FontFamily::SansSerif
    }

    fn layout_box(&self, text: &str) -> Result<((i32, i32), (i32, i32)), Infallible> {
        let width = advance(self.font, text) * self.em;
        Ok(((0, 0), (width.round() as i32, self.em.round() as i32)))
    }

    fn draw<E, DrawFunc: FnMut(i32, i32, BackendColor) -> Result<(), E>>(
        &self,
        text: &str,
        (x0, y0): BackendCoord,
        mut draw: DrawFunc,
    ) -> Result<Result<(), E>, Infallible> {
        for outlined in self
            .glyphs(text)
            .into_iter()
            .filter_map(|g| self.font.outline_glyph(g))
        {
            let corner = outlined.px_bounds().min;
            let (x1, y1) = (x0 + corner.x as i32, y0 + corner.y as i32);
            let mut result = Ok(());
            outlined.draw(|x, y, cover| {
                if result.is_ok() && cover > 0.0 {
                    let colour = self.color().mix(f64::from(cover.min(1.0)));
                    result = draw(x1 + x as i32, y1 + y as i32, colour);
                }
            });
            if result.is_err() {
                return Ok(result);
            }
        }
        Ok(Ok(()))
    }
}
