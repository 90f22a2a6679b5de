//! The operating points of a file.

use super::fault::{Checked, fault, shown};
use crate::motor_file::MotorFile;

pub(super) fn check_inductance_at(file: &MotorFile) -> Checked {
    for (k, at) in file.inductance_at.iter().enumerate() {
        let numbers = [at.lower, at.value, at.upper, at.frequency_hz];
        let positive = numbers.iter().all(|v| v.is_finite() && *v > 0.0);
        let level = at.level > 0.0 && at.level < 1.0;
        if !(positive && at.lower < at.upper && level && at.standard_uncertainty >= 0.0) {
            return fault(
                format!("inductance_at[{k}]"),
                format!(
                    "{} ± {} at {} Hz, {} to {} at level {}",
                    shown(at.value),
                    shown(at.standard_uncertainty),
                    shown(at.frequency_hz),
                    shown(at.lower),
                    shown(at.upper),
                    shown(at.level)
                ),
                "positive numbers, an interval in rising order, a level between 0 and 1",
            );
        }
    }
    Ok(())
}

pub(super) fn check_operating(file: &MotorFile) -> Checked {
    let Some(points) = &file.operating else {
        return Ok(());
    };
    let place = |field: &str| format!("operating.{field}");
    if !(points.voltage_v.is_finite() && points.voltage_v > 0.0) {
        return fault(
            place("voltage_v"),
            shown(points.voltage_v),
            "a number above zero",
        );
    }
    if !(points.level > 0.0 && points.level < 1.0) {
        return fault(
            place("level"),
            points.level,
            "a probability between 0 and 1",
        );
    }
    for (key, unit, point) in [
        ("no_load_speed", "rad/s", &points.no_load_speed),
        ("no_load_current", "A", &points.no_load_current),
        ("stall_torque", "N.m", &points.stall_torque),
        ("stall_current", "A", &points.stall_current),
    ] {
        let Some(point) = point else { continue };
        if point.unit != unit {
            return fault(
                place(&format!("{key}.unit")),
                format!("{:?}", point.unit),
                format!("{unit:?}"),
            );
        }
        let numbers = [point.lower, point.value, point.upper];
        let rising = point.lower < point.upper && numbers.iter().all(|v| v.is_finite());
        if !(rising && point.standard_uncertainty.is_finite() && point.standard_uncertainty >= 0.0)
        {
            return fault(
                place(key),
                format!(
                    "{} ± {}, {} to {}",
                    shown(point.value),
                    shown(point.standard_uncertainty),
                    shown(point.lower),
                    shown(point.upper)
                ),
                "finite numbers, an uncertainty not below zero, an interval in rising order",
            );
        }
    }
    Ok(())
}
