//! The readable table of a motor file: value ± standard uncertainty, interval, common units, status.

mod evidence;

pub use evidence::{evidence, evidence_cells, result_line};

use super::{AtTemperature, MotorFile, OneSided, Parameter, ParameterName, Status};
use crate::quantity::rounding::{self, Rounded, Scale};
use crate::quantity::units::{self, Unit};
use std::fmt::Write;

/// Columns of the table; the status is the last and runs free.
const HEADS: [&str; 4] = [
    "parameter",
    "value ± standard uncertainty",
    "interval",
    "in the trade",
];

/// One line of cells, and the lines of text under it.
struct Row {
    cells: [String; 4],
    status: String,
    under: Vec<String>,
}

/// Renders the table, one line a parameter, with its notes under it. Ends in a line feed.
///
/// A parameter without a value shows no number; the line under it says what would settle it.
pub fn render(file: &MotorFile) -> String {
    let rows: Vec<Row> = file
        .parameters
        .iter()
        .map(|(name, parameter)| row(*name, parameter))
        .collect();
    let mut widths = HEADS.map(width);
    for row in &rows {
        for (widest, cell) in widths.iter_mut().zip(&row.cells) {
            *widest = (*widest).max(width(cell));
        }
    }
    let mut text = String::new();
    line(&mut text, &HEADS.map(str::to_owned), &widths, "status");
    for row in &rows {
        line(&mut text, &row.cells, &widths, &row.status);
        for under in &row.under {
            let _ = writeln!(text, "    {under}");
        }
    }
    text
}

/// Kind of a note that only states what was found.
pub const FINDING: &str = "finding";

/// Kind of a warning about evidence in conflict.
pub const CONFLICT: &str = "conflict";

/// The warnings, one paragraph each; empty where there is none.
pub fn warnings(file: &MotorFile) -> String {
    let mut text = String::new();
    for warning in &file.warnings {
        let subject = warning.subject.as_ref();
        let subject = subject.map_or(String::new(), |subject| format!("{subject}: "));
        // What the ripple shows is a note.
        let label = match warning.kind.as_str() {
            FINDING => "note",
            CONFLICT => "conflict",
            _ => "warning",
        };
        let _ = writeln!(text, "{label}: {subject}{}", warning.text);
    }
    text
}

fn line(text: &mut String, cells: &[String; 4], widths: &[usize; 4], status: &str) {
    for (cell, widest) in cells.iter().zip(widths) {
        text.push_str(cell);
        text.push_str(&" ".repeat(widest - width(cell) + 2));
    }
    text.push_str(status);
    text.push('\n');
}

fn width(cell: impl AsRef<str>) -> usize {
    cell.as_ref().chars().count()
}

fn row(name: ParameterName, parameter: &Parameter) -> Row {
    let mut row = Row {
        cells: [
            format!("{} {}", name.label(), name.symbol()),
            "-".to_owned(),
            "-".to_owned(),
            "-".to_owned(),
        ],
        status: parameter.status.label().to_owned(),
        under: Vec::new(),
    };
    if let (Some(value), Some(uncertainty), Some(lower), Some(upper), Some(level)) = (
        parameter.value,
        parameter.standard_uncertainty,
        parameter.lower,
        parameter.upper,
        parameter.level,
    ) {
        row.cells[1] = rounding::write(value, Some(uncertainty), name.si(), scale(name));
        row.cells[2] = interval(
            name,
            (lower, upper),
            uncertainty,
            level,
            parameter.one_sided,
        );
        row.cells[3] = in_common_units(name, value, uncertainty);
    }
    if let Some(temperature_c) = parameter.temperature_c
        && parameter.status != Status::Undetermined
    {
        let _ = write!(row.status, " at {temperature_c:.1} °C");
    }
    if let Some(at) = &parameter.at_25_c
        && parameter.temperature_c != Some(25.0)
    {
        row.under.push(at_line(name, at));
    }
    row.under.extend(at_speed(parameter));
    if let Some(note) = &parameter.note {
        row.under.push(note.clone());
    }
    if let Some(suggestion) = &parameter.suggestion {
        let lead = match parameter.status {
            Status::Measured | Status::InConflict => "would be sharper with",
            Status::FromPrior | Status::Undetermined => "what would settle it",
        };
        row.under.push(format!("{lead}: {suggestion}"));
    }
    row
}

