//! The colours of the pictures for a dark ground, as rules of a style sheet: the drawing itself
//! keeps the colours of paper, so that it can also be printed or mailed. Where no style sheet reaches
//! into a picture the drawing takes them itself.

use super::style::*;
use std::fmt::Write;

/// Each colour of the pictures, and what it becomes.
const PAIRS: &[(Rgb, Rgb)] = &[
    (PAPER, (22, 25, 31)),
    (INK, (232, 234, 239)),
    (SOFT_INK, (170, 176, 188)),
    (EXPECTED, (255, 166, 92)),
    (BAND, (92, 62, 34)),
    (DAY_RANGE, (40, 50, 70)),
    (LIGHT_FILL, (70, 62, 30)),
    (LIGHT_EDGE, (206, 186, 110)),
    (UNTESTED, (38, 42, 50)),
    (GRID, (56, 61, 71)),
    (STRONG_GRID, (96, 103, 116)),
    (STRIP, (112, 119, 132)),
    // Of clouds of points: often and seldom change places, as ink and paper do.
    ((60, 68, 84), (205, 211, 222)),
    ((125, 134, 152), (132, 141, 158)),
    ((190, 197, 210), (70, 77, 91)),
    ((240, 190, 140), (140, 88, 44)),
];

/// Rules that give every picture inside `selector` the colours for a dark ground.
pub fn dark_rules(selector: &str) -> String {
    let mut rules = String::new();
    for (light, dark) in PAIRS {
        let (light, dark) = (hex(*light), hex(*dark));
        for what in ["fill", "stroke"] {
            let written = writeln!(rules, "{selector} [{what}=\"{light}\"]{{{what}:{dark}}}");
            written.expect("a string takes everything");
        }
    }
    rules
}

/// A picture in the colours for a dark ground.
pub fn darkened(svg: &str) -> String {
    const LENGTH: usize = "#000000".len();
    let pairs: Vec<_> = PAIRS.iter().map(|(l, d)| (hex(*l), hex(*d))).collect();
    let mut parts = svg.split("=\"#");
    let mut dark = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let light = format!("#{part}");
        let pair = pairs.iter().find(|(of, _)| light.starts_with(of.as_str()));
        dark.push_str("=\"");
        match pair {
            Some((_, to)) => dark.push_str(&format!("{to}{}", &light[LENGTH..])),
            None => dark.push_str(&light),
        }
    }
    dark
}

/// As the backend writes it.
fn hex((r, g, b): Rgb) -> String {
    format!("#{r:02X}{g:02X}{b:02X}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn luminance((r, g, b): Rgb) -> f64 {
        let linear = |v: u8| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
    }

    #[test]
    fn text_and_lines_stand_out_on_the_dark_ground_too() {
        // Of the guidelines for accessible content: 4.5 to 1 for text, 3 to 1 for lines.
        let ground = luminance((22, 25, 31)) + 0.05;
        for (light, least) in [
            (INK, 4.5),
            (SOFT_INK, 4.5),
            (EXPECTED, 3.0),
            (LIGHT_EDGE, 3.0),
        ] {
            let (_, dark) = PAIRS
                .iter()
                .find(|(l, _)| *l == light)
                .expect("it is there");
            let contrast = (luminance(*dark) + 0.05) / ground;
            assert!(contrast >= least, "{light:?}: {contrast}");
        }
    }

    #[test]
    fn a_picture_that_no_style_sheet_reaches_is_made_dark_itself() {
        let light = "<svg><rect fill=\"#FFFFFF\" stroke=\"#181C24\"/><text fill=\"#123456\">= #FFFFFF</text></svg>";
        let dark = "<svg><rect fill=\"#16191F\" stroke=\"#E8EAEF\"/><text fill=\"#123456\">= #FFFFFF</text></svg>";
        assert_eq!(darkened(light), dark);
    }
}
