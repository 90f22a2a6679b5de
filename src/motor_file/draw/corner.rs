//! A corner of what a file allows: one parameter at an end of its interval, the others at their mean given that.

use super::ParameterSet;
use crate::motor_file::{MotorFile, ParameterName};

/// An end of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The lower bound.
    Low,
    /// The upper bound.
    High,
}

/// The parameters that make a motor; the others in a file follow from them.
pub const MODEL: [ParameterName; 8] = [
    ParameterName::TerminalResistance,
    ParameterName::ArmatureInductance,
    ParameterName::BackEmfConstant,
    ParameterName::CoulombFrictionTorque,
    ParameterName::ViscousFriction,
    ParameterName::Windage,
    ParameterName::RotorInertia,
    ParameterName::BrushDrop,
];

/// Why there is no corner.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CornerError {
    /// The parameter has no interval.
    #[error("`{0}` has no value in this motor file, so it has no end to take")]
    NoEnd(&'static str),
    /// Another parameter would leave its physical range.
    #[error(
        "at that corner {name} would be {value:e}, outside what a motor can have; the bound is too wide for a corner, use --samples"
    )]
    Outside {
        /// Key of that parameter.
        name: &'static str,
        /// What it would be.
        value: f64,
    },
    /// A parameter of the model has no value.
    #[error("{} is not determined by this motor file", .0.label())]
    Undetermined(ParameterName),
}

/// One parameter at an end of its interval, those of [`MODEL`] at their mean given that (regression on the covariance), so that the
/// corner is a motor the captures allow.
///
/// # Errors
/// [`CornerError`].
pub fn corner(
    file: &MotorFile,
    name: ParameterName,
    end: End,
) -> Result<ParameterSet, CornerError> {
    let estimate = ParameterSet::estimate(file);
    let shift = shift(file, name, end)?;
    // What the terminals see follows from the moved parameters.
    let mut corner = [
        ParameterName::InertiaCapacitance,
        ParameterName::FrictionCurrent,
        ParameterName::ViscousConductance,
    ]
    .into_iter()
    .fold(estimate, ParameterSet::without);
    for model in MODEL {
        let value = estimate.value(model).map_err(CornerError::Undetermined)?;
        let moved = if model == name {
            shift.end
        } else if shift.variance > 0.0 {
            let between = file.covariance.between(model, name).unwrap_or(0.0);
            value + between / shift.variance * (shift.end - shift.value)
        } else {
            value
        };
        let possible = moved > 0.0 || (moved == 0.0 && model.may_be_zero());
        // A friction term that the regression pushes below zero stops at its physical bound.
        let moved = match possible {
            true => moved,
            false if model.may_be_zero() && model != name => 0.0,
            false => {
                return Err(CornerError::Outside {
                    name: model.key(),
                    value: moved,
                });
            }
        };
        corner = corner.with(model, moved);
    }
    Ok(corner)
}

/// The parameter that is moved: from its value to an end.
struct Shift {
    value: f64,
    end: f64,
    variance: f64,
}

fn shift(file: &MotorFile, name: ParameterName, end: End) -> Result<Shift, CornerError> {
    let none = CornerError::NoEnd(name.key());
    let parameter = file.parameters.get(&name).ok_or(none.clone())?;
    let bound = match end {
        End::Low => parameter.lower,
        End::High => parameter.upper,
    };
    match (parameter.value, parameter.standard_uncertainty, bound) {
        (Some(value), Some(uncertainty), Some(end)) => Ok(Shift {
            value,
            end,
            variance: uncertainty * uncertainty,
        }),
        _ => Err(none),
    }
}
