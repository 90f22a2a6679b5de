//! A motor file out of values, uncertainties and one correlation.

use crate::bare::bare;
use rundown::motor_file::{Covariance, MotorFacts, MotorFile, Parameter, ParameterName};

/// A value with its standard uncertainty.
pub type Value = (ParameterName, f64, f64);

/// The motor `name` whose parameters were measured at `temperature_c`; the two of `pair` are correlated, the others are not.
pub fn measured(
    name: &str,
    values: &[Value],
    temperature_c: f64,
    pair: (ParameterName, ParameterName, f64),
) -> MotorFile {
    let parameter = |&(name, value, u): &Value| {
        let ends = (value - 1.96 * u, value + 1.96 * u);
        let mut parameter = Parameter::measured(name, value, u, ends, 0.95);
        parameter.temperature_c = Some(temperature_c);
        (name, parameter)
    };
    let correlation = |a: ParameterName, b: ParameterName| match (a, b) {
        _ if a == b => 1.0,
        _ if (a, b) == (pair.0, pair.1) || (b, a) == (pair.0, pair.1) => pair.2,
        _ => 0.0,
    };
    let row = |&(a, _, u): &Value| {
        let entry = |&(b, _, w): &Value| correlation(a, b) * u * w;
        values.iter().map(entry).collect()
    };
    MotorFile {
        motor: Some(MotorFacts {
            name: name.to_owned(),
            commutator_segments: None,
            poles: None,
            brush_count: None,
            brushes: None,
            magnets: None,
            supply_v: None,
        }),
        parameters: values.iter().map(parameter).collect(),
        covariance: Covariance {
            order: values.iter().map(|(name, ..)| *name).collect(),
            matrix: values.iter().map(row).collect(),
        },
        ..bare()
    }
}
