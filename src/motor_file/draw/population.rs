//! The motors that a file allows, drawn from its joint distribution (JCGM 101:2008, 6.4): normal in the fit's own coordinates, cut at
//! the physical bounds. A term that the captures do not show (windage, brush drop, armature reaction) may as well be absent, and then all
//! motors would lie on one side of the one that has none of it: every second motor has none of these terms, the rest following.

use super::stated::stated;
use super::{DrawError, ParameterSet};
use crate::motor_file::{Coordinate, Distribution, MotorFile, ParameterName as Name, TermName};
use crate::stats::cut_normal::{CutNormal, Sampler};
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// What follows from the drawn coordinates.
const FOLLOWING: [Name; 10] = [
    Name::RotorInertia,
    Name::CoulombFrictionTorque,
    Name::ViscousFriction,
    Name::Windage,
    Name::InertiaCapacitance,
    Name::FrictionCurrent,
    Name::ViscousConductance,
    Name::ElectricalTimeConstant,
    Name::MechanicalTimeConstant,
    Name::FrictionTorqueAtSpeed,
];

/// The motors that a file allows.
#[derive(Clone, Debug)]
pub struct Population {
    /// The estimate, what follows from the drawn coordinates left to do so.
    base: ParameterSet,
    /// With every term; and without those that may be absent, where there are such.
    models: Vec<Model>,
}

/// The distribution of the motors with some of the terms.
#[derive(Clone, Debug)]
struct Model {
    coordinates: Vec<Coordinate>,
    at: DVector<f64>,
    departures: CutNormal,
    absent: Vec<Coordinate>,
}

impl Population {
    /// Everything that the file's distribution holds; of a file without one, what its parameters and their covariance state.
    ///
    /// # Errors
    /// [`DrawError::NotCovariance`].
    pub fn new(file: &MotorFile) -> Result<Population, DrawError> {
        let distribution = match &file.distribution {
            Some(distribution) => distribution.clone(),
            None => stated(file)?,
        };
        let mut models = vec![Model::new(&distribution, &[])?];
        if !distribution.may_be_absent.is_empty() {
            models.push(Model::new(&distribution, &distribution.may_be_absent)?);
        }
        let base = FOLLOWING
            .into_iter()
            .filter(|name| follows(&distribution, *name))
            .fold(ParameterSet::estimate(file), ParameterSet::without);
        Ok(Population { base, models })
    }

    /// `count` motors; the same seed gives the same motors.
    ///
    /// # Errors
    /// [`DrawError::OutOfReach`].
    pub fn draws(&self, count: usize, seed: u64) -> Result<Vec<ParameterSet>, DrawError> {
        self.motors(seed)?.take(count).collect()
    }

    /// The same motors one after the other, without end.
    ///
    /// # Errors
    /// [`DrawError::NotCovariance`].
    pub fn motors(&self, seed: u64) -> Result<Motors<'_>, DrawError> {
        let samplers = self.models.iter().map(|model| model.departures.sampler());
        Ok(Motors {
            of: self,
            samplers: samplers
                .collect::<Result<_, _>>()
                .map_err(DrawError::NotCovariance)?,
            random: StdRng::seed_from_u64(seed),
            drawn: 0,
        })
    }
}

/// Draws from a population, without end.
pub struct Motors<'a> {
    of: &'a Population,
    /// One a model.
    samplers: Vec<Sampler<'a>>,
    random: StdRng,
    drawn: usize,
}

impl Iterator for Motors<'_> {
    type Item = Result<ParameterSet, DrawError>;

    fn next(&mut self) -> Option<Self::Item> {
        let k = self.drawn % self.samplers.len();
        self.drawn += 1;
        let departure = self.samplers[k].draw(&mut self.random);
        let motor = |departure| self.of.models[k].motor(self.of.base, &departure);
        Some(departure.map(motor).ok_or(DrawError::OutOfReach))
    }
}

/// Whether a parameter follows from the coordinates of a distribution.
fn follows(distribution: &Distribution, name: Name) -> bool {
    let drawn = |name: Name| {
        distribution
            .coordinates
            .contains(&Coordinate::Parameter(name))
    };
    let constant = drawn(Name::BackEmfConstant);
    match name {
        _ if drawn(name) => true,
        Name::RotorInertia => constant && drawn(Name::InertiaCapacitance),
        Name::CoulombFrictionTorque => constant && drawn(Name::FrictionCurrent),
        Name::ViscousFriction => constant && drawn(Name::ViscousConductance),
        Name::Windage => constant,
        Name::InertiaCapacitance => constant && drawn(Name::RotorInertia),
        Name::FrictionCurrent => constant && drawn(Name::CoulombFrictionTorque),
        Name::ViscousConductance => constant && drawn(Name::ViscousFriction),
        _ => true,
    }
}

