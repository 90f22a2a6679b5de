//! The joint least squares of all captures and readings of one motor.

pub mod model;
pub mod unknowns;

pub(super) mod credible_size;
mod row_sums;

use super::model::{CaptureModel, Prediction};
use super::references::ReadingTerm;
use super::solve::{LeastSquares, Monitor, NormalEquations};
use super::unknowns::Entry;
use super::unknowns::Layout;
use credible_size::CredibleSize;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use row_sums::scatter;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

/// A point and what was predicted there.
type LastPrediction = (DVector<f64>, Arc<Vec<Prediction>>);

/// Everything the solver needs.
pub struct Problem {
    /// What the unknowns are.
    pub layout: Layout,
    /// One a capture.
    pub models: Vec<CaptureModel>,
    /// Readings and speed references.
    pub readings: Vec<ReadingTerm>,
    /// Standard deviation of every row of every capture.
    pub deviations: Vec<Vec<f64>>,
    /// Relative standard uncertainty of the oscilloscope's clock, where one is stated.
    pub clock_relative_sd: Option<f64>,
    /// A term that was left out, and how large it may be.
    pub left_out: Option<CredibleSize>,
    lower: DVector<f64>,
    upper: DVector<f64>,
    limits: DVector<f64>,
    /// The last point and what was predicted there: weights change and solutions are looked at again without another simulation.
    last: Mutex<Option<LastPrediction>>,
    /// Model steps taken so far, and how many may be.
    spent: AtomicU64,
    most_steps: u64,
    /// Steps at which the fits that only check another end, once the first has begun.
    end_of_checks: Option<u64>,
    /// Notified of every trial of a solve, and asked whether to go on.
    pub monitor: Monitor,
}

/// Model steps a bin of all captures after which a fit is given up. Fits of sound captures take up to 272 (27 drawn benches).
const MOST_STEPS_PER_BIN: u64 = 1500;

/// The same for a fit without an item of evidence: where it takes more, the item is judged to first order.
const MOST_STEPS_PER_CHECK: u64 = 200;

/// The same for all of them.
const MOST_STEPS_FOR_CHECKS: u64 = 1000;

/// The same for the plain motor from one first guess, of which there may be several.
const MOST_STEPS_PER_START: u64 = 300;

/// Bins of all captures.
fn bins(models: &[CaptureModel]) -> u64 {
    models.iter().map(CaptureModel::bins).sum()
}

impl Problem {
    /// Puts a problem together; deviations are set later.
    pub fn new(layout: Layout, models: Vec<CaptureModel>, readings: Vec<ReadingTerm>) -> Self {
        let lower = layout.vector(|p| p.lower);
        let upper = layout.vector(|p| p.upper);
        let limits = layout.vector(|p| p.step_limit);
        let deviations = vec![Vec::new(); models.len()];
        let most_steps = MOST_STEPS_PER_START * bins(&models);
        Problem {
            layout,
            models,
            readings,
            deviations,
            clock_relative_sd: None,
            left_out: None,
            lower,
            upper,
            limits,
            last: Mutex::new(None),
            spent: AtomicU64::new(0),
            most_steps,
            end_of_checks: None,
            monitor: Monitor::default(),
        }
    }

    /// Predictions of every capture; `None` where one cannot be evaluated, and once the fit has spent its steps.
    ///
    /// Steps are counted instead of seconds, so that the result does not depend on the machine; all captures are predicted
    /// whatever becomes of the others, so that it does not depend on the threads either.
    pub fn predict(&self, x: &DVector<f64>) -> Option<Arc<Vec<Prediction>>> {
        if self.exhausted() {
            return None;
        }
        // A thread that panicked while it held the lock left a whole entry or none.
        let last = || {
            self.last
                .lock()
                .unwrap_or_else(|poisoned| poisoned.into_inner())
        };
        if let Some((at, predictions)) = &*last()
            && at == x
        {
            return Some(Arc::clone(predictions));
        }
        let predictions = self.of_every_capture(|model, steps| model.predict(x, steps));
        let predictions = Arc::new(predictions?);
        *last() = Some((x.clone(), Arc::clone(&predictions)));
        Some(predictions)
    }

    /// Predictions of every capture without derivatives; `None` as for [`Problem::predict`].
    pub(super) fn predict_values(&self, x: &DVector<f64>) -> Option<Vec<Prediction<f64>>> {
        if self.exhausted() {
            return None;
        }
        self.of_every_capture(|model, steps| model.predict_values(x, steps))
    }

    /// One thing of every capture, side by side; `None` where a capture has none. The steps taken are booked.
    fn of_every_capture<T: Send>(
        &self,
        one: impl Fn(&CaptureModel, &mut u64) -> Option<T> + Sync,
    ) -> Option<Vec<T>> {
        let found: Vec<(Option<T>, u64)> = self
            .models
            .par_iter()
            .map(|model| {
                let mut steps = 0;
                (one(model, &mut steps), steps)
            })
            .collect();
        let steps = found.iter().map(|(_, steps)| steps).sum();
        self.spent.fetch_add(steps, Ordering::Relaxed);
        found.into_iter().map(|(one, _)| one).collect()
    }

    /// Residuals of the readings at `x`.
    pub(super) fn residuals_of_readings(
        &self,
        x: &DVector<f64>,
        met: &[Prediction<f64>],
    ) -> Option<Vec<f64>> {
        let terms = self.readings.iter().map(|r| r.evaluate(x, met));
        terms.map(|t| Some(t?.residual)).collect()
    }

    /// Adds what the priors give at `x` to a cost and a gradient.
    pub(super) fn add_priors(&self, x: &DVector<f64>, cost: &mut f64, gradient: &mut DVector<f64>) {
        for (entry, parameter) in self.layout.entries() {
            if let Some((mean, sd)) = parameter.prior {
                let z = (x[entry] - mean) / sd;
                *cost += 0.5 * z * z;
                gradient[entry] += z / sd;
            }
        }
    }

