//! Each entry of a sheet as the motor file predicts it at the sheet's conditions.
//!
//! What is a parameter of the motor file has its value and standard uncertainty there; steady states are drawn (JCGM 101:2008) from the
//! file's joint distribution, the same motors that every other use draws. Six quantities of the sheet's conditions come on top: the
//! temperatures of winding and magnets when the captures were taken, the temperature coefficients with which R and K are brought to
//! the sheet's reference temperature, the share of R that is not copper, and what the friction changes.
//!
//! Without a speed reference K, J, T_c and B are undetermined, yet currents, powers, the efficiency and the time constants depend on
//! them only through J/K², T_c/K and B/K², which the terminals give.

mod conditions;
mod value;

use super::conformity::{Knowledge, Limits, conformance_probability};
use super::entry::Entry;
use super::sheet::{Sheet, Stall};
use crate::motor::thermal::ThermalNetwork;
use crate::motor_file::draw::{DrawError, ParameterSet, Population, plan};
use crate::motor_file::{MotorFile, ParameterName as Name, Thermal};
use crate::stats::adaptive::until_stable;
use crate::stats::monte_carlo::Outcomes;
use conditions::{CONDITIONS, Conditions, Deviations};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use value::parameter_of;

/// Share of the drawn motors that may not turn before an entry is not predicted.
const MOST_HELD: f64 = 0.01;

/// Level that sizes a batch of draws.
const LEVEL: f64 = 0.95;

/// Step of the central differences by a condition, in its standard deviation.
const STEP: f64 = 0.1;

/// How the uncertainty was propagated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The parameter of the motor file, brought to the sheet's temperature to first order (JCGM 100:2008, 5.2.2).
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
    /// Digits of the standard uncertainty that chance leaves alone; of what is drawn.
    pub stable_digits: Option<u32>,
    drawn: Option<Outcomes>,
}

impl Prediction {
    /// Monte Carlo draws it took.
    pub fn draws(&self) -> Option<usize> {
        let drawn = self.drawn.as_ref()?;
        Some(drawn.count() + drawn.undefined)
    }

    /// Probability that the entry lies within `limits`.
    pub fn conformance_probability(&self, limits: Limits) -> f64 {
        match &self.drawn {
            None => conformance_probability(self.knowledge, limits),
            Some(drawn) => drawn.share(|value| limits.contain(value)),
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
    /// No heat run, or one too short for this.
    #[error(
        "{what} is not determined by this motor file; it would be determined by: a heat run with its cooling curve ([[heat]] in the bench sheet)"
    )]
    NoThermal {
        /// In words.
        what: &'static str,
    },
    /// The winding passes its limit whatever the load.
    #[error("this motor passes the winding's limit at the nominal voltage even without a load")]
    AlwaysTooHot,
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

/// A drawn motor.
type Drawn = (ParameterSet, Deviations, Option<ThermalNetwork>);

/// Predicts entries of one sheet from one motor file.
pub struct Predictor<'a> {
    file: &'a MotorFile,
    sheet: &'a Sheet,
    estimate: ParameterSet,
    conditions: Conditions,
    /// Motors that the file allows, each with its own deviations of the conditions, and how it warms where that is known: as many as an
    /// entry has needed so far.
    drawn: Vec<Drawn>,
    more: Result<Box<dyn Iterator<Item = Result<Drawn, DrawError>> + 'a>, DrawError>,
}