impl Model {
    fn new(distribution: &Distribution, absent: &[Coordinate]) -> Result<Model, DrawError> {
        let all = 0..distribution.coordinates.len();
        let is_absent = |k: &usize| absent.contains(&distribution.coordinates[*k]);
        let (gone, kept): (Vec<usize>, Vec<usize>) = all.partition(is_absent);
        let information = |a: usize, b: usize| distribution.information[a][b];
        // Given that those that are absent have gone from their estimate to zero.
        let pull = kept.iter().map(|&k| {
            let through = gone.iter().map(|&g| information(k, g) * distribution.at[g]);
            distribution.pull[k] + through.sum::<f64>()
        });
        let coordinates: Vec<Coordinate> =
            kept.iter().map(|&k| distribution.coordinates[k]).collect();
        let lower = kept.iter().map(|&k| {
            let bounded = !distribution.coordinates[k].is_logarithm();
            bounded.then(|| -distribution.at[k])
        });
        let departures = CutNormal::new(
            &DMatrix::from_fn(kept.len(), kept.len(), |a, b| information(kept[a], kept[b])),
            &DVector::from_iterator(kept.len(), pull),
            &lower.collect::<Vec<_>>(),
        )
        .map_err(DrawError::NotCovariance)?;
        Ok(Model {
            coordinates,
            at: DVector::from_iterator(kept.len(), kept.iter().map(|&k| distribution.at[k])),
            departures,
            absent: absent.to_vec(),
        })
    }

    /// The motor at a departure from the estimate.
    fn motor(&self, base: ParameterSet, departure: &DVector<f64>) -> ParameterSet {
        let mut motor = base;
        let at = self.at.iter().zip(departure.iter()).map(|(at, by)| at + by);
        let drawn = self.coordinates.iter().zip(at);
        let drawn = drawn.map(|(coordinate, at)| (*coordinate, coordinate.value(at).max(0.0)));
        let absent = self.absent.iter().map(|coordinate| (*coordinate, 0.0));
        for (coordinate, value) in drawn.chain(absent) {
            match coordinate {
                Coordinate::Parameter(name) => motor.set(name, value),
                Coordinate::Term(TermName::EddyShare) => {
                    motor.set_term(TermName::EddyShare, value.min(LARGEST_SHARE));
                }
                Coordinate::Term(term) => motor.set_term(term, value),
            }
        }
        motor
    }
}

/// Screened share of the inductance beyond which nothing of it would be left at high frequency.
const LARGEST_SHARE: f64 = 0.95;

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

    /// Friction of which only the sum at 20 V is known, and a windage that may be absent: no motor drawn has a negative part, the sum is
    /// kept by every one, and every second has no windage.
    #[test]
    fn draws_keep_a_sum_whose_parts_are_not_known_and_half_have_no_term_that_may_be_absent() {
        let mut file = table::tests::empty();
        let slopes = [1.0, 20.0, 400.0];
        let (sum, sigma) = (0.2, 0.004);
        let row = |a: f64| slopes.map(|b| a * b / (sigma * sigma)).to_vec();
        file.distribution = Some(Distribution {
            coordinates: vec![
                Coordinate::Parameter(Name::FrictionCurrent),
                Coordinate::Parameter(Name::ViscousConductance),
                Coordinate::Term(TermName::WindageAPerV2),
            ],
            at: vec![sum, 0.0, 0.0],
            information: slopes.map(row).to_vec(),
            pull: vec![0.0; 3],
            may_be_absent: vec![Coordinate::Term(TermName::WindageAPerV2)],
        });
        let motors = Population::new(&file)
            .and_then(|population| population.draws(4000, 1))
            .expect("draws");
        let at_20_v: Vec<f64> = motors
            .iter()
            .map(|motor| {
                let [i, g] = values(motor, [Name::FrictionCurrent, Name::ViscousConductance]);
                assert!(i >= 0.0 && g >= 0.0 && motor.windage_a_per_v2() >= 0.0);
                i + 20.0 * g + 400.0 * motor.windage_a_per_v2()
            })
            .collect();
        let count = at_20_v.len() as f64;
        let mean = at_20_v.iter().sum::<f64>() / count;
        let spread = (at_20_v.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / count).sqrt();
        assert_relative_eq!(mean, sum, max_relative = 0.01);
        assert_relative_eq!(spread, sigma, max_relative = 0.1);
        let without = motors
            .iter()
            .filter(|m| m.windage_a_per_v2() == 0.0)
            .count();
        assert_eq!(without, 2000);
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
            assert_relative_eq!(j, 5e-3 * k * k, max_relative = 1e-7);
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
            "back-EMF constant is not determined by this motor file; it would be determined by: one tachometer reading"
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
