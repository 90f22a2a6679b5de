//! The covariance of a file and its joint distribution: order, shape, symmetry, agreement with the standard uncertainties.

use super::ensure::{Checked, ensure, shown};
use crate::motor_file::{Distribution, MotorFile};

/// Largest relative disagreement between a standard uncertainty and the covariance diagonal, and between mirrored
/// covariances.
const COVARIANCE_TOLERANCE: f64 = 1e-6;

pub(super) fn check_covariance(file: &MotorFile) -> Checked {
    let (order, matrix) = (&file.covariance.order, &file.covariance.matrix);
    for (row, name) in order.iter().enumerate() {
        let (place, key) = (format!("covariance.order[{row}]"), name.key());
        let once = !order[..row].contains(name);
        ensure(
            once,
            &place,
            format!("`{key}` again"),
            "each parameter once",
        )?;
        let found = format!("`{key}`, which has no value");
        let expected = "only parameters with a value";
        ensure(file.value(*name).is_some(), place, found, expected)?;
    }
    let expected = format!("{}, one a name of `order`", order.len());
    let rows = format!("{} rows", matrix.len());
    ensure(
        matrix.len() == order.len(),
        "covariance.matrix",
        rows,
        &expected,
    )?;
    for (row, values) in matrix.iter().enumerate() {
        let found = format!("{} numbers", values.len());
        let place = format!("covariance.matrix[{row}]");
        ensure(values.len() == order.len(), place, found, &expected)?;
    }
    for row in 0..order.len() {
        let place = |column: usize| format!("covariance.matrix[{row}][{column}]");
        let uncertainty = file.parameters[&order[row]].standard_uncertainty;
        let square = uncertainty.unwrap_or(0.0).powi(2);
        let diagonal = matrix[row][row];
        ensure(
            (diagonal - square).abs() <= COVARIANCE_TOLERANCE * square,
            place(row),
            shown(diagonal),
            format!(
                "{}, the square of the standard uncertainty of `{}`",
                shown(square),
                order[row].key()
            ),
        )?;
        for (column, across) in matrix[..row].iter().enumerate() {
            let scale = (diagonal * across[column]).sqrt();
            let (one, other) = (matrix[row][column], across[row]);
            let expected = format!("{}, as at [{column}][{row}]", shown(other));
            let mirrored = (one - other).abs() <= COVARIANCE_TOLERANCE * scale;
            ensure(mirrored, place(column), shown(one), expected)?;
            let expected = format!(
                "a size of at most {}: no correlation exceeds 1",
                shown(scale)
            );
            let possible = one.abs() <= scale * (1.0 + COVARIANCE_TOLERANCE);
            ensure(possible, place(column), shown(one), expected)?;
        }
    }
    Ok(())
}

pub(super) fn check_distribution(file: &MotorFile) -> Checked {
    let Some(distribution) = &file.distribution else {
        return Ok(());
    };
    let Distribution {
        coordinates,
        at,
        information,
        pull,
        may_be_absent,
    } = distribution;
    let lengths = [
        ("at", at.len()),
        ("pull", pull.len()),
        ("information", information.len()),
    ];
    let rows = information.iter().map(|row| ("information", row.len()));
    for (key, found) in lengths.into_iter().chain(rows) {
        let expected = format!("{}, one a coordinate", coordinates.len());
        let good = found == coordinates.len();
        ensure(
            good,
            format!("distribution.{key}"),
            format!("{found} entries"),
            expected,
        )?;
    }
    for (row, coordinate) in coordinates.iter().enumerate() {
        ensure(
            !coordinates[..row].contains(coordinate),
            format!("distribution.coordinates[{row}]"),
            format!("{coordinate:?} again"),
            "each coordinate once",
        )?;
    }
    for (row, term) in may_be_absent.iter().enumerate() {
        ensure(
            !term.is_logarithm() && coordinates.contains(term),
            format!("distribution.may_be_absent[{row}]"),
            format!("{term:?}"),
            "a coordinate of `coordinates` that may be zero",
        )?;
    }
    for (row, values) in information.iter().enumerate() {
        for (column, value) in values.iter().enumerate() {
            let place = format!("distribution.information[{row}][{column}]");
            let mirrored = information[column][row];
            let expected = format!("{}, as at [{column}][{row}]", shown(mirrored));
            ensure(*value == mirrored, &place, shown(*value), expected)?;
            let good = row != column || *value > 0.0;
            ensure(good, place, shown(*value), "a number above zero")?;
        }
    }
    Ok(())
}
