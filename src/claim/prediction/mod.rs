//! Each entry of a sheet as the motor file predicts it at the sheet's conditions, with full covariance.
//!
//! Inputs are the parameters of the model with their joint covariance, and four more of their own: the temperatures of winding and
//! magnets when the captures were taken, and the temperature coefficients with which R and K are brought to the sheet's reference
//! temperature. Propagation is first order (JCGM 100:2008, 5.2.2) and is checked by Monte Carlo (JCGM 101:2008, clause 8); where the
//! two disagree the drawn distribution is used.
//!
//! Without a speed anchor K, J, T_c and B are undetermined, yet currents, powers, the efficiency and the time constants depend on
//! them only through J/K², T_c/K and B/K². Those entries are predicted from the terminal-domain parameters.

mod conditions;
mod value;

use super::conformity::{Knowledge, Limits, conformance_probability};
use super::entry::Entry;
use super::sheet::{Sheet, Stall};
use crate::motor_file::draw::{DrawError, ParameterSet, Population, covariance};
use crate::motor_file::{MotorFile, ParameterName as Name};
use crate::stats::monte_carlo::Outcomes;
use conditions::{Conditions, Deviations};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};
use value::{depends_on, is_terminal};

/// Motors drawn for the Monte Carlo check. A conformance probability near 0.95 is then known to 0.003.
pub const DRAWS: usize = 4000;

/// The first-order result stands when its standard uncertainty is within this share of the drawn one, and its estimate
/// within this share of the uncertainty.
const FIRST_ORDER_SLACK: f64 = 0.1;

/// Share of the drawn motors that may not turn before an entry is not predicted.
const MOST_HELD: f64 = 0.01;

/// How the uncertainty was propagated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// By slopes and covariance.
    FirstOrder,
    /// By drawn motors.
    MonteCarlo,
}

/// One predicted entry, SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// Estimate and standard uncertainty.
    pub knowledge: Knowledge,
    /// How they were found.
    pub method: Method,
    drawn: Outcomes,
}

impl Prediction {
    /// Probability that the entry lies within `limits`.
    pub fn conformance_probability(&self, limits: Limits) -> f64 {
        match self.method {
            Method::FirstOrder => conformance_probability(self.knowledge, limits),
            Method::MonteCarlo => self.drawn.share(|value| limits.contain(value)),
        }
    }
}

/// Why an entry cannot be predicted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CannotPredict {
    /// Undetermined, or nothing can be drawn.
    #[error(transparent)]
    Draw(#[from] DrawError),
    /// The motor of the estimates does not turn.
    #[error("the motor of this file would not turn at the nominal voltage under that load")]
    HeldByFriction,
    /// Too many of the drawn motors do not turn.
    #[error(
        "{share:.1} % of the motors that this file allows would not turn at the nominal voltage under that load"
    )]
    OftenHeldByFriction {
        /// In percent.
        share: f64,
    },
}

/// Predicts entries of one sheet from one motor file.
pub struct Predictor<'a> {
    file: &'a MotorFile,
    sheet: &'a Sheet,
    estimate: ParameterSet,
    conditions: Conditions,
    /// Motors that the file allows, each with its own deviations of the conditions.
    drawn: Result<Vec<(ParameterSet, Deviations)>, DrawError>,
}

