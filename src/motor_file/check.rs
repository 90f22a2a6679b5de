//! What a motor file must hold beyond keys and types.

use super::{
    AtTemperature, Covariance, ModelTerms, MotorFile, Parameter, ParameterName, Range, Status,
};

/// Largest relative disagreement between a standard uncertainty and the covariance diagonal, and between mirrored
/// covariances.
const COVARIANCE_TOLERANCE: f64 = 1e-6;

/// A fault of content: place (keys joined by dots), found, expected.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Fault {
    pub place: String,
    pub found: String,
    pub expected: String,
}

type Checked = Result<(), Fault>;

fn fault(place: impl Into<String>, found: impl ToString, expected: impl Into<String>) -> Checked {
    Err(Fault {
        place: place.into(),
        found: found.to_string(),
        expected: expected.into(),
    })
}

/// A number for a message, without rows of zeros.
fn shown(number: f64) -> String {
    if number == 0.0 || (1e-4..1e7).contains(&number.abs()) || !number.is_finite() {
        number.to_string()
    } else {
        format!("{number:e}")
    }
}

/// Checks units, presence rules, order of the interval, sums and symmetry.
pub(super) fn check(file: &MotorFile) -> Checked {
    for (row, input) in file.inputs.iter().enumerate() {
        let hex = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
        if input.sha256.len() != 64 || !input.sha256.chars().all(hex) {
            return fault(
                format!("inputs[{row}].sha256"),
                format!("{:?}", input.sha256),
                "64 lower-case hex digits",
            );
        }
    }
    for (name, parameter) in &file.parameters {
        check_parameter(*name, parameter)?;
    }
    check_covariance(file)?;
    let validity = &file.validity;
    for (place, range) in [
        ("validity.current_a", validity.current_a),
        ("validity.speed_rad_s", validity.speed_rad_s),
        ("validity.back_emf_v", validity.back_emf_v),
        ("validity.temperature_c", validity.temperature_c),
    ] {
        if let Some(Range { lower, upper }) = range
            && !(lower.is_finite() && upper.is_finite() && lower <= upper)
        {
            return fault(
                place,
                format!("{lower} to {upper}"),
                "two numbers in rising order",
            );
        }
    }
    check_operating(file)?;
    check_fit(file)
}

