//! The covariance of a file: its order, its shape, its agreement with the standard uncertainties.

use super::fault::{Checked, fault, shown};
use crate::motor_file::{Covariance, MotorFile};

/// Largest relative disagreement between a standard uncertainty and the covariance diagonal, and between mirrored
/// covariances.
const COVARIANCE_TOLERANCE: f64 = 1e-6;

pub(super) fn check_covariance(file: &MotorFile) -> Checked {
    check_order(file)?;
    check_shape(&file.covariance)?;
    (0..file.covariance.order.len()).try_for_each(|row| {
        check_diagonal(file, row)?;
        check_below_diagonal(&file.covariance.matrix, row)
    })
}

fn place(row: usize, column: usize) -> String {
    format!("covariance.matrix[{row}][{column}]")
}

fn check_order(file: &MotorFile) -> Checked {
    let order = &file.covariance.order;
    for (row, name) in order.iter().enumerate() {
        let place = || format!("covariance.order[{row}]");
        if order[..row].contains(name) {
            return fault(
                place(),
                format!("`{}` again", name.key()),
                "each parameter once",
            );
        }
        if file.value(*name).is_none() {
            return fault(
                place(),
                format!("`{}`, which has no value", name.key()),
                "only parameters with a value",
            );
        }
    }
    Ok(())
}

fn check_shape(covariance: &Covariance) -> Checked {
    let Covariance { order, matrix } = covariance;
    let expected = || format!("{}, one a name of `order`", order.len());
    if matrix.len() != order.len() {
        return fault(
            "covariance.matrix",
            format!("{} rows", matrix.len()),
            expected(),
        );
    }
    for (row, values) in matrix.iter().enumerate() {
        if values.len() != order.len() {
            return fault(
                format!("covariance.matrix[{row}]"),
                format!("{} numbers", values.len()),
                expected(),
            );
        }
        if let Some(column) = values.iter().position(|value| !value.is_finite()) {
            return fault(place(row, column), shown(values[column]), "a finite number");
        }
    }
    Ok(())
}

fn check_diagonal(file: &MotorFile, row: usize) -> Checked {
    let Covariance { order, matrix } = &file.covariance;
    let name = order[row];
    let uncertainty = file.parameters[&name].standard_uncertainty.unwrap_or(0.0);
    let (diagonal, expected) = (matrix[row][row], uncertainty * uncertainty);
    if (diagonal - expected).abs() > COVARIANCE_TOLERANCE * expected {
        return fault(
            place(row, row),
            shown(diagonal),
            format!(
                "{}, the square of the standard uncertainty of `{}`",
                shown(expected),
                name.key()
            ),
        );
    }
    Ok(())
}

fn check_below_diagonal(matrix: &[Vec<f64>], row: usize) -> Checked {
    for column in 0..row {
        let scale = (matrix[row][row] * matrix[column][column]).sqrt();
        let (one, other) = (matrix[row][column], matrix[column][row]);
        if (one - other).abs() > COVARIANCE_TOLERANCE * scale {
            return fault(
                place(row, column),
                shown(one),
                format!("{}, as at [{column}][{row}]", shown(other)),
            );
        }
        if one.abs() > scale * (1.0 + COVARIANCE_TOLERANCE) {
            return fault(
                place(row, column),
                shown(one),
                format!(
                    "a size of at most {}: no correlation exceeds 1",
                    shown(scale)
                ),
            );
        }
    }
    Ok(())
}
