//! What a motor file must hold beyond keys and types: units, presence, order of intervals, sums and symmetry. Its numbers are finite, since JSON
//! holds no others (see `store`).

mod joint;
mod parameter;

use super::MotorFile;
use crate::quantity::one_line;
use joint::{check_covariance, check_distribution};
use parameter::check_parameter;
use std::borrow::Cow;

/// A fault of content: place (keys joined by dots), found, expected.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Fault {
    pub place: String,
    pub found: String,
    pub expected: String,
}

pub(super) type Checked = Result<(), Fault>;

/// A fault unless `good`.
fn ensure(
    good: bool,
    place: impl Into<String>,
    found: impl ToString,
    expected: impl Into<String>,
) -> Checked {
    match good {
        true => Ok(()),
        false => Err(Fault {
            place: place.into(),
            found: found.to_string(),
            expected: expected.into(),
        }),
    }
}

/// A number for a message, without rows of zeros.
fn shown(number: f64) -> String {
    if number == 0.0 || (1e-4..1e7).contains(&number.abs()) {
        number.to_string()
    } else {
        format!("{number:e}")
    }
}

pub(super) fn check(file: &MotorFile) -> Checked {
    for (row, input) in file.inputs.iter().enumerate() {
        let hex = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
        ensure(
            input.sha256.len() == 64 && input.sha256.chars().all(hex),
            format!("inputs[{row}].sha256"),
            format!("{:?}", input.sha256),
            "64 lower-case hex digits",
        )?;
    }
    if let Cow::Owned(shown) = one_line(file.motor_name()) {
        let expected = "one line without invisible characters";
        ensure(false, "motor.name", format!("\"{shown}\""), expected)?;
    }
    for (name, parameter) in &file.parameters {
        check_parameter(*name, parameter)?;
    }
    check_covariance(file)?;
    check_distribution(file)?;
    let validity = &file.validity;
    for (key, range) in [
        ("current_a", validity.current_a),
        ("speed_rad_s", validity.speed_rad_s),
        ("back_emf_v", validity.back_emf_v),
        ("temperature_c", validity.temperature_c),
    ] {
        let Some(range) = range else { continue };
        ensure(
            range.lower <= range.upper,
            format!("validity.{key}"),
            format!("{} to {}", range.lower, range.upper),
            "two numbers in rising order",
        )?;
    }
    check_operating(file)?;
    for (k, at) in file.inductance_at.iter().enumerate() {
        let place = format!("inductance_at[{k}]");
        let least = at.lower.min(at.value).min(at.frequency_hz);
        ensure(least > 0.0, &place, shown(least), "numbers above zero")?;
        check_level(&place, at.level)?;
        check_interval(&place, at.standard_uncertainty, [at.lower, at.upper])?;
    }
    Ok(())
}

fn check_operating(file: &MotorFile) -> Checked {
    let Some(points) = &file.operating else {
        return Ok(());
    };
    ensure(
        points.voltage_v > 0.0,
        "operating.voltage_v",
        shown(points.voltage_v),
        "a number above zero",
    )?;
    check_level("operating", points.level)?;
    for (key, unit, point) in [
        ("no_load_speed", "rad/s", &points.no_load_speed),
        ("no_load_current", "A", &points.no_load_current),
        ("stall_torque", "N.m", &points.stall_torque),
        ("stall_current", "A", &points.stall_current),
    ] {
        let Some(point) = point else { continue };
        let place = format!("operating.{key}");
        check_unit(&place, &point.unit, unit)?;
        check_interval(
            &place,
            point.standard_uncertainty,
            [point.lower, point.upper],
        )?;
    }
    Ok(())
}

fn check_unit(place: &str, found: &str, unit: &str) -> Checked {
    ensure(
        found == unit,
        format!("{place}.unit"),
        format!("{found:?}"),
        format!("{unit:?}"),
    )
}

fn check_level(place: &str, level: f64) -> Checked {
    ensure(
        level > 0.0 && level < 1.0,
        format!("{place}.level"),
        level,
        "a probability between 0 and 1",
    )
}

fn check_interval(place: &str, uncertainty: f64, [lower, upper]: [f64; 2]) -> Checked {
    ensure(
        uncertainty >= 0.0,
        format!("{place}.standard_uncertainty"),
        shown(uncertainty),
        "a number not below zero",
    )?;
    ensure(
        lower < upper,
        place,
        format!("{} to {}", shown(lower), shown(upper)),
        "an interval in rising order",
    )
}
