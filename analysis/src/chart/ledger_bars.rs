//! Where every missing kilowatt-hour went: bars by hour, day or month.

use super::ChartError;
use super::canvas::{Fill, Rect, Side};
use super::panel::value_y;
use super::sheet::{self, Mark, Picture, Sheet};
use super::style::*;
use super::value_axis::ValueAxis;

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct LedgerBar {
    /// What stands under it.
    pub label: String,
    /// What the weather would have given [kWh].
    pub expected_kwh: f64,
    /// What was delivered [kWh].
    pub measured_kwh: f64,
    /// What is missing, by part, in the order of the names [kWh]; negative parts are not drawn.
    pub missing_kwh: Vec<f64>,
}

/// Everything that the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct LedgerInput<'a> {
    /// `day`, `month`
    pub unit: &'a str,
    /// In order of time.
    pub bars: &'a [LedgerBar],
    /// Parts of what is missing, the largest first; at most [`MOST_PARTS`].
    pub parts: &'a [String],
}

/// Fills that can be told apart, also in grey.
const PARTS: [(Fill, Rgb); 7] = [
    (Fill::Solid(INK), INK),
    (Fill::Solid(EXPECTED), EXPECTED),
    (Fill::Crossed(6.0), INK),
    (Fill::Rising(5.0), EXPECTED),
    (Fill::Solid(BAND), SOFT_INK),
    (Fill::Level(4.0), SOFT_INK),
    (Fill::Upright(4.0), SOFT_INK),
];
/// More parts than this cannot be told apart.
pub const MOST_PARTS: usize = PARTS.len();

const HIGH: f64 = 150.0;
const WIDEST_BAR_PX: f64 = 44.0;

/// The bars; `None` where nothing was expected.
pub fn ledger_picture(input: &LedgerInput) -> Result<Option<Picture>, ChartError> {
    let most = |of: fn(&LedgerBar) -> f64| input.bars.iter().map(of).fold(0.0, f64::max);
    let top_kwh = most(|b| b.expected_kwh.max(b.measured_kwh));
    let missing_kwh = most(|b| b.missing_kwh.iter().map(|m| m.max(0.0)).sum());
    if top_kwh <= 0.0 {
        return Ok(None);
    }
    let delivered = Mark::Patch(Fill::Solid(STRIP), SOFT_INK);
    let mut key = vec![
        (delivered, "produced"),
        (Mark::Line(EXPECTED), "expected from the weather"),
    ];
    let parts = input.parts.iter().zip(PARTS);
    key.extend(parts.map(|(name, (fill, ink))| (Mark::Patch(fill, ink), name.as_str())));
    let title = format!(
        "Produced and expected, and what is missing, by {}",
        input.unit
    );
    let sheet = Sheet::new(&title, &key)?;
    let upper = sheet.plot(sheet.top, HIGH);
    let lower = sheet.plot(upper.bottom + 8.0, HIGH);
    let shows_missing = missing_kwh > 0.0;
    let last = if shows_missing { lower } else { upper };
    let svg = sheet.drawn(last.bottom + AXIS_HEIGHT, |canvas| {
        let axis = ValueAxis::over(0.0, 1.05 * top_kwh, HIGH);
        sheet::values(upper, &axis, "kWh, produced", canvas)?;
        let step = (upper.right - upper.left) / input.bars.len() as f64;
        let width = (0.7 * step).min(WIDEST_BAR_PX);
        let middle = |n: usize| upper.left + (n as f64 + 0.5) * step;
        for (n, bar) in input.bars.iter().enumerate() {
            let (left, right) = (middle(n) - width / 2.0, middle(n) + width / 2.0);
            let y = |kwh: f64| value_y(upper, &axis, kwh);
            let body = Rect {
                left,
                top: y(bar.measured_kwh.max(0.0)),
                right,
                bottom: upper.bottom,
            };
            canvas.fill(body, Fill::Solid(STRIP), STRIP)?;
            let at = y(bar.expected_kwh);
            canvas.line(&[(left - 2.0, at), (right + 2.0, at)], EXPECTED, 2.0)?;
        }
        canvas.frame(upper, STRONG_GRID, HAIRLINE)?;
        if shows_missing {
            let axis = ValueAxis::over(0.0, 1.05 * missing_kwh, HIGH);
            sheet::values(lower, &axis, "kWh, missing", canvas)?;
            for (n, bar) in input.bars.iter().enumerate() {
                let mut from = 0.0;
                let parts = bar.missing_kwh.iter().zip(PARTS);
                for (kwh, (fill, ink)) in parts.filter(|(kwh, _)| **kwh > 0.0) {
                    let body = Rect {
                        left: middle(n) - width / 2.0,
                        top: value_y(lower, &axis, from + kwh),
                        right: middle(n) + width / 2.0,
                        bottom: value_y(lower, &axis, from),
                    };
                    sheet::patch(body, fill, ink, canvas)?;
                    from += kwh;
                }
            }
            canvas.frame(lower, STRONG_GRID, HAIRLINE)?;
        }
        let labels = input.bars.iter().enumerate();
        sheet::labels(
            last,
            labels.map(|(n, bar)| (middle(n), bar.label.clone(), false)),
            canvas,
        )?;
        if !shows_missing {
            let at = (upper.right, upper.top - 7.0);
            canvas.text("nothing is missing", DETAIL, at, Side::Right)?;
        }
        Ok(())
    })?;
    let reading = "Above: what was delivered, and as a line what the sun and the weather would have \
                   given. Below: the difference between the two, by what took it. The scales differ."
        .to_owned();
    Ok(Some(Picture {
        svg,
        title,
        reading,
    }))
}
