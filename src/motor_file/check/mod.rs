//! What a motor file must hold beyond keys and types: units, presence, order of intervals, sums and symmetry. Its numbers are finite, since JSON
//! holds no others (see `store`).

mod ensure;
mod joint;
mod parameter;

use super::MotorFile;
use crate::quantity::one_line;
pub(super) use ensure::{Checked, Fault};
use ensure::{check_interval, check_level, check_unit, ensure, shown};
use joint::{check_covariance, check_distribution};
use parameter::check_parameter;
use std::borrow::Cow;

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
