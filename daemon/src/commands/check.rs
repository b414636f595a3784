//! `noonmark check SITE`: the site file and the design it describes, as a table for people.
//! Never in here: what a limit is; that is `analysis::plant::design`.

use super::exit;
use crate::source::mqtt::MessageDevice;
use crate::source::registers::plan;
use crate::text::count;
use analysis::plant::design::{ASSUMED_COLDEST_DEGC, Check, Line, Verdict, check as check_design};
use analysis::reading::Channel;
use config::checked::{RegisterMap, SiteFile, Source};
use config::messages::MessageMap;
use config::registers::Register;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;

/// Prints all problems of a site file, or the design it describes; gives the exit code.
///
/// A design that is wrong is still a right site file, and the code is 0. `colour` is for a terminal
/// that shows it. An error means that `out` did not take the report.
pub fn check(site: &Path, out: &mut dyn Write, colour: bool) -> io::Result<u8> {
    match config::load(site) {
        Err(errors) => {
            out.write_all(errors.render(colour).as_bytes())?;
            Ok(exit::BAD_SITE_FILE)
        }
        Ok(site_file) => {
            report(&site_file, out)?;
            Ok(exit::DONE)
        }
    }
}

const LAST_WORD: &str = "These numbers are aids. Local code, the manuals of the equipment and \
                         licensed people decide.";

fn report(site_file: &SiteFile, out: &mut dyn Write) -> io::Result<()> {
    let lines = check_design(&site_file.plant);
    overview(site_file, out)?;
    table(&lines, out)?;
    rules(&lines, out)?;
    notes(site_file, out)?;
    verdict(&lines, out)?;
    writeln!(out, "{LAST_WORD}")
}

fn overview(site_file: &SiteFile, out: &mut dyn Write) -> io::Result<()> {
    let plant = &site_file.plant;
    let inputs = plant.inverters.iter().flat_map(|inverter| &inverter.inputs);
    let strings: usize = inputs.clone().map(|input| input.strings.len()).sum();
    let dc_kw = inputs
        .clone()
        .map(|input| plant.input_rated(input).w())
        .sum::<f64>()
        / 1000.0;
    let counts = [
        count(plant.inverters.len(), "inverter"),
        count(inputs.count(), "input"),
        count(strings, "string"),
        count(plant.weather.len(), "weather device"),
    ];
    writeln!(
        out,
        "{}: {}, {dc_kw:.2} kW of modules",
        plant.site.name,
        counts.join(", ")
    )?;
    let limits = &plant.site.grid_limits.rules;
    writeln!(
        out,
        "supply rules {limits}; {}\n",
        count(plant.channels.len(), "channel")
    )
}

const HEADERS: [&str; 7] = ["where", "what", "value", "limit", "margin", "", "rule"];
/// Columns that hold numbers stand to the right.
const NUMBERS: [bool; 7] = [false, false, true, true, true, false, true];

fn table(lines: &[Line], out: &mut dyn Write) -> io::Result<()> {
    let rules = rules_in_use(lines);
    let rows: Vec<[String; 7]> = lines.iter().map(|line| row(line, &rules)).collect();
    let mut widths = HEADERS.map(|header| header.chars().count());
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    print_row(&HEADERS.map(str::to_owned), &widths, out)?;
    for row in &rows {
        print_row(row, &widths, out)?;
    }
    writeln!(out)
}

fn row(line: &Line, rules: &[Check]) -> [String; 7] {
    let rule = rules.iter().position(|check| *check == line.check);
    let number = |value: Option<f64>| {
        value.map_or("-".to_owned(), |value| with_unit(value, line.check.unit()))
    };
    [
        line.subject.to_string(),
        line.check.name().to_owned(),
        number(Some(line.value)),
        number(line.limit),
        number(line.margin),
        line.verdict.word().to_owned(),
        rule.map_or(String::new(), |index| format!("[{}]", index + 1)),
    ]
}

/// Volts to a tenth, amperes to a hundredth, ratios to a thousandth: finer than any datasheet.
pub(crate) fn with_unit(value: f64, unit: &str) -> String {
    match unit {
        "V" => format!("{value:.1} V"),
        "A" => format!("{value:.2} A"),
        "planes" => format!("{value:.0}"),
        _ => format!("{value:.3}"),
    }
}

fn print_row(cells: &[String; 7], widths: &[usize; 7], out: &mut dyn Write) -> io::Result<()> {
    let mut text = String::new();
    for ((cell, &width), right) in cells.iter().zip(widths).zip(NUMBERS) {
        let padded = match right {
            true => format!("{cell:>width$}  "),
            false => format!("{cell:<width$}  "),
        };
        text.push_str(&padded);
    }
    writeln!(out, "{}", text.trim_end())
}

