//! What a motor file must hold beyond keys and types.

mod covariance;
mod distribution;
mod fault;
mod fit;
mod operating;
mod parameter;

use super::{MotorFile, Range};
use crate::quantity::one_line;
use std::borrow::Cow;

use covariance::check_covariance;
use distribution::check_distribution;
use fault::{Checked, fault};
use fit::check_fit;
use operating::{check_inductance_at, check_operating};
use parameter::check_parameter;

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
    if let Some(facts) = &file.motor
        && let Cow::Owned(shown) = one_line(&facts.name)
    {
        return fault(
            "motor.name",
            format!("\"{shown}\""),
            "one line without invisible characters",
        );
    }
    for (name, parameter) in &file.parameters {
        check_parameter(*name, parameter)?;
    }
    check_covariance(file)?;
    check_distribution(file)?;
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
    check_inductance_at(file)?;
    check_fit(file)
}
