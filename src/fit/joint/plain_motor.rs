//! The first stage of the joint fit: the motor without the terms that bend it, and what it leaves of the records.

use super::descent::{CLOSE, COARSE, FAR, ROUGH, solve};
use super::joint_fit::{JointFit, not_evaluable};
use super::preliminary_fit::PreliminaryFit;
use super::weights::reweigh;
use crate::fit::checks::shares_left;
use crate::fit::data::first_deviations;
use crate::fit::error::FitError;
use crate::fit::model::Row;
use crate::fit::references::sensors_alone;
use crate::fit::solve::{SecondOrder, Solution};
use crate::fit::unknowns::{Entry, ParameterKind};

/// Trials that one descent of the plain motor may take: where it needs more, it follows nothing, and what every term adds may still mend it.
const MOST_TRIALS: u64 = 60;

impl JointFit<'_> {
    /// The motor without the terms that bend it: under rough weights, then under those of its own residuals.
    pub(super) fn fit_plain_motor(&mut self) -> Result<Solution, FitError> {
        let problem = &mut self.problem;
        let mut x = problem.layout.start();
        for &entry in &self.optional {
            problem.freeze(entry, x[entry]);
        }
        problem.set_eddy(false);
        let constant = problem.layout.find(&ParameterKind::LogBackEmfConstant);
        let waiting = constant.filter(|_| self.sensors_alone);
        if let Some(constant) = waiting {
            problem.freeze(constant, x[constant]);
        }
        let start = problem
            .predict(&x)
            .ok_or_else(|| not_evaluable(&self.records.guess))?;
        if start
            .iter()
            .all(|p| p.rows.iter().all(|r| r.zero_uncertainty.is_some()))
        {
            return Err(FitError::NothingToFit);
        }
        for (k, prediction) in start.iter().enumerate() {
            problem.deviations[k] = first_deviations(&prediction.rows);
        }
        x = solve(problem, &x, MOST_TRIALS, ROUGH, FAR, None)?.x;
        reweigh(problem, self.bench, &x);
        let nothing = SecondOrder::default();
        let plain = solve(problem, &x, MOST_TRIALS, COARSE, CLOSE, Some(&nothing))?;
        match waiting {
            Some(constant) => self.admit_sensors(plain, constant),
            None => Ok(plain),
        }
    }

    /// The plain motor with the sensors that alone give the constant, as far as they follow it.
    fn admit_sensors(&mut self, plain: Solution, constant: Entry) -> Result<Solution, FitError> {
        let problem = &mut self.problem;
        let Some(predictions) = problem.predict(&plain.x) else {
            return Ok(plain);
        };
        let preliminary = PreliminaryFit::of(problem, self.bench, &plain, &predictions);
        let sensors = std::mem::take(&mut self.sensors);
        let found = sensors_alone(
            sensors,
            constant,
            &preliminary,
            &predictions,
            &problem.models,
        );
        self.confrontations.extend(found.confrontations);
        problem.thaw(constant);
        let Some(log_constant) = found.log_constant else {
            return Ok(plain);
        };
        self.has_reference = true;
        problem.readings.extend(found.terms);
        let mut x = plain.x;
        x[constant] = log_constant;
        let nothing = SecondOrder::default();
        solve(problem, &x, MOST_TRIALS, COARSE, CLOSE, Some(&nothing))
    }

    /// Share of its signal that the plain motor leaves of every capture; all of it where it cannot be evaluated.
    pub(super) fn shares_left(&self, plain: &Solution) -> Vec<f64> {
        match self.problem.predict(&plain.x) {
            Some(predictions) => {
                let rows: Vec<&[Row]> = predictions.iter().map(|p| p.rows.as_slice()).collect();
                shares_left(&rows)
            }
            None => vec![f64::INFINITY; self.problem.models.len()],
        }
    }

    pub(super) fn largest_share_left(&self, plain: &Solution) -> f64 {
        self.shares_left(plain).into_iter().fold(0.0, f64::max)
    }
}
