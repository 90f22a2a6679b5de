//! The fit before its last terms are known: what it says so far.

use super::weights::noise_of_rows;
use crate::bench::Bench;
use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::solve::Solution;
use crate::fit::uncertainty::covariance;
use crate::fit::unknowns::Entry;
use nalgebra::{DMatrix, DVector};

/// A parameter vector with its covariance.
pub struct PreliminaryFit<'a> {
    pub x: &'a DVector<f64>,
    pub covariance: DMatrix<f64>,
    /// Share of a voltage by which the model departs from the records for as long as a stretch lasts, as its residuals say. The covariance knows
    /// nothing of it: the back-EMF at one point, and with it K from a speed there, is no better known.
    pub voltage_share: f64,
}

impl<'a> PreliminaryFit<'a> {
    /// What a first solution says, where `predictions` hold.
    pub(super) fn of(
        problem: &Problem,
        bench: &Bench,
        plain: &'a Solution,
        predictions: &[Prediction],
    ) -> PreliminaryFit<'a> {
        let (_, [voltage_share, _]) = noise_of_rows(problem, bench, &plain.x, predictions);
        PreliminaryFit {
            x: &plain.x,
            covariance: covariance(problem, plain, predictions).total,
            voltage_share,
        }
    }

    /// Variance of a sum of entries with these factors; an entry may stand several times.
    pub fn variance(&self, factors: &[(Entry, f64)]) -> f64 {
        let mut slope = DVector::zeros(self.x.len());
        for &(entry, factor) in factors {
            slope[entry] += factor;
        }
        slope.dot(&(&self.covariance * &slope)).max(0.0)
    }
}