    /// Model steps taken so far.
    pub fn spent(&self) -> u64 {
        self.spent.load(Ordering::Relaxed)
    }

    /// The same for each bin of the captures.
    pub fn spent_per_bin(&self) -> f64 {
        self.spent() as f64 / bins(&self.models).max(1) as f64
    }

    /// True once so many steps are spent that the fit is to be given up.
    pub fn exhausted(&self) -> bool {
        self.spent() > self.most_steps
    }

    /// True once half of the steps are spent: what is left is for the result.
    pub fn half_spent(&self) -> bool {
        self.spent() > self.most_steps / 2
    }

    /// Lets a fit that has begun well take its steps.
    pub fn allow_whole_fit(&mut self) {
        self.most_steps *= MOST_STEPS_PER_BIN / MOST_STEPS_PER_START;
    }

    /// Lets a fit that only checks another take its steps.
    pub fn allow_check(&mut self) {
        let bins = bins(&self.models);
        let spent = self.spent();
        let end = *self
            .end_of_checks
            .get_or_insert(spent + MOST_STEPS_FOR_CHECKS * bins);
        self.most_steps = end.min(spent + MOST_STEPS_PER_CHECK * bins);
    }

    /// Lets evaluations go on without end: they come from several threads from now on, among which a common bound would depend on
    /// their order.
    pub fn lift_bound(&mut self) {
        self.most_steps = u64::MAX;
    }

    /// What the rows of capture `k` alone give.
    pub fn capture_equations(&self, k: usize, prediction: &Prediction) -> NormalEquations {
        self.equations_under(prediction, &self.deviations[k])
    }

    /// What the rows of one capture give under other deviations.
    pub(super) fn equations_under(
        &self,
        prediction: &Prediction,
        deviations: &[f64],
    ) -> NormalEquations {
        let mut out = self.nothing();
        scatter(prediction, deviations, &mut out);
        out
    }

    /// What the rows of all captures give.
    pub(super) fn rows_equations(&self, predictions: &[Prediction]) -> NormalEquations {
        let mut out = self.nothing();
        for (prediction, deviations) in predictions.iter().zip(&self.deviations) {
            scatter(prediction, deviations, &mut out);
        }
        out
    }

    /// Cost, gradient and Gauss-Newton matrix at `x`, where `predictions` hold; `None` where the cost is beyond what a number holds.
    pub(super) fn equations_of(
        &self,
        x: &DVector<f64>,
        predictions: &[Prediction],
    ) -> Option<NormalEquations> {
        let mut out = self.rows_equations(predictions);
        for reading in &self.readings {
            let term = reading.evaluate(x, predictions)?;
            out.cost += 0.5 * term.residual * term.residual;
            for &(a, ga) in &term.gradient {
                out.gradient[a] += ga * term.residual;
                for &(b, gb) in &term.gradient {
                    out.normal[a.with(b)] += ga * gb;
                }
            }
        }
        for (entry, parameter) in self.layout.entries() {
            if let Some((_, sd)) = parameter.prior {
                out.normal[entry.diagonal()] += 1.0 / (sd * sd);
            }
        }
        self.add_priors(x, &mut out.cost, &mut out.gradient);
        out.cost.is_finite().then_some(out)
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
    pub fn freeze(&mut self, entry: Entry, value: f64) {
        self.lower[entry] = value;
        self.upper[entry] = value;
    }

    /// Gives an entry its own bounds back.
    pub fn thaw(&mut self, entry: Entry) {
        self.lower[entry] = self.layout[entry].lower;
        self.upper[entry] = self.layout[entry].upper;
    }

    /// To be called when a model was changed: what was predicted before holds no longer.
    pub fn forget(&mut self) {
        self.last = Mutex::new(None);
    }

    /// Switches the screened share of the inductance on or off in every capture.
    pub fn set_eddy(&mut self, on: bool) {
        self.models.iter_mut().for_each(|m| m.with_eddy = on);
        self.forget();
    }

    /// Lays the unevenness of every capture over the angles predicted at `x`.
    pub fn update_waves(&mut self, predictions: &[Prediction]) {
        for (model, prediction) in self.models.iter_mut().zip(predictions) {
            model.update_waves(prediction);
        }
        self.forget();
    }

    /// The value at which an entry is fixed.
    pub fn frozen_at(&self, entry: Entry) -> Option<f64> {
        self.frozen(entry).then_some(self.lower[entry])
    }

    /// True when an entry cannot move.
    pub fn frozen(&self, entry: Entry) -> bool {
        self.lower[entry] == self.upper[entry]
    }
}

impl LeastSquares for Problem {
    fn dimension(&self) -> usize {
        self.layout.len()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        let predictions = self.predict_values(x)?;
        let (mut cost, mut gradient) = (0.0, DVector::zeros(self.layout.len()));
        self.add_priors(x, &mut cost, &mut gradient);
        for residual in self.residuals_of_readings(x, &predictions)? {
            cost += 0.5 * residual * residual;
        }
        for (prediction, deviations) in predictions.iter().zip(&self.deviations) {
            for (row, sd) in prediction.rows.iter().zip(deviations) {
                cost += 0.5 * ((row.predicted - row.recorded) / sd).powi(2);
            }
        }
        cost.is_finite().then_some(cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        self.equations_of(x, &self.predict(x)?)
    }

    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.lower)
    }

    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.upper)
    }

    fn monitor(&self) -> Monitor {
        self.monitor.clone()
    }

    fn step_limits(&self) -> Option<&DVector<f64>> {
        Some(&self.limits)
    }
}
