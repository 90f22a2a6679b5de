//! The joint problem beside a point at which its derivatives are known.

use super::profile::{CostAndGradient, Linearised};
use crate::fit::model::{Component, Prediction};
use crate::fit::problem::Problem;
use crate::fit::solve::NormalEquations;
use crate::fit::unknowns::Entry;
use nalgebra::DVector;
use std::sync::Arc;

/// Derivatives of every row, and of the residual of each reading by entry, at one point.
pub struct Derivatives {
    predictions: Arc<Vec<Prediction>>,
    of_readings: Vec<Vec<(Entry, f64)>>,
}

impl Derivatives {
    /// Those at `x`, where `predictions` hold.
    pub fn new(problem: &Problem, x: &DVector<f64>, predictions: Arc<Vec<Prediction>>) -> Self {
        let readings = problem.readings.iter();
        let of_readings = readings
            .map(|r| r.evaluate(x, &predictions))
            .map(|term| term.map_or(Vec::new(), |t| t.gradient))
            .collect();
        Derivatives {
            predictions,
            of_readings,
        }
    }
}

/// Sums over residuals on both sides of a point.
struct Sides([CostAndGradient; 2]);

impl Sides {
    /// Adds what residuals with these derivatives give on each side.
    fn add(&mut self, residuals: [f64; 2], slopes: impl Iterator<Item = (Entry, f64)> + Clone) {
        for (sight, residual) in self.0.iter_mut().zip(residuals) {
            sight.cost += 0.5 * residual * residual;
            for (entry, slope) in slopes.clone() {
                sight.gradient[entry] += residual * slope;
            }
        }
    }
}

impl Linearised for Problem {
    type Derivatives = Derivatives;

    fn linearise(&self, x: &DVector<f64>) -> Option<(NormalEquations, Derivatives)> {
        let predictions = self.predict(x)?;
        let equations = self.equations_of(x, &predictions)?;
        Some((equations, Derivatives::new(self, x, predictions)))
    }

    fn both_sides(
        &self,
        x: &DVector<f64>,
        step: &DVector<f64>,
        derivatives: &Derivatives,
    ) -> Option<[CostAndGradient; 2]> {
        let points = [x + step, x - step];
        let predictions = self.predict_values(&points[0])?;
        let nothing = CostAndGradient {
            cost: 0.0,
            gradient: DVector::zeros(x.len()),
        };
        let mut sides = Sides([nothing.clone(), nothing]);
        for (sight, point) in sides.0.iter_mut().zip(&points) {
            self.add_priors(point, &mut sight.cost, &mut sight.gradient);
        }
        let residuals = self.residuals_of_readings(&points[0], &predictions)?;
        for (residual, slopes) in residuals.iter().zip(&derivatives.of_readings) {
            let moved: f64 = slopes.iter().map(|&(entry, by)| by * step[entry]).sum();
            let both = [*residual, residual - 2.0 * moved];
            sides.add(both, slopes.iter().copied());
        }
        let kept = derivatives.predictions.iter();
        for ((values, kept), deviations) in predictions.iter().zip(kept).zip(&self.deviations) {
            let moved = kept.slopes.along(step);
            let mut sums = [[0.0; Component::COUNT]; 2];
            let rows = values.rows.iter().zip(&kept.rows);
            for ((row, there), sd) in rows.zip(deviations) {
                let slopes = &there.predicted.gradient;
                let linear: f64 = slopes.iter().zip(&moved).map(|(a, b)| a * b).sum();
                let residual = row.predicted - row.recorded;
                let both = [residual / sd, (residual - 2.0 * linear) / sd];
                for ((sight, sums), residual) in sides.0.iter_mut().zip(&mut sums).zip(both) {
                    sight.cost += 0.5 * residual * residual;
                    for (sum, slope) in sums.iter_mut().zip(slopes) {
                        *sum += residual / sd * slope;
                    }
                }
            }
            for (sight, sums) in sides.0.iter_mut().zip(&sums) {
                for (sum, links) in sums.iter().zip(kept.slopes.each()) {
                    for &(entry, factor) in links {
                        sight.gradient[entry] += factor * sum;
                    }
                }
            }
        }
        let finite = sides.0.iter().all(|sight| sight.cost.is_finite());
        finite.then_some(sides.0)
    }
}
