//! The joint distribution of the motors that a file allows (JCGM 101:2008, 6.4.8: multivariate normal). Draws that leave the physical
//! range (a resistance not above zero, a negative friction) are drawn again, so the distribution is the normal one cut at the
//! physical bounds.
//!
//! What the terminals see is drawn where the file has it (C_m, I_c, G_v: the fit's own parameters), the mechanical side follows with
//! the drawn K; a file without it is drawn by its mechanical parameters.

use super::{DrawError, ParameterSet};
use crate::motor_file::{MotorFile, ParameterName as Name};
use crate::stats::covariance::NormalVectors;
use nalgebra::{DMatrix, DVector};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// Draws refused in a row before the bounds are taken to be out of reach.
pub(super) const MOST_REFUSALS: usize = 10_000;

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

/// The motors that a file allows.
#[derive(Clone, Debug)]
pub struct Population {
    /// The estimate, what follows from the drawn parameters left to do so.
    base: ParameterSet,
    names: Vec<Name>,
    vectors: NormalVectors,
}

impl Population {
    /// Everything that the file determines. A parameter that the covariance does not list is taken as uncorrelated with its own
    /// standard uncertainty.
    ///
    /// # Errors
    /// [`DrawError::NotCovariance`].
    pub fn new(file: &MotorFile) -> Result<Population, DrawError> {
        let mut base = ParameterSet::estimate(file);
        let mut names = Vec::with_capacity(DRAWN.len());
        let mut mean = Vec::with_capacity(DRAWN.len());
        for (name, counterpart) in DRAWN {
            let drawn = match counterpart {
                Some(counterpart) if base.own(name).is_none() => counterpart,
                _ => name,
            };
            let Some(value) = base.own(drawn) else {
                continue;
            };
            if let Some(follows) = counterpart.filter(|follows| *follows != drawn) {
                base = base.without(follows);
            }
            names.push(drawn);
            mean.push(value);
        }
        let covariance = covariance(file, &names);
        let vectors = NormalVectors::new(DVector::from_vec(mean), &covariance)
            .map_err(DrawError::NotCovariance)?;
        Ok(Population {
            base,
            names,
            vectors,
        })
    }

    /// `count` motors; the same seed gives the same motors.
    ///
    /// # Errors
    /// [`DrawError::OutOfReach`].
    pub fn draws(&self, count: usize, seed: u64) -> Result<Vec<ParameterSet>, DrawError> {
        let mut random = StdRng::seed_from_u64(seed);
        (0..count).map(|_| self.draw(&mut random)).collect()
    }

    /// One motor.
    fn draw(&self, random: &mut impl Rng) -> Result<ParameterSet, DrawError> {
        let mut outside = None;
        for _ in 0..MOST_REFUSALS {
            let motor = self.vectors.draw(random);
            let drawn = || self.names.iter().zip(motor.iter());
            outside = drawn()
                .find(|(name, value)| !(**value > 0.0 || (**value == 0.0 && name.may_be_zero())))
                .map(|(name, _)| *name);
            if outside.is_none() {
                return Ok(drawn().fold(self.base, |set, (name, value)| set.with(*name, *value)));
            }
        }
        Err(DrawError::OutOfReach {
            name: outside.unwrap_or(Name::TerminalResistance),
        })
    }
}

/// Covariance of `names` in SI units, square, in that order; absent terms count as exactly 0.
pub fn covariance(file: &MotorFile, names: &[Name]) -> DMatrix<f64> {
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
    use super::super::super::{Covariance, Parameter, table};
    use super::*;
    use crate::stats::StatsError;
    use approx::assert_relative_eq;

    fn file() -> MotorFile {
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

    fn values(motor: &ParameterSet, names: [Name; 2]) -> [f64; 2] {
        names.map(|name| motor.value(name).expect("drawn"))
    }

    #[test]
    fn draws_have_the_mean_spread_and_correlation_of_the_file() {
        let count = 20_000;
        let motors = Population::new(&file())
            .and_then(|population| population.draws(count, 7))
            .expect("draws");
        let (mut sum, mut squares, mut cross) = ([0.0; 2], [0.0; 2], 0.0);
        for motor in &motors {
            let [r, j] = values(motor, [Name::TerminalResistance, Name::RotorInertia]);
            let z = [(r - 3.0) / 0.03, (j - 2e-6) / 4e-8];
            for k in 0..2 {
                sum[k] += z[k];
                squares[k] += z[k] * z[k];
            }
            cross += z[0] * z[1];
        }
        let count = count as f64;
        // Four standard deviations of the respective estimate.
        for k in 0..2 {
            assert!((sum[k] / count).abs() < 4.0 / count.sqrt());
            assert!((squares[k] / count - 1.0).abs() < 4.0 * (2.0 / count).sqrt());
        }
        assert!((cross / count + 0.8).abs() < 4.0 * 1.28 / count.sqrt());
    }

    #[test]
    fn draws_stay_in_the_physical_range_and_repeat_with_the_seed() {
        let population = Population::new(&file()).expect("population");
        let draws = |seed| {
            let motors = population.draws(500, seed).expect("draws");
            let names = [Name::BrushDrop, Name::Windage];
            motors
                .iter()
                .map(|motor| values(motor, names))
                .collect::<Vec<_>>()
        };
        assert!(draws(1).iter().all(|draw| draw[0] >= 0.0 && draw[1] == 0.0));
        assert_eq!(draws(1), draws(1));
        assert_ne!(draws(1), draws(2));
    }

    #[test]
    fn the_mechanical_side_follows_with_the_drawn_constant() {
        let mut file = file();
        for (name, value, uncertainty) in [
            (Name::BackEmfConstant, 0.02, 4e-4),
            (Name::InertiaCapacitance, 5e-3, 0.0),
        ] {
            let ends = (value - 2.0 * uncertainty, value + 2.0 * uncertainty);
            let parameter = Parameter::measured(name, value, uncertainty, ends, 0.95);
            file.parameters.insert(name, parameter);
        }
        let population = Population::new(&file).expect("population");
        for motor in population.draws(20, 3).expect("draws") {
            let [k, j] = values(&motor, [Name::BackEmfConstant, Name::RotorInertia]);
            assert_relative_eq!(j, 5e-3 * k * k, max_relative = 1e-12);
        }
    }

    #[test]
    fn what_is_undetermined_is_told_with_the_reason() {
        let mut file = file();
        let name = Name::BackEmfConstant;
        let missing = |file: &MotorFile| {
            let missing = ParameterSet::estimate(file).value(name).expect_err("none");
            DrawError::undetermined(file, missing).to_string()
        };
        assert_eq!(
            missing(&file),
            "back-EMF constant is not determined by this motor file"
        );
        file.parameters.insert(
            name,
            Parameter::undetermined(name, "one tachometer reading"),
        );
        assert_eq!(
            missing(&file),
            "back-EMF constant is not determined by this motor file; what would settle it: one tachometer reading"
        );
    }

    #[test]
    fn a_covariance_that_is_none_is_refused() {
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
        file.parameters.remove(&Name::BrushDrop);
        match Population::new(&file) {
            // 1 - 2·0.9
            Err(DrawError::NotCovariance(StatsError::NotPositiveSemidefinite { eigenvalue })) => {
                assert_relative_eq!(eigenvalue, -0.8, max_relative = 1e-9);
            }
            other => panic!("{other:?}"),
        }
    }
}