fn check_operating(file: &MotorFile) -> Checked {
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

fn check_parameter(name: ParameterName, parameter: &Parameter) -> Checked {
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

fn check_covariance(file: &MotorFile) -> Checked {
    let Covariance { order, matrix } = &file.covariance;
    for (row, name) in order.iter().enumerate() {
        if order[..row].contains(name) {
            return fault(
                format!("covariance.order[{row}]"),
                format!("`{}` again", name.key()),
                "each parameter once",
            );
        }
        if file.value(*name).is_none() {
            return fault(
                format!("covariance.order[{row}]"),
                format!("`{}`, which has no value", name.key()),
                "only parameters with a value",
            );
        }
    }
    if matrix.len() != order.len() {
        return fault(
            "covariance.matrix",
            format!("{} rows", matrix.len()),
            format!("{}, one a name of `order`", order.len()),
        );
    }
    for (row, values) in matrix.iter().enumerate() {
        if values.len() != order.len() {
            return fault(
                format!("covariance.matrix[{row}]"),
                format!("{} numbers", values.len()),
                format!("{}, one a name of `order`", order.len()),
            );
        }
        if let Some(column) = values.iter().position(|value| !value.is_finite()) {
            return fault(
                format!("covariance.matrix[{row}][{column}]"),
                shown(values[column]),
                "a finite number",
            );
        }
    }
    for (row, name) in order.iter().enumerate() {
        let uncertainty = file.parameters[name].standard_uncertainty.unwrap_or(0.0);
        let diagonal = matrix[row][row];
        let expected = uncertainty * uncertainty;
        if (diagonal - expected).abs() > COVARIANCE_TOLERANCE * expected {
            return fault(
                format!("covariance.matrix[{row}][{row}]"),
                shown(diagonal),
                format!(
                    "{}, the square of the standard uncertainty of `{}`",
                    shown(expected),
                    name.key()
                ),
            );
        }
        for (column, mirror) in matrix.iter().enumerate().take(row) {
            let scale = (diagonal * mirror[column]).sqrt();
            let (one, other) = (matrix[row][column], mirror[row]);
            if (one - other).abs() > COVARIANCE_TOLERANCE * scale {
                return fault(
                    format!("covariance.matrix[{row}][{column}]"),
                    shown(one),
                    format!("{}, as at [{column}][{row}]", shown(other)),
                );
            }
            if one.abs() > scale * (1.0 + COVARIANCE_TOLERANCE) {
                return fault(
                    format!("covariance.matrix[{row}][{column}]"),
                    shown(one),
                    format!(
                        "a size of at most {}: no correlation exceeds 1",
                        shown(scale)
                    ),
                );
            }
        }
    }
    Ok(())
}

/// JSON knows no infinity and no not-a-number: they must not reach the writer.
fn check_fit(file: &MotorFile) -> Checked {
    let fit = &file.fit;
    let mut numbers = vec![
        ("fit.chi_squared".to_owned(), fit.chi_squared),
        ("fit.degrees_of_freedom".to_owned(), fit.degrees_of_freedom),
    ];
    if let Some(rank) = &fit.identifiability {
        numbers.push((
            "fit.identifiability.condition_number".to_owned(),
            Some(rank.condition_number),
        ));
        numbers.push((
            "fit.identifiability.threshold".to_owned(),
            Some(rank.threshold),
        ));
    }
    for (key, term) in file.model.iter().flat_map(ModelTerms::listed) {
        numbers.push((format!("model.{key}.value"), Some(term.value)));
        numbers.push((
            format!("model.{key}.standard_uncertainty"),
            term.standard_uncertainty,
        ));
    }
    for (row, capture) in fit.captures.iter().enumerate() {
        let runs = capture.runs_test.as_ref();
        for (field, number) in [
            ("chi_squared_per_point", capture.chi_squared_per_point),
            ("current_residual_rms_a", capture.current_residual_rms_a),
            ("voltage_residual_rms_v", capture.voltage_residual_rms_v),
            ("autocorrelation_lag_one", capture.autocorrelation_lag_one),
            ("runs_test.expected", runs.map(|test| test.expected)),
            ("runs_test.z", runs.map(|test| test.z)),
            ("pull", capture.pull),
        ] {
            numbers.push((format!("fit.captures[{row}].{field}"), number));
        }
        for (place, cut) in capture.cuts.iter().enumerate() {
            let place = format!("fit.captures[{row}].cuts[{place}]");
            numbers.push((format!("{place}.start_s"), Some(cut.start_s)));
            numbers.push((format!("{place}.end_s"), Some(cut.end_s)));
        }
    }
    for (row, term) in fit.terms.iter().enumerate() {
        for (field, number) in [
            (
                "information_criterion_change",
                term.information_criterion_change,
            ),
            ("likelihood_ratio", term.likelihood_ratio),
            ("p_value", term.p_value),
        ] {
            numbers.push((format!("fit.terms[{row}].{field}"), number));
        }
    }
    for (row, nuisance) in fit.nuisances.iter().enumerate() {
        for (field, number) in [
            ("value", Some(nuisance.value)),
            ("standard_uncertainty", Some(nuisance.standard_uncertainty)),
            ("prior_value", nuisance.prior_value),
            (
                "prior_standard_uncertainty",
                nuisance.prior_standard_uncertainty,
            ),
        ] {
            numbers.push((format!("fit.nuisances[{row}].{field}"), number));
        }
    }
    numbers.push((
        "motor.supply_v".to_owned(),
        file.motor.as_ref().and_then(|motor| motor.supply_v),
    ));
    match numbers
        .iter()
        .find(|(_, number)| number.is_some_and(|number| !number.is_finite()))
    {
        Some((place, number)) => fault(
            place.clone(),
            number.map_or(f64::NAN, |number| number),
            "a finite number, or nothing where it is unknown",
        ),
        None => Ok(()),
    }
}
