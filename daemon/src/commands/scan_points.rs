//! Every point of the models of a scanned device. Never in here: what the points mean.

use crate::source::modbus::{ModbusError, ReadOnlyClient};
use crate::source::sunspec::{
    Content, Device, DiscoverError, Part, PointValue, points, read_whole,
};
use std::io::{self, Write};

/// Every point of every model that the table has and that answers, each model once.
pub(super) async fn all_points(
    client: &mut ReadOnlyClient,
    device: &Device,
) -> Result<Vec<(u16, Vec<PointValue>)>, DiscoverError> {
    let mut all: Vec<(u16, Vec<PointValue>)> = Vec::new();
    for model in &device.models {
        if all.iter().any(|(id, _)| *id == model.id) {
            continue;
        }
        match read_whole(client, device.kind, model).await {
            Ok(None) | Err(DiscoverError::Modbus(ModbusError::Refused { .. })) => {}
            Ok(Some(image)) => all.push((model.id, points(model.id, &image))),
            Err(error) => return Err(error),
        }
    }
    Ok(all)
}

/// Those that the device implements, in the units of the standard.
pub(super) fn print_points(
    models: &[(u16, Vec<PointValue>)],
    out: &mut dyn Write,
) -> io::Result<()> {
    writeln!(out, "points")?;
    for (model, points) in models {
        for point in points.iter().filter(|point| !point.is_frame) {
            let name = format!("{model}/{}{}", place(point.part), point.name);
            match &point.content {
                Content::Number(number) => writeln!(out, "  {name:<34} {number}")?,
                Content::Text(text) => writeln!(out, "  {name:<34} {text}")?,
                Content::Missing => {}
            }
        }
    }
    Ok(())
}

fn place(part: Part) -> String {
    match part {
        Part::Fixed => String::new(),
        Part::Block(number) => format!("block {number}/"),
        Part::Curve => "curve/".to_owned(),
        Part::Corner(number) => format!("corner {number}/"),
    }
}
