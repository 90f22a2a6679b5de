//! The joint distribution of a file: its shape, its numbers, its symmetry.

use super::fault::{Checked, fault, shown};
use crate::motor_file::{Distribution, MotorFile};

pub(super) fn check_distribution(file: &MotorFile) -> Checked {
    let Some(distribution) = &file.distribution else {
        return Ok(());
    };
    check_lengths(distribution)?;
    let Distribution {
        coordinates,
        at,
        information,
        pull,
        may_be_absent,
    } = distribution;
    for (row, coordinate) in coordinates.iter().enumerate() {
        if coordinates[..row].contains(coordinate) {
            let place = format!("distribution.coordinates[{row}]");
            return fault(
                place,
                format!("{coordinate:?} again"),
                "each coordinate once",
            );
        }
    }
    for (row, term) in may_be_absent.iter().enumerate() {
        if term.is_logarithm() || !coordinates.contains(term) {
            let place = format!("distribution.may_be_absent[{row}]");
            let expected = "a coordinate of `coordinates` that may be zero";
            return fault(place, format!("{term:?}"), expected);
        }
    }
    for (key, numbers) in [("at", at), ("pull", pull)] {
        if let Some(row) = numbers.iter().position(|number| !number.is_finite()) {
            let place = format!("distribution.{key}[{row}]");
            return fault(place, shown(numbers[row]), "a finite number");
        }
    }
    for (row, values) in information.iter().enumerate() {
        for (column, value) in values.iter().enumerate() {
            let place = || format!("distribution.information[{row}][{column}]");
            if !value.is_finite() {
                return fault(place(), shown(*value), "a finite number");
            }
            let mirrored = information[column][row];
            if *value != mirrored {
                let expected = format!("{}, as at [{column}][{row}]", shown(mirrored));
                return fault(place(), shown(*value), expected);
            }
            if row == column && *value <= 0.0 {
                return fault(place(), shown(*value), "a number above zero");
            }
        }
    }
    Ok(())
}

fn check_lengths(distribution: &Distribution) -> Checked {
    let expected = distribution.coordinates.len();
    let lengths = [
        ("at", distribution.at.len()),
        ("pull", distribution.pull.len()),
        ("information", distribution.information.len()),
    ];
    let rows = distribution.information.iter().map(Vec::len);
    let all = lengths
        .into_iter()
        .chain(rows.map(|row| ("information", row)));
    for (key, found) in all {
        if found != expected {
            return fault(
                format!("distribution.{key}"),
                format!("{found} entries"),
                format!("{expected}, one a coordinate"),
            );
        }
    }
    Ok(())
}