fn rules_in_use(lines: &[Line]) -> Vec<Check> {
    let mut checks: Vec<Check> = lines.iter().map(|line| line.check).collect();
    checks.sort();
    checks.dedup();
    checks
}

fn rules(lines: &[Line], out: &mut dyn Write) -> io::Result<()> {
    for (index, check) in rules_in_use(lines).iter().enumerate() {
        let mark = format!("[{}]", index + 1);
        paragraph(&mark, &format!("{}: {}", check.name(), check.rule()), out)?;
    }
    writeln!(out)
}

/// Room for the text of a rule beside its mark.
const TEXT_WIDTH: usize = 92;

fn paragraph(mark: &str, text: &str, out: &mut dyn Write) -> io::Result<()> {
    let (mut line, mut mark) = (String::new(), mark);
    for word in text.split_whitespace() {
        if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > TEXT_WIDTH {
            writeln!(out, "{mark:<5}{line}")?;
            (line, mark) = (String::new(), "");
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    writeln!(out, "{mark:<5}{line}")
}

/// What the numbers rest on, and what this version cannot do with the file.
fn notes(site_file: &SiteFile, out: &mut dyn Write) -> io::Result<()> {
    let site = &site_file.plant.site;
    let hottest = site.design_hottest_cell.degc();
    match site.design_coldest {
        Some(coldest) => {
            let coldest = coldest.degc();
            writeln!(
                out,
                "Tmin = {coldest} degC, Tmax = {hottest} degC, from the site file."
            )?;
        }
        None => writeln!(
            out,
            "Tmin = {ASSUMED_COLDEST_DEGC} degC is assumed, so its lines are to be looked at: give \
             design_coldest_degc in [site]. Tmax = {hottest} degC."
        )?,
    }
    maps(site_file, out)?;
    for device in site_file.without_source() {
        writeln!(out, "Cannot be read live: {device} has no source.")?;
    }
    writeln!(out)
}

/// What register maps give, and what of it the plant has no place for.
fn maps(site_file: &SiteFile, out: &mut dyn Write) -> io::Result<()> {
    for source in &site_file.sources {
        let map = match &source.map {
            RegisterMap::File { map, .. } => map,
            RegisterMap::Messages { map, .. } => {
                messages(site_file, source, map, out)?;
                continue;
            }
            RegisterMap::SunSpec => continue,
        };
        let channel = |register: &Register| Channel {
            device: source.device.clone(),
            place: register.place,
            quantity: register.quantity,
        };
        let is_known = |r: &&Register| site_file.plant.channels.id(&channel(r)).is_some();
        let (placed, left): (Vec<_>, Vec<_>) = map.registers.iter().partition(is_known);
        let wanted = (0..map.registers.len()).filter(|i| is_known(&&map.registers[*i]));
        let blocks = plan(
            &map.registers,
            &wanted.collect(),
            &BTreeSet::new(),
            &map.limits,
        );
        writeln!(
            out,
            "{} is read by the map \"{}\": {} in {}.",
            source.device,
            map.name,
            count(placed.len(), "register value"),
            count(blocks.len(), "request")
        )?;
        for register in left {
            let channel = channel(register);
            writeln!(
                out,
                "Not read: {channel}, for which the plant has no place."
            )?;
        }
    }
    Ok(())
}

/// The same of a message map.
fn messages(
    site_file: &SiteFile,
    source: &Source,
    map: &Arc<MessageMap>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let (name, channels) = (&source.device, &site_file.plant.channels);
    let device = MessageDevice::new(name, "", map.clone(), channels, source.every);
    let left = device.unplanned();
    let placed = count(map.values.len() - left.len(), "value");
    writeln!(
        out,
        "{name} is listened to by the map \"{}\": {placed}.",
        map.name
    )?;
    for channel in left {
        writeln!(
            out,
            "Not taken: {channel}, for which the plant has no place."
        )?;
    }
    Ok(())
}

fn verdict(lines: &[Line], out: &mut dyn Write) -> io::Result<()> {
    let count = |verdict| lines.iter().filter(|line| line.verdict == verdict).count();
    let (wrong, look) = (count(Verdict::Wrong), count(Verdict::Look));
    writeln!(
        out,
        "{} checks: {wrong} wrong, {look} to look at.",
        lines.len()
    )
}
