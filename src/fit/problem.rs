//! The joint least squares of all captures and readings of one motor.

use super::capture_model::{CaptureModel, DIRECTIONS, Prediction, Row};
use super::layout::Layout;
use super::readings::ReadingTerm;
use super::solver::{LeastSquares, NormalEquations};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use std::sync::atomic::{AtomicU64, Ordering};

/// Everything the solver needs.
pub struct Problem {
    pub layout: Layout,
    pub models: Vec<CaptureModel>,
    pub readings: Vec<ReadingTerm>,
    /// Standard deviation of every row of every capture.
    pub deviations: Vec<Vec<f64>>,
    lower: DVector<f64>,
    upper: DVector<f64>,
    limits: DVector<f64>,
    /// Model steps taken so far, and how many may be.
    spent: AtomicU64,
    most_steps: u64,
}

/// Model steps a bin of all captures after which a fit is given up. Fits of sound captures take some 100 to 200.
const MOST_STEPS_PER_BIN: u64 = 1500;

impl Problem {
    /// Puts a problem together; deviations are set later.
    pub fn new(layout: Layout, models: Vec<CaptureModel>, readings: Vec<ReadingTerm>) -> Self {
        let lower = layout.vector(|p| p.lower);
        let upper = layout.vector(|p| p.upper);
        let limits = layout.vector(|p| p.step_limit);
        let deviations = vec![Vec::new(); models.len()];
        let bins: u64 = models.iter().map(CaptureModel::bins).sum();
        Problem {
            layout,
            models,
            readings,
            deviations,
            lower,
            upper,
            limits,
            spent: AtomicU64::new(0),
            most_steps: MOST_STEPS_PER_BIN * bins,
        }
    }

    /// Predictions of every capture; `None` where one cannot be evaluated, and once the fit has spent its steps.
    ///
    /// Steps are counted instead of seconds, so that the result does not depend on the machine; all captures are predicted
    /// whatever becomes of the others, so that it does not depend on the threads either.
    pub fn predict(&self, x: &DVector<f64>) -> Option<Vec<Prediction>> {
        if self.exhausted() {
            return None;
        }
        let predictions: Vec<(Option<Prediction>, u64)> = self
            .models
            .par_iter()
            .map(|model| {
                let mut steps = 0;
                let prediction = model.predict(x, &mut steps);
                (prediction, steps)
            })
            .collect();
        let steps = predictions.iter().map(|(_, steps)| steps).sum();
        self.spent.fetch_add(steps, Ordering::Relaxed);
        predictions.into_iter().map(|(p, _)| p).collect()
    }

    /// Model steps taken so far.
    pub fn spent(&self) -> u64 {
        self.spent.load(Ordering::Relaxed)
    }

    /// The same for each bin of the captures.
    pub fn spent_per_bin(&self) -> f64 {
        let bins: u64 = self.models.iter().map(CaptureModel::bins).sum();
        self.spent() as f64 / bins.max(1) as f64
    }

    /// True once so many steps are spent that the fit is to be given up.
    pub fn exhausted(&self) -> bool {
        self.spent() > self.most_steps
    }

    /// Lets evaluations go on without end: they come from several threads from now on, among which a common bound would depend on
    /// their order.
    pub fn lift_bound(&mut self) {
        self.most_steps = u64::MAX;
    }

    /// What the rows of capture `k` alone give.
    pub fn capture_equations(&self, k: usize, prediction: &Prediction) -> NormalEquations {
        let mut out = self.nothing();
        scatter(
            &self.models[k],
            &prediction.rows,
            &self.deviations[k],
            &mut out,
        );
        out
    }

    fn nothing(&self) -> NormalEquations {
        let n = self.layout.len();
        NormalEquations {
            cost: 0.0,
            gradient: DVector::zeros(n),
            normal: DMatrix::zeros(n, n),
        }
    }

    /// Fixes entries at their present value.
    pub fn freeze(&mut self, entry: usize, value: f64) {
        self.lower[entry] = value;
        self.upper[entry] = value;
    }

    /// Gives an entry its own bounds back.
    pub fn thaw(&mut self, entry: usize) {
        self.lower[entry] = self.layout.parameters[entry].lower;
        self.upper[entry] = self.layout.parameters[entry].upper;
    }

    /// Switches the screened share of the inductance on or off in every capture.
    pub fn set_eddy(&mut self, on: bool) {
        self.models.iter_mut().for_each(|m| m.with_eddy = on);
    }

    /// True when an entry cannot move.
    pub fn frozen(&self, entry: usize) -> bool {
        self.lower[entry] == self.upper[entry]
    }
}

// Indices are the directions of the derivatives, over half of a symmetric matrix.
#[allow(clippy::needless_range_loop)]
/// Adds `weight · g gᵀ` and `weight · g r` of one capture's rows to the global equations.
fn scatter(model: &CaptureModel, rows: &[Row], deviations: &[f64], out: &mut NormalEquations) {
    let mut normal = [[0.0; DIRECTIONS]; DIRECTIONS];
    let mut gradient = [0.0; DIRECTIONS];
    for (row, sd) in rows.iter().zip(deviations) {
        let weight = 1.0 / (sd * sd);
        let residual = row.predicted.value - row.recorded;
        out.cost += 0.5 * weight * residual * residual;
        let g = &row.predicted.gradient;
        for a in 0..DIRECTIONS {
            let scaled = weight * g[a];
            if scaled != 0.0 {
                gradient[a] += scaled * residual;
                for b in 0..=a {
                    normal[a][b] += scaled * g[b];
                }
            }
        }
    }
    for a in 0..DIRECTIONS {
        for &(entry_a, factor_a) in &model.links[a] {
            out.gradient[entry_a] += factor_a * gradient[a];
            for b in 0..DIRECTIONS {
                let value = if b <= a { normal[a][b] } else { normal[b][a] };
                if value != 0.0 {
                    for &(entry_b, factor_b) in &model.links[b] {
                        out.normal[(entry_a, entry_b)] += factor_a * factor_b * value;
                    }
                }
            }
        }
    }
}

impl LeastSquares for Problem {
    fn dimension(&self) -> usize {
        self.layout.len()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.normal_equations(x).map(|e| e.cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let mut out = self.nothing();
        let predictions = self.predict(x)?;
        for ((k, model), prediction) in self.models.iter().enumerate().zip(&predictions) {
            scatter(model, &prediction.rows, &self.deviations[k], &mut out);
        }
        for reading in &self.readings {
            let term = reading.evaluate(x, &self.models, &predictions)?;
            out.cost += 0.5 * term.residual * term.residual;
            for &(a, ga) in &term.gradient {
                out.gradient[a] += ga * term.residual;
                for &(b, gb) in &term.gradient {
                    out.normal[(a, b)] += ga * gb;
                }
            }
        }
        for (k, parameter) in self.layout.parameters.iter().enumerate() {
            if let Some((mean, sd)) = parameter.prior {
                let z = (x[k] - mean) / sd;
                out.cost += 0.5 * z * z;
                out.gradient[k] += z / sd;
                out.normal[(k, k)] += 1.0 / (sd * sd);
            }
        }
        out.cost.is_finite().then_some(out)
    }

    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.lower)
    }

    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.upper)
    }

    fn step_limits(&self) -> Option<&DVector<f64>> {
        Some(&self.limits)
    }
}