fn at_line(name: ParameterName, at: &AtTemperature) -> String {
    format!(
        "at 25 °C: {}, {}",
        rounding::write(
            at.value,
            Some(at.standard_uncertainty),
            name.si(),
            scale(name)
        ),
        interval(
            name,
            (at.lower, at.upper),
            at.standard_uncertainty,
            at.level,
            None
        )
    )
}

/// The speed at which a parameter is taken, in words.
pub(crate) fn at_speed(parameter: &Parameter) -> Option<String> {
    let emf_v = parameter.at_back_emf_v?;
    let emf = rounding::significant(emf_v, 4);
    let speed = parameter.at_speed_rad_s.map(|rad_s| {
        let rpm = rounding::significant(rad_s * 30.0 / std::f64::consts::PI, 4);
        format!(" ({rpm} rpm)")
    });
    Some(format!(
        "at a back-EMF of {emf} V{}",
        speed.unwrap_or_default()
    ))
}

pub(crate) fn interval(
    name: ParameterName,
    ends: (f64, f64),
    uncertainty: f64,
    level: f64,
    one_sided: Option<OneSided>,
) -> String {
    let round = |end: f64| rounding::round(end, Some(uncertainty), scale(name));
    let (lower, upper) = (round(ends.0), round(ends.1));
    let percent = format!("{} %", (level * 1000.0).round() / 10.0);
    let alone = |mut end: Rounded| {
        end.uncertainty = None;
        end
    };
    let range = match one_sided {
        Some(OneSided::Upper) => format!("at most {}", alone(upper).with_unit(name.si())),
        Some(OneSided::Lower) => format!("at least {}", alone(lower).with_unit(name.si())),
        None if lower.exponent == upper.exponent => {
            let both = format!("{} to {}", lower.value, upper.value);
            let value = match scale(name) {
                Scale::Power if upper.exponent != 0 => format!("({both})"),
                _ => both,
            };
            let mut range = alone(upper);
            range.value = value;
            range.with_unit(name.si())
        }
        None => format!(
            "{} to {}",
            alone(lower).with_unit(name.si()),
            alone(upper).with_unit(name.si())
        ),
    };
    format!("{range} ({percent})")
}

/// Whether the unit takes an engineering prefix.
pub(crate) fn scale(name: ParameterName) -> Scale {
    match name {
        ParameterName::BackEmfConstant
        | ParameterName::CoulombFrictionTorque
        | ParameterName::FrictionTorqueAtSpeed
        | ParameterName::ViscousFriction
        | ParameterName::Windage
        | ParameterName::RotorInertia => Scale::Power,
        _ => Scale::Prefix,
    }
}

/// The common units printed beside SI.
pub fn common_units(name: ParameterName) -> &'static [&'static str] {
    match name {
        ParameterName::BackEmfConstant => &["mN·m/A", "V/krpm", "rpm/V"],
        ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => &["mN·m"],
        ParameterName::ViscousFriction => &["mN·m/krpm"],
        ParameterName::Windage => &["µN·m/krpm²"],
        ParameterName::RotorInertia => &["g·cm²"],
        // The SI unit with a prefix is the common one.
        _ => &[],
    }
}

fn in_common_units(name: ParameterName, value: f64, uncertainty: f64) -> String {
    let written: Vec<String> = common_units(name)
        .iter()
        .filter_map(|text| units::find(name.quantity(), text).ok())
        .filter(|unit: &&Unit| !unit.reciprocal || value > 0.0)
        .map(|unit| {
            let number = unit.from_si(value);
            let uncertainty = unit.uncertainty_from_si(value, uncertainty);
            rounding::write(number, Some(uncertainty), unit.text, Scale::Plain)
        })
        .collect();
    match written.is_empty() {
        true => "-".to_owned(),
        false => written.join(", "),
    }
}

#[cfg(test)]
pub(crate) mod tests;
