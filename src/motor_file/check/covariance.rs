//! The covariance of a file: its order, its shape, its agreement with the standard uncertainties.

use super::fault::{Checked, fault, shown};
use crate::motor_file::{Covariance, MotorFile};

/// Largest relative disagreement between a standard uncertainty and the covariance diagonal, and between mirrored
/// covariances.
const COVARIANCE_TOLERANCE: f64 = 1e-6;

pub(super) fn check_covariance(file: &MotorFile) -> Checked {
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
