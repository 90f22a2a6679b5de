//! A motor file as text: the answer on one screen, its details in SI units, the evidence, and what to know of it.

mod diagnostics;
mod evidence;
mod screen;

pub use diagnostics::{diagnostics, notes_left_out};
pub use evidence::{evidence, evidence_rows, result_line};
pub use screen::screen;
pub(crate) use screen::{BenchUnit, cells, ordered};

use super::{AtTemperature, MotorFile, OneSided, Parameter, ParameterName, Status};
use crate::quantity::in_columns;
use crate::quantity::rounding::{self, Rounded, Scale};
use crate::quantity::units::{self, Unit};
use std::fmt::Write;

/// Column at which the status of a parameter stands.
const STATUS: usize = 50;

/// Renders every parameter in SI units, with its interval, the common units and its notes. Ends in a line feed.
///
/// A parameter without a value shows no number; the line under it says what would settle it.
pub fn render(file: &MotorFile) -> String {
    let mut text = String::new();
    let shown = file.parameters.values();
    let shown = shown.filter(|p| p.status != Status::Undetermined);
    let mut temperatures: Vec<Option<f64>> = shown.map(|p| p.temperature_c).collect();
    temperatures.dedup();
    // One that all share is named once.
    let common = match temperatures[..] {
        [common] => common,
        _ => None,
    };
    if let Some(celsius) = common {
        let _ = writeln!(text, "SI units, winding at {celsius:.1} °C");
    }
    for (name, parameter) in ordered(file) {
        let head = format!("{} {}", name.label(), name.symbol());
        let mut status = parameter.status.label().to_owned();
        if let Some(temperature_c) = parameter.temperature_c
            && parameter.status != Status::Undetermined
            && common.is_none()
        {
            let _ = write!(status, " at {temperature_c:.1} °C");
        }
        let _ = writeln!(text, "{}{status}", in_columns(&[head], &[STATUS]));
        for line in lines(name, parameter) {
            let _ = writeln!(text, "    {line}");
        }
    }
    text
}

/// What stands under the name of a parameter.
fn lines(name: ParameterName, parameter: &Parameter) -> Vec<String> {
    let mut lines = Vec::new();
    if let (Some(value), Some(uncertainty), Some(lower), Some(upper), Some(level)) = (
        parameter.value,
        parameter.standard_uncertainty,
        parameter.lower,
        parameter.upper,
        parameter.level,
    ) {
        lines.push(format!(
            "{}, {}",
            rounding::write(value, Some(uncertainty), name.si(), scale(name)),
            interval(
                name,
                (lower, upper),
                uncertainty,
                level,
                parameter.one_sided
            )
        ));
        lines.extend(in_common_units(name, value, uncertainty));
    }
    if let Some(at) = &parameter.at_25_c
        && parameter.temperature_c != Some(25.0)
    {
        lines.push(at_line(name, at));
    }
    lines.extend(at_speed(parameter));
    lines.extend(parameter.note.clone());
    if let Some(suggestion) = &parameter.suggestion {
        let lead = match parameter.status {
            Status::Measured | Status::InConflict => "would be sharper with",
            Status::FromPrior | Status::Undetermined => "determined by",
        };
        lines.push(format!("{lead}: {suggestion}"));
    }
    lines
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

/// The speed at which a parameter holds.
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
    let percent = format!("{} %", rounding::percent(level));
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

/// K, or its uncertainty, in the unit that speed controllers print.
fn rpm_per_volt(value: f64, uncertainty: f64) -> String {
    let Ok(unit) = units::find(ParameterName::BackEmfConstant.quantity(), "rpm/V") else {
        return String::new();
    };
    let uncertainty = unit.uncertainty_from_si(value, 2.0 * uncertainty);
    rounding::round(unit.from_si(value), Some(uncertainty), Scale::Plain).value
}

/// In every common unit; `None` where SI with a prefix is the common one.
fn in_common_units(name: ParameterName, value: f64, uncertainty: f64) -> Option<String> {
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
    (!written.is_empty()).then(|| written.join(", "))
}

#[cfg(test)]
pub(crate) mod tests;