impl<'a> Predictor<'a> {
    /// `seed` makes the drawn motors repeat.
    pub fn new(
        file: &'a MotorFile,
        sheet: &'a Sheet,
        population: &'a Result<Population, DrawError>,
        seed: u64,
    ) -> Predictor<'a> {
        let motors = population.as_ref().map_err(Clone::clone);
        let motors = motors.and_then(|population| population.motors(seed));
        // A generator of its own, so that the motors are those that every other command draws.
        let mut random = StdRng::seed_from_u64(!seed);
        let mut deviations = move || [(); CONDITIONS].map(|()| StandardNormal.sample(&mut random));
        Predictor {
            file,
            sheet,
            estimate: ParameterSet::estimate(file),
            conditions: Conditions::new(file),
            drawn: Vec::new(),
            more: motors.map(|motors| {
                let mut networks = file.thermal.as_ref().map(|thermal| thermal.draws(seed));
                let mut network = move || networks.as_mut().and_then(Iterator::next);
                let with_conditions =
                    move |motor: Result<_, _>| Ok((motor?, deviations(), network()));
                Box::new(motors.map(with_conditions)) as Box<dyn Iterator<Item = _> + 'a>
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
    pub fn predict(&mut self, entry: Entry) -> Result<Prediction, CannotPredict> {
        let thermal = self.file.thermal.as_ref();
        if let Some(name) = entry.thermal() {
            let known = thermal.and_then(|thermal| thermal.parameters.get(&name)?.value);
            if known.is_none() {
                let [_, what] = name.label();
                return Err(CannotPredict::NoThermal { what });
            }
        }
        let network = thermal.map(|thermal| Thermal::network(thermal.log_values));
        let of_estimate = |deviations: &Deviations| {
            let estimate = &self.estimate;
            let value = value_at(
                self.sheet,
                &self.conditions,
                entry,
                estimate,
                deviations,
                network,
            );
            let undetermined = |name| DrawError::undetermined(self.file, name);
            value
                .map_err(undetermined)?
                .ok_or(match entry.needs_winding_limit() {
                    true => CannotPredict::AlwaysTooHot,
                    false => CannotPredict::HeldByFriction,
                })
        };
        let estimate = of_estimate(&[0.0; CONDITIONS])?;
        // What a file does not state itself but its other parameters give is drawn, too.
        let relative = parameter_of(entry)
            .and_then(|name| self.file.parameters.get(&name))
            .and_then(|p| Some(p.standard_uncertainty? / p.value?))
            .filter(|relative| relative.is_finite());
        let Some(relative) = relative else {
            let (drawn, stable_digits) = self.drawn(entry)?;
            return Ok(Prediction {
                knowledge: Knowledge {
                    estimate: drawn.mean(),
                    standard_uncertainty: drawn.standard_uncertainty(),
                },
                method: Method::MonteCarlo,
                stable_digits: Some(stable_digits),
                drawn: Some(drawn),
            });
        };
        let mut variance = (estimate * relative).powi(2);
        for place in 0..CONDITIONS {
            let mut sides = [[0.0; CONDITIONS]; 2];
            (sides[0][place], sides[1][place]) = (STEP, -STEP);
            let slope = (of_estimate(&sides[0])? - of_estimate(&sides[1])?) / (2.0 * STEP);
            variance += slope * slope;
        }
        Ok(Prediction {
            knowledge: Knowledge {
                estimate,
                standard_uncertainty: variance.sqrt(),
            },
            method: Method::FirstOrder,
            stable_digits: None,
            drawn: None,
        })
    }

    /// Values of the drawn motors, and to how many digits they are stable.
    fn drawn(&mut self, entry: Entry) -> Result<(Outcomes, u32), CannotPredict> {
        let mut trials = until_stable(plan(Some(self.file), LEVEL), |places| {
            let missing = places.end.saturating_sub(self.drawn.len());
            let more = self.more.as_mut().map_err(|why| why.clone())?;
            for motor in more.take(missing) {
                self.drawn.push(motor?);
            }
            let (sheet, conditions) = (self.sheet, &self.conditions);
            let motors = self.drawn[places].par_iter();
            let values = motors.map(|(motor, deviations, network)| {
                let value = value_at(sheet, conditions, entry, motor, deviations, *network);
                value.ok().flatten().unwrap_or(f64::NAN)
            });
            Ok::<_, DrawError>(vec![values.collect()])
        })?;
        let values = trials.columns.pop().unwrap_or_default();
        let often_held = |share: f64| CannotPredict::OftenHeldByFriction {
            share: 100.0 * share,
        };
        let drawn = Outcomes::new(values).map_err(|_| often_held(1.0))?;
        let held = drawn.undefined as f64 / trials.draws as f64;
        if held > MOST_HELD {
            return Err(often_held(held));
        }
        Ok((drawn, trials.stable_digits))
    }
}

/// Value of an entry for a motor at the sheet's conditions.
fn value_at(
    sheet: &Sheet,
    conditions: &Conditions,
    entry: Entry,
    motor: &ParameterSet,
    deviations: &Deviations,
    network: Option<ThermalNetwork>,
) -> Result<Option<f64>, Name> {
    let reference_c = sheet.reference_temperature_c;
    let winding_c = match (entry, sheet.stall) {
        (
            Entry::StallCurrent | Entry::StallTorque,
            Stall::Measured {
                winding_temperature_c,
            },
        ) => winding_temperature_c,
        (Entry::ContinuousCurrent | Entry::ContinuousTorque, _) => {
            sheet.winding_limit_c.unwrap_or(reference_c)
        }
        _ => reference_c,
    };
    let factors = conditions.factors(winding_c, reference_c, deviations);
    value::value(entry, sheet, motor, factors, network)
}