impl<'a> Predictor<'a> {
    /// `seed` makes the drawn motors repeat.
    pub fn new(file: &'a MotorFile, sheet: &'a Sheet, seed: u64) -> Predictor<'a> {
        let motors = Population::new(file).and_then(|population| population.draws(DRAWS, seed));
        // A generator of its own, so that the motors are those that every other command draws.
        let mut random = StdRng::seed_from_u64(!seed);
        let mut deviations = || [(); 4].map(|()| StandardNormal.sample(&mut random));
        Predictor {
            file,
            sheet,
            estimate: ParameterSet::estimate(file),
            conditions: Conditions::new(file),
            drawn: motors.map(|motors| {
                let with_conditions = |motor| (motor, deviations());
                motors.into_iter().map(with_conditions).collect()
            }),
        }
    }

    /// What was taken for granted.
    pub fn notes(&self) -> Vec<String> {
        self.conditions.note().into_iter().collect()
    }

    /// Predicts one entry.
    ///
    /// # Errors
    /// [`CannotPredict`].
    pub fn predict(&self, entry: Entry) -> Result<Prediction, CannotPredict> {
        let first_order = self.first_order(entry)?;
        let drawn = self.drawn(entry)?;
        let (mean, spread) = (drawn.mean(), drawn.standard_uncertainty());
        let alike = (first_order.standard_uncertainty - spread).abs() <= FIRST_ORDER_SLACK * spread
            && (first_order.estimate - mean).abs() <= FIRST_ORDER_SLACK * spread;
        // Without any spread both are exact.
        let (knowledge, method) = if alike || spread <= 1e-12 * first_order.estimate.abs() {
            (first_order, Method::FirstOrder)
        } else {
            let knowledge = Knowledge {
                estimate: mean,
                standard_uncertainty: spread,
            };
            (knowledge, Method::MonteCarlo)
        };
        Ok(Prediction {
            knowledge,
            method,
            drawn,
        })
    }

    /// Slopes by central differences over a tenth of each standard uncertainty, times the covariance.
    fn first_order(&self, entry: Entry) -> Result<Knowledge, CannotPredict> {
        let names = self.names(entry);
        let undetermined = |name| DrawError::undetermined(self.file, name);
        let middle = self.estimate.only(&names).map_err(undetermined)?;
        let value = |motor: &ParameterSet, deviations: &Deviations| {
            self.value(entry, motor, deviations).map_err(undetermined)
        };
        let estimate = value(&middle, &[0.0; 4])?.ok_or(CannotPredict::HeldByFriction)?;
        let slope = |step: f64, side: &dyn Fn(f64) -> Result<Option<f64>, DrawError>| {
            if step == 0.0 {
                return Ok(0.0);
            }
            Ok::<f64, DrawError>(match (side(step)?, side(-step)?) {
                (Some(above), Some(below)) => (above - below) / (2.0 * step),
                (Some(above), None) => (above - estimate) / step,
                (None, Some(below)) => (estimate - below) / step,
                (None, None) => 0.0,
            })
        };
        let covariance = covariance(self.file, &names);
        let mut slopes = Vec::with_capacity(names.len());
        for (place, name) in names.iter().enumerate() {
            let own = middle.own(*name).unwrap_or(0.0);
            slopes.push(slope(0.1 * covariance[(place, place)].sqrt(), &|step| {
                value(&middle.with(*name, own + step), &[0.0; 4])
            })?);
        }
        let mut variance = 0.0;
        for place in 0..4 {
            let of_conditions = slope(0.1, &|step| {
                let mut deviations = [0.0; 4];
                deviations[place] = step;
                value(&middle, &deviations)
            })?;
            variance += of_conditions * of_conditions;
        }
        for (row, one) in slopes.iter().enumerate() {
            for (column, other) in slopes.iter().enumerate() {
                variance += one * covariance[(row, column)] * other;
            }
        }
        Ok(Knowledge {
            estimate,
            standard_uncertainty: variance.max(0.0).sqrt(),
        })
    }

    /// Values of the drawn motors.
    fn drawn(&self, entry: Entry) -> Result<Outcomes, CannotPredict> {
        let motors = self.drawn.as_ref().map_err(Clone::clone)?;
        let values = motors.iter().map(|(motor, deviations)| {
            let value = self.value(entry, motor, deviations);
            value.ok().flatten().unwrap_or(f64::NAN)
        });
        let often_held = |share: f64| CannotPredict::OftenHeldByFriction {
            share: 100.0 * share,
        };
        let drawn = Outcomes::new(values).map_err(|_| often_held(1.0))?;
        let held = drawn.undefined as f64 / motors.len() as f64;
        if held > MOST_HELD {
            return Err(often_held(held));
        }
        Ok(drawn)
    }

    /// The parameters that an entry depends on, in the domain that has them.
    fn names(&self, entry: Entry) -> Vec<Name> {
        let wanted = depends_on(entry);
        let anchored = self.file.value(Name::BackEmfConstant).is_some();
        if anchored || !wanted.contains(&Name::BackEmfConstant) || !is_terminal(entry) {
            return wanted.to_vec();
        }
        let terminal = |name: &Name| match name {
            Name::BackEmfConstant | Name::Windage => None,
            Name::CoulombFrictionTorque => Some(Name::FrictionCurrent),
            Name::ViscousFriction => Some(Name::ViscousConductance),
            Name::RotorInertia => Some(Name::InertiaCapacitance),
            other => Some(*other),
        };
        wanted.iter().filter_map(terminal).collect()
    }

    /// Value of an entry for a motor at the sheet's conditions.
    fn value(
        &self,
        entry: Entry,
        motor: &ParameterSet,
        deviations: &Deviations,
    ) -> Result<Option<f64>, Name> {
        let reference_c = self.sheet.reference_temperature_c;
        let winding_c = match (entry, self.sheet.stall) {
            (
                Entry::StallCurrent | Entry::StallTorque,
                Stall::Measured {
                    winding_temperature_c,
                },
            ) => winding_temperature_c,
            _ => reference_c,
        };
        let factors = self.conditions.factors(winding_c, reference_c, deviations);
        value::value(entry, self.sheet, motor, factors)
    }
}
