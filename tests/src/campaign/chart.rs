//! Detection rates as a picture: one bar for each kind and class of size, with its interval.
//! Never in here: numbers that are not in the report.

use super::intervals::share_95;
use super::score::Score;
use std::fmt::Write;

const ROW_PX: f64 = 13.0;
const LEFT_PX: f64 = 190.0;
const WIDE_PX: f64 = 520.0;
const TOP_PX: f64 = 56.0;
/// Small, medium, large: from light to dark.
const COLOURS: [&str; 3] = ["#9fc3d6", "#4f93b5", "#1f5673"];

/// The picture as SVG.
pub fn detection_svg(score: &Score) -> String {
    let kinds = score.kinds();
    let height = TOP_PX + kinds.len() as f64 * (3.0 * ROW_PX + 8.0) + 30.0;
    let width = LEFT_PX + WIDE_PX + 90.0;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         font-family=\"sans-serif\" font-size=\"11\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n\
         <text x=\"{LEFT_PX}\" y=\"20\" font-size=\"14\">Found with the right kind and place, share of \
         the runs</text>\n\
         <text x=\"{LEFT_PX}\" y=\"36\">light to dark: small, medium, large; line: 95 % interval; \
         tick: found in the time of the contract</text>\n"
    );
    for percent in (0..=100).step_by(25) {
        let x = LEFT_PX + WIDE_PX * f64::from(percent) / 100.0;
        let end = height - 24.0;
        let _ = writeln!(
            svg,
            "<line x1=\"{x}\" x2=\"{x}\" y1=\"{}\" y2=\"{end}\" stroke=\"#dddddd\"/>\
             <text x=\"{x}\" y=\"{}\" text-anchor=\"middle\">{percent} %</text>",
            TOP_PX - 8.0,
            height - 8.0
        );
    }
    for (n, row) in kinds.iter().enumerate() {
        let top = TOP_PX + n as f64 * (3.0 * ROW_PX + 8.0);
        let _ = writeln!(
            svg,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>",
            LEFT_PX - 8.0,
            top + 1.5 * ROW_PX + 4.0,
            row.name
        );
        for (class, colour) in COLOURS.iter().enumerate() {
            bar(
                &mut svg,
                score,
                row.name,
                class,
                colour,
                top + class as f64 * ROW_PX,
            );
        }
    }
    svg + "</svg>\n"
}

fn bar(svg: &mut String, score: &Score, name: &str, class: usize, colour: &str, top: f64) {
    let runs = || score.of(name).filter(|s| s.outcome.job.class == class);
    let (of, found) = (runs().count(), runs().filter(|s| s.right.is_some()).count());
    if of == 0 {
        return;
    }
    let in_time = runs().filter(|s| s.in_time).count();
    let x = |share: f64| LEFT_PX + WIDE_PX * share;
    let share = found as f64 / of as f64;
    let band = share_95(found as u32, of as u32);
    let middle = top + ROW_PX / 2.0;
    let tick = x(in_time as f64 / of as f64);
    let _ = writeln!(
        svg,
        "<rect x=\"{LEFT_PX}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{colour}\"/>\
         <line x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{middle:.1}\" y2=\"{middle:.1}\" stroke=\"black\"/>\
         <line x1=\"{tick:.1}\" x2=\"{tick:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#b03a2e\" \
         stroke-width=\"2\"/>\
         <text x=\"{:.1}\" y=\"{:.1}\" font-size=\"9\">{found}/{of}</text>",
        top + 1.0,
        x(share) - LEFT_PX,
        ROW_PX - 2.0,
        x(band.low),
        x(band.high),
        top + 1.0,
        top + ROW_PX - 1.0,
        LEFT_PX + WIDE_PX + 8.0,
        middle + 3.0,
    );
}
