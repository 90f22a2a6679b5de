//! One parameter of a file: unit, presence, interval, budget.

use super::ensure::{Checked, check_level, check_unit, ensure, shown};
use crate::motor_file::{Parameter, ParameterName, Status};

pub(super) fn check_parameter(name: ParameterName, parameter: &Parameter) -> Checked {
    let place = format!("parameters.{}", name.key());
    check_unit(&place, &parameter.unit, name.ucum())?;
    let numbers = [
        parameter.value,
        parameter.standard_uncertainty,
        parameter.lower,
        parameter.upper,
        parameter.level,
    ];
    let fields = ["value", "standard_uncertainty", "lower", "upper", "level"];
    let known = parameter.status != Status::Undetermined;
    for (field, number) in fields.into_iter().zip(numbers) {
        let expected = match known {
            true => format!(
                "a number: the status is `{}`",
                parameter.status.label().replace(' ', "_")
            ),
            false => "nothing: the status is `undetermined`".to_owned(),
        };
        let found = number.map_or("nothing".to_owned(), shown);
        let place = format!("{place}.{field}");
        ensure(number.is_some() == known, place, found, expected)?;
    }
    if known {
        check_estimate(name, &place, numbers.map(Option::unwrap_or_default))?;
    }
    if let Some(celsius) = parameter.temperature_c {
        ensure(
            celsius > -273.15,
            format!("{place}.temperature_c"),
            celsius,
            "a temperature above -273.15 °C",
        )?;
    }
    if let Some(at) = &parameter.at_25_c {
        let place = format!("{place}.at_25_c");
        let expected = "nothing: the status is `undetermined`";
        ensure(known, &place, "a value", expected)?;
        check_unit(&place, &at.unit, name.ucum())?;
        ensure(
            at.status != Status::Undetermined,
            format!("{place}.status"),
            "undetermined",
            "`measured` or `from_prior`",
        )?;
        ensure(
            at.temperature_c == 25.0,
            format!("{place}.temperature_c"),
            at.temperature_c,
            "25",
        )?;
        let numbers = [at.value, at.standard_uncertainty, at.lower, at.upper];
        let [value, uncertainty, lower, upper] = numbers;
        check_estimate(name, &place, [value, uncertainty, lower, upper, at.level])?;
    }
    for (source, share) in &parameter.budget {
        ensure(
            (0.0..=1.0).contains(share),
            format!("{place}.budget.{source}"),
            share,
            "a share between 0 and 1",
        )?;
    }
    let sum: f64 = parameter.budget.values().sum();
    ensure(
        parameter.budget.is_empty() || (sum - 1.0).abs() <= 1e-6,
        format!("{place}.budget"),
        format!("shares that add up to {sum}"),
        "shares that add up to 1",
    )
}

/// Value, standard uncertainty, bounds and level.
fn check_estimate(name: ParameterName, place: &str, numbers: [f64; 5]) -> Checked {
    let [value, uncertainty, lower, upper, level] = numbers;
    let zero = name.may_be_zero();
    let physical = match zero {
        true => "a number not below zero",
        false => "a number above zero",
    };
    let not = |side: &str| format!("a number not {side} the value {}", shown(value));
    for (field, number, good, expected) in [
        (
            "value",
            value,
            value > 0.0 || (zero && value == 0.0),
            physical,
        ),
        (
            "standard_uncertainty",
            uncertainty,
            uncertainty >= 0.0,
            "a number not below zero",
        ),
        ("lower", lower, lower <= value, &not("above")),
        ("upper", upper, upper >= value, &not("below")),
    ] {
        ensure(good, format!("{place}.{field}"), shown(number), expected)?;
    }
    check_level(place, level)
}
