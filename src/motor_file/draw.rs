//! Motors drawn from the covariance, for tolerance studies and for propagation by Monte Carlo (JCGM 101:2008, 6.4.8:
//! multivariate normal). Draws that leave the physical range (a resistance not above zero, a negative friction) are
//! drawn again, so the distribution is the normal one cut at the physical bounds.

use super::{MotorFile, ParameterName, Status};
use crate::stats::StatsError;
use crate::stats::covariance::NormalVectors;
use nalgebra::{DMatrix, DVector};
use rand::Rng;

/// Draws refused in a row before the bounds are taken to be out of reach.
const MOST_REFUSALS: usize = 10_000;

/// Why nothing can be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DrawError {
    /// A parameter that is needed has no value.
    #[error("{} is not determined by this motor file{}", name.words(), settle(suggestion.as_deref()))]
    Undetermined {
        name: ParameterName,
        suggestion: Option<String>,
    },
    #[error("the covariance of this motor file is none: {0}")]
    NotCovariance(StatsError),
    #[error("{MOST_REFUSALS} draws in a row left the physical range: {} is known too badly to draw from", name.words())]
    OutOfReach { name: ParameterName },
}

fn settle(suggestion: Option<&str>) -> String {
    suggestion.map_or(String::new(), |text| {
        format!("; what would settle it: {text}")
    })
}

/// Value of a parameter that a consumer needs. A friction term or brush drop that the file does not hold is no part of
/// the model and counts as 0; whatever else is absent or undetermined is an error.
///
/// # Errors
/// [`DrawError::Undetermined`].
pub fn needed(file: &MotorFile, name: ParameterName) -> Result<f64, DrawError> {
    match file.parameters.get(&name) {
        None if name.may_be_zero() => Ok(0.0),
        Some(parameter)
            if parameter.status != Status::Undetermined && parameter.value.is_some() =>
        {
            Ok(parameter.value.unwrap_or_default())
        }
        other => Err(DrawError::Undetermined {
            name,
            suggestion: other.and_then(|parameter| parameter.suggestion.clone()),
        }),
    }
}

/// The joint distribution of some parameters of one motor.
#[derive(Clone, Debug)]
pub struct Population {
    names: Vec<ParameterName>,
    vectors: NormalVectors,
}

impl Population {
    /// Distribution of `names`, in that order. A parameter that the covariance does not list is taken as
    /// uncorrelated with its own standard uncertainty.
    ///
    /// # Errors
    /// [`DrawError::Undetermined`], [`DrawError::NotCovariance`].
    pub fn new(file: &MotorFile, names: &[ParameterName]) -> Result<Population, DrawError> {
        let mut mean = Vec::with_capacity(names.len());
        for name in names {
            mean.push(needed(file, *name)?);
        }
        let covariance = covariance(file, names);
        let vectors = NormalVectors::new(DVector::from_vec(mean), &covariance)
            .map_err(DrawError::NotCovariance)?;
        Ok(Population {
            names: names.to_vec(),
            vectors,
        })
    }

    /// One motor: values in SI units in the order of the names given to [`Population::new`].
    ///
    /// # Errors
    /// [`DrawError::OutOfReach`].
    pub fn draw(&self, random: &mut impl Rng) -> Result<Vec<f64>, DrawError> {
        let mut outside = None;
        for _ in 0..MOST_REFUSALS {
            let motor = self.vectors.draw(random);
            outside = self
                .names
                .iter()
                .zip(motor.iter())
                .find(|(name, value)| !(**value > 0.0 || (**value == 0.0 && name.may_be_zero())))
                .map(|(name, _)| *name);
            if outside.is_none() {
                return Ok(motor.iter().copied().collect());
            }
        }
        Err(DrawError::OutOfReach {
            name: outside.unwrap_or(ParameterName::TerminalResistance),
        })
    }
}

