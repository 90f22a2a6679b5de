//! One parameter of a file: unit, presence, interval, budget.

use super::fault::{Checked, fault, shown};
use crate::motor_file::{AtTemperature, Parameter, ParameterName, Status};

pub(super) fn check_parameter(name: ParameterName, parameter: &Parameter) -> Checked {
    let place = |field: &str| format!("parameters.{}.{field}", name.key());
    if parameter.unit != name.ucum() {
        return fault(
            place("unit"),
            format!("{:?}", parameter.unit),
            format!("{:?}", name.ucum()),
        );
    }
    let numbers = [
        ("value", parameter.value),
        ("standard_uncertainty", parameter.standard_uncertainty),
        ("lower", parameter.lower),
        ("upper", parameter.upper),
        ("level", parameter.level),
    ];
    let known = parameter.status != Status::Undetermined;
    for (field, number) in numbers {
        match number {
            Some(number) if !known => {
                return fault(
                    place(field),
                    shown(number),
                    "nothing: the status is `undetermined`",
                );
            }
            None if known => {
                return fault(
                    place(field),
                    "nothing",
                    format!("a number: the status is `{}`", status_key(parameter.status)),
                );
            }
            _ => {}
        }
    }
    if let (Some(value), Some(uncertainty), Some(lower), Some(upper), Some(level)) = (
        parameter.value,
        parameter.standard_uncertainty,
        parameter.lower,
        parameter.upper,
        parameter.level,
    ) {
        check_estimate(name, &place, value, uncertainty, lower, upper, level)?;
    }
    if !known && parameter.at_25_c.is_some() {
        return fault(
            place("at_25_c"),
            "a value",
            "nothing: the status is `undetermined`",
        );
    }
    if let Some(temperature_c) = parameter.temperature_c {
        check_temperature(place("temperature_c"), temperature_c)?;
    }
    if let Some(at) = &parameter.at_25_c {
        check_at_temperature(name, at)?;
    }
    check_budget(&place, parameter)
}

fn status_key(status: Status) -> &'static str {
    match status {
        Status::Measured => "measured",
        Status::FromPrior => "from_prior",
        Status::InConflict => "in_conflict",
        Status::Undetermined => "undetermined",
    }
}

fn check_estimate(
    name: ParameterName,
    place: &dyn Fn(&str) -> String,
    value: f64,
    uncertainty: f64,
    lower: f64,
    upper: f64,
    level: f64,
) -> Checked {
    let good = value.is_finite() && (value > 0.0 || (value == 0.0 && name.may_be_zero()));
    if !good {
        let expected = if name.may_be_zero() {
            "a number not below zero"
        } else {
            "a number above zero"
        };
        return fault(place("value"), shown(value), expected);
    }
    if !(uncertainty.is_finite() && uncertainty >= 0.0) {
        return fault(
            place("standard_uncertainty"),
            shown(uncertainty),
            "a number not below zero",
        );
    }
    if !(lower.is_finite() && lower <= value) {
        return fault(
            place("lower"),
            shown(lower),
            format!("a number not above the value {}", shown(value)),
        );
    }
    if !(upper.is_finite() && upper >= value) {
        return fault(
            place("upper"),
            shown(upper),
            format!("a number not below the value {}", shown(value)),
        );
    }
    if !(level > 0.0 && level < 1.0) {
        return fault(place("level"), level, "a probability between 0 and 1");
    }
    Ok(())
}

fn check_temperature(place: String, temperature_c: f64) -> Checked {
    if !(temperature_c.is_finite() && temperature_c > -273.15) {
        return fault(place, temperature_c, "a temperature above -273.15 °C");
    }
    Ok(())
}

fn check_at_temperature(name: ParameterName, at: &AtTemperature) -> Checked {
    let place = |field: &str| format!("parameters.{}.at_25_c.{field}", name.key());
    if at.unit != name.ucum() {
        return fault(
            place("unit"),
            format!("{:?}", at.unit),
            format!("{:?}", name.ucum()),
        );
    }
    if at.status == Status::Undetermined {
        return fault(
            place("status"),
            "undetermined",
            "`measured` or `from_prior`",
        );
    }
    if at.temperature_c != 25.0 {
        return fault(place("temperature_c"), at.temperature_c, "25");
    }
    check_estimate(
        name,
        &place,
        at.value,
        at.standard_uncertainty,
        at.lower,
        at.upper,
        at.level,
    )
}

fn check_budget(place: &dyn Fn(&str) -> String, parameter: &Parameter) -> Checked {
    if parameter.budget.is_empty() {
        return Ok(());
    }
    for (source, share) in &parameter.budget {
        if !(0.0..=1.0).contains(share) {
            return fault(
                place(&format!("budget.{source}")),
                share,
                "a share between 0 and 1",
            );
        }
    }
    let sum: f64 = parameter.budget.values().sum();
    if (sum - 1.0).abs() > 1e-6 {
        return fault(
            place("budget"),
            format!("shares that add up to {sum}"),
            "shares that add up to 1",
        );
    }
    Ok(())
}
