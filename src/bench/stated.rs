//! Quantities of a sheet with their standard uncertainties; what lacks an accuracy gets an assumed one, and a warning.

use super::accuracy::Accuracy;
use super::error::BenchError;
use super::setup::Stated;
use super::sheet::Quantity;
use crate::quantity::units::RPM;

/// Limit of a winding temperature that was stated without one, in K.
const ASSUMED_TEMPERATURE_LIMIT_K: f64 = 2.0;
/// Limits of a speed that was stated without one.
const ASSUMED_SPEED_LIMIT: f64 = 1e-3;

impl Quantity {
    /// The stated value; an accuracy must have been typed.
    pub fn stated(&self, key: &str) -> Result<Stated, BenchError> {
        if self.accuracy.is_empty() {
            return Err(BenchError::Invalid {
                place: self.place.clone(),
                text: format!(
                    "`{key}` has a value but no accuracy; add e.g. limit_percent = … (a limit, rectangular), coverage_95_percent = … (two standard deviations) or standard_percent = …"
                ),
            });
        }
        Ok(self.accuracy.state(self.value))
    }
}

/// A winding temperature; without an accuracy one is assumed, with one warning for each place.
pub(super) fn winding_temperature(
    quantity: &Quantity,
    warnings: &mut Vec<String>,
) -> Result<Stated, BenchError> {
    if !(-60.0..=250.0).contains(&quantity.value) {
        return Err(BenchError::Invalid {
            place: quantity.place.clone(),
            text: format!(
                "a winding temperature of {} °C cannot be meant; expected -60 to 250 °C",
                quantity.value
            ),
        });
    }
    if quantity.accuracy.is_empty() {
        let warning = format!(
            "line {}: winding temperature {} °C without an accuracy; assumed within {ASSUMED_TEMPERATURE_LIMIT_K} K (rectangular). Add limit_k to replace the assumption",
            quantity.place.line, quantity.value
        );
        if !warnings.contains(&warning) {
            warnings.push(warning);
        }
    }
    Ok(quantity.stated_or(Accuracy::limit_absolute(ASSUMED_TEMPERATURE_LIMIT_K)))
}

/// A speed with its own accuracy, that of the `tachometer` it was read with, or an assumed one. `line` is that of the sheet.
pub(super) fn speed(
    speed: &Quantity,
    tachometer: Option<Accuracy>,
    line: u32,
    warnings: &mut Vec<String>,
) -> Stated {
    if tachometer.is_none() && speed.accuracy.is_empty() {
        warnings.push(format!(
            "line {line}: no accuracy of the speed stated; assumed a limit of 0.1 % and 1 rpm (rectangular)"
        ));
    }
    speed.stated_or(tachometer.unwrap_or_else(assumed_speed_accuracy))
}

/// 0.1 % and 1 rpm.
pub(super) fn assumed_speed_accuracy() -> Accuracy {
    Accuracy::limit_relative(ASSUMED_SPEED_LIMIT).and_limit_absolute(RPM)
}