/// Covariance of `names` in SI units, square, in that order; absent terms count as exactly 0.
pub fn covariance(file: &MotorFile, names: &[ParameterName]) -> DMatrix<f64> {
    DMatrix::from_fn(names.len(), names.len(), |row, column| {
        let listed = file.covariance.between(names[row], names[column]);
        let own = || {
            let parameter = file.parameters.get(&names[row])?;
            Some(parameter.standard_uncertainty?.powi(2))
        };
        match (listed, row == column) {
            (Some(value), _) => value,
            (None, true) => own().unwrap_or(0.0),
            (None, false) => 0.0,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::super::{Covariance, Parameter, table};
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;
    use rand::rngs::StdRng;

    fn file() -> MotorFile {
        use ParameterName as Name;
        let mut file = table::tests::empty();
        for (name, value, uncertainty) in [
            (Name::TerminalResistance, 3.0, 0.03),
            (Name::RotorInertia, 2e-6, 4e-8),
            (Name::BrushDrop, 0.1, 0.1),
        ] {
            let interval = (
                0.0_f64.max(value - 2.0 * uncertainty),
                value + 2.0 * uncertainty,
            );
            file.parameters.insert(
                name,
                Parameter::measured(name, value, uncertainty, interval, 0.95),
            );
        }
        let (r, j) = (0.03, 4e-8);
        file.covariance = Covariance {
            order: vec![Name::RotorInertia, Name::TerminalResistance],
            matrix: vec![vec![j * j, -0.8 * j * r], vec![-0.8 * j * r, r * r]],
        };
        file
    }

    #[test]
    fn draws_have_the_mean_spread_and_correlation_of_the_file() {
        let names = [
            ParameterName::TerminalResistance,
            ParameterName::RotorInertia,
        ];
        let population = Population::new(&file(), &names).expect("population");
        let mut random = StdRng::seed_from_u64(7);
        let count = 20_000;
        let (mut sum, mut squares, mut cross) = ([0.0; 2], [0.0; 2], 0.0);
        for _ in 0..count {
            let draw = population.draw(&mut random).expect("draw");
            let z = [(draw[0] - 3.0) / 0.03, (draw[1] - 2e-6) / 4e-8];
            for k in 0..2 {
                sum[k] += z[k];
                squares[k] += z[k] * z[k];
            }
            cross += z[0] * z[1];
        }
        let count = f64::from(count);
        // Four standard deviations of the respective estimate.
        for k in 0..2 {
            assert!((sum[k] / count).abs() < 4.0 / count.sqrt());
            assert!((squares[k] / count - 1.0).abs() < 4.0 * (2.0 / count).sqrt());
        }
        assert!((cross / count + 0.8).abs() < 4.0 * 1.28 / count.sqrt());
    }

    #[test]
    fn draws_stay_in_the_physical_range_and_repeat_with_the_seed() {
        let names = [ParameterName::BrushDrop, ParameterName::Windage];
        let population = Population::new(&file(), &names).expect("population");
        let draws = |seed| {
            let mut random = StdRng::seed_from_u64(seed);
            (0..500)
                .map(|_| population.draw(&mut random).expect("draw"))
                .collect::<Vec<_>>()
        };
        assert!(draws(1).iter().all(|draw| draw[0] >= 0.0 && draw[1] == 0.0));
        assert_eq!(draws(1), draws(1));
        assert_ne!(draws(1), draws(2));
    }

    #[test]
    fn what_is_undetermined_stops_the_drawing_with_the_reason() {
        let mut file = file();
        let name = ParameterName::BackEmfConstant;
        let error = Population::new(&file, &[name]).expect_err("absent");
        assert_eq!(
            error.to_string(),
            "back-EMF constant is not determined by this motor file"
        );
        file.parameters.insert(
            name,
            Parameter::undetermined(name, "one tachometer reading"),
        );
        let error = Population::new(&file, &[name]).expect_err("undetermined");
        assert_eq!(
            error.to_string(),
            "back-EMF constant is not determined by this motor file; what would settle it: one tachometer reading"
        );
    }

    #[test]
    fn a_covariance_that_is_none_is_refused() {
        use ParameterName as Name;
        let mut file = file();
        let name = Name::ArmatureInductance;
        file.parameters.insert(
            name,
            Parameter::measured(name, 1e-3, 1e-4, (0.8e-3, 1.2e-3), 0.95),
        );
        let u = [4e-8, 0.03, 1e-4];
        let r = [[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]];
        file.covariance = Covariance {
            order: vec![Name::RotorInertia, Name::TerminalResistance, name],
            matrix: (0..3)
                .map(|k| (0..3).map(|m| r[k][m] * u[k] * u[m]).collect())
                .collect(),
        };
        let order = file.covariance.order.clone();
        match Population::new(&file, &order) {
            // 1 - 2·0.9
            Err(DrawError::NotCovariance(StatsError::NotPositiveSemidefinite { eigenvalue })) => {
                assert_relative_eq!(eigenvalue, -0.8, max_relative = 1e-9);
            }
            other => panic!("{other:?}"),
        }
    }
}
