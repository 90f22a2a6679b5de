//! The distribution that the parameters of a file state by themselves, for a file that holds none: normal with their covariance, in first
//! order (JCGM 100:2008, 5.2).

use super::DrawError;
use crate::motor_file::{Coordinate, Distribution, MotorFile, ParameterName as Name, Status};
use crate::stats::covariance::NormalVectors;
use nalgebra::{DMatrix, DVector};

/// What is drawn, in this order: a parameter, or its counterpart on the mechanical side of K where the file lacks it.
const DRAWN: [(Name, Option<Name>); 8] = [
    (Name::TerminalResistance, None),
    (Name::ArmatureInductance, None),
    (Name::InertiaCapacitance, Some(Name::RotorInertia)),
    (Name::FrictionCurrent, Some(Name::CoulombFrictionTorque)),
    (Name::ViscousConductance, Some(Name::ViscousFriction)),
    (Name::BrushDrop, None),
    (Name::BackEmfConstant, None),
    (Name::Windage, None),
];

/// Least relative standard uncertainty with which a parameter is drawn: what a file calls exact has next to none.
const EXACT: f64 = 1e-9;

/// Value and standard uncertainty of a parameter that has both.
fn known(file: &MotorFile, name: Name) -> Option<(f64, f64)> {
    let parameter = file.parameters.get(&name)?;
    let determined = parameter.status != Status::Undetermined;
    let value = parameter.value?;
    let u = parameter.standard_uncertainty?.max(EXACT * value.abs());
    (determined && u > 0.0).then_some((value, u))
}

/// A parameter that the covariance does not list is taken as uncorrelated with its own standard uncertainty.
///
/// # Errors
/// [`DrawError::NotCovariance`].
pub(super) fn stated(file: &MotorFile) -> Result<Distribution, DrawError> {
    let names: Vec<Name> = DRAWN
        .into_iter()
        .filter_map(|(name, counterpart)| {
            let own = [Some(name), counterpart].into_iter().flatten();
            own.into_iter().find(|name| known(file, *name).is_some())
        })
        .collect();
    let coordinates: Vec<Coordinate> = names.iter().copied().map(Coordinate::Parameter).collect();
    // Slope of the coordinate.
    let slopes: Vec<f64> = names
        .iter()
        .zip(&coordinates)
        .map(|(name, coordinate)| match known(file, *name) {
            Some((value, _)) if coordinate.is_logarithm() => 1.0 / value,
            _ => 1.0,
        })
        .collect();
    let n = names.len();
    let covariance = DMatrix::from_fn(n, n, |row, column| {
        let listed = file.covariance.between(names[row], names[column]);
        let own = || known(file, names[row]).map_or(0.0, |(_, u)| u * u);
        let value = match (listed, row == column) {
            (Some(value), true) => value.max(own()),
            (Some(value), false) => value,
            (None, true) => own(),
            (None, false) => 0.0,
        };
        slopes[row] * value * slopes[column]
    });
    if n == 0 {
        return Ok(Distribution {
            coordinates,
            at: Vec::new(),
            information: Vec::new(),
            pull: Vec::new(),
            may_be_absent: Vec::new(),
        });
    }
    NormalVectors::new(DVector::zeros(n), &covariance).map_err(DrawError::NotCovariance)?;
    let information = inverse(&covariance);
    Ok(Distribution {
        at: names
            .iter()
            .zip(&coordinates)
            .map(|(name, coordinate)| match known(file, *name) {
                Some((value, _)) if coordinate.is_logarithm() => value.ln(),
                Some((value, _)) => value,
                None => 0.0,
            })
            .collect(),
        information: (0..n)
            .map(|row| information.row(row).iter().copied().collect())
            .collect(),
        pull: vec![0.0; n],
        coordinates,
        may_be_absent: Vec::new(),
    })
}

/// Inverse of a covariance, its diagonal scaled to one; quantities that move together entirely get next to no freedom.
fn inverse(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let n = covariance.nrows();
    let scale: Vec<f64> = (0..n).map(|k| covariance[(k, k)].sqrt()).collect();
    let scaled = DMatrix::from_fn(n, n, |a, b| covariance[(a, b)] / (scale[a] * scale[b]));
    let eigen = scaled.symmetric_eigen();
    let values = DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| 1.0 / v.max(1e-10)));
    let found = &eigen.eigenvectors * values * eigen.eigenvectors.transpose();
    DMatrix::from_fn(n, n, |a, b| {
        0.5 * (found[(a, b)] + found[(b, a)]) / (scale[a] * scale[b])
    })
}
