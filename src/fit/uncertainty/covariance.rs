//! The covariance of the fitted parameters, split by where it comes from.

use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::solve::Solution;
use crate::fit::unknowns::{Entry, ParameterKind, Source};
use crate::stats::cut_normal::CutNormal;
use nalgebra::{DMatrix, DVector};

/// Diagonal of the normal matrix below which nothing in the captures touches an entry.
const NO_INFORMATION: f64 = 1e-200;

/// Covariance of the whole vector and its parts.
pub struct Covariance {
    /// Over all entries: second moments about the solution of what captures, readings, priors and physical bounds leave possible. Rows and
    /// columns of entries that nothing touches are zero.
    pub total: DMatrix<f64>,
    /// Parts by source; they add up to `total`.
    pub parts: Vec<(Source, DMatrix<f64>)>,
    /// Entries that could move.
    pub free: Vec<bool>,
    /// Condition number of the scaled normal matrix over the free entries.
    pub condition: f64,
    /// Of the free entries, every other one held.
    conditional: DMatrix<f64>,
    /// Departures from the solution that are left possible: those of the free entries, and of entries held at a bound into the range
    /// that they may have.
    possible: CutNormal,
    /// Second moments about the solution were the priors of model terms ten times as wide.
    weak_model_priors: DMatrix<f64>,
    /// What the clock's error moves, in its standard deviation.
    pull_of_clock: Option<DVector<f64>>,
}

impl Covariance {
    /// Covariance while the entries held at a bound stay there.
    pub fn conditional(&self) -> &DMatrix<f64> {
        &self.conditional
    }

    /// Departures from the solution that are left possible, over all entries.
    pub fn possible(&self) -> &CutNormal {
        &self.possible
    }

    /// As `total`, were the priors of model terms ten times as wide: what leans on them alone is vague in it.
    pub fn weak_model_priors(&self) -> &DMatrix<f64> {
        &self.weak_model_priors
    }

    /// Pull of the clock's error in its standard deviation, where one is stated.
    pub(super) fn pull_of_clock(&self) -> Option<&DVector<f64>> {
        self.pull_of_clock.as_ref()
    }

    /// Whether an entry could move.
    pub fn is_free(&self, entry: Entry) -> bool {
        self.free[entry.index()]
    }

    /// Whether captures, readings or a prior touch an entry that may move, or that is held at a bound beyond which it may lie.
    pub fn is_touched(&self, entry: Entry) -> bool {
        self.total[entry.diagonal()] > 0.0
    }
}

/// Inverse of a normal matrix over some of its entries, zero elsewhere, and its condition number, both after scaling to a unit
/// diagonal. A direction whose share of the largest information is below `floor` gets a variance too large to be mistaken
/// for a measurement.
pub fn inverse_over(normal: &DMatrix<f64>, entries: &[usize], floor: f64) -> (DMatrix<f64>, f64) {
    let scale: Vec<f64> = entries
        .iter()
        .map(|&k| normal[(k, k)].sqrt().max(1e-150))
        .collect();
    let m = entries.len();
    if m == 0 {
        return (DMatrix::zeros(normal.nrows(), normal.ncols()), 1.0);
    }
    let scaled = DMatrix::from_fn(m, m, |a, b| {
        normal[(entries[a], entries[b])] / (scale[a] * scale[b])
    });
    let eigen = scaled.symmetric_eigen();
    let (largest, smallest) = (eigen.eigenvalues.max(), eigen.eigenvalues.min());
    let inverse = &eigen.eigenvectors
        * DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| 1.0 / v.max(largest * floor)))
        * eigen.eigenvectors.transpose();
    let mut out = DMatrix::zeros(normal.nrows(), normal.ncols());
    for (a, &ka) in entries.iter().enumerate() {
        for (b, &kb) in entries.iter().enumerate() {
            out[(ka, kb)] = inverse[(a, b)] / (scale[a] * scale[b]);
        }
    }
    (out, largest / smallest.max(1e-300))
}

/// Gauss-Newton covariance with each prior's and each reading's part kept apart: the estimate is linear in rows, readings and priors,
/// so with `H = Σ` of their information, that of physical bounds nearby included, the part of source s is `H⁻¹ I_s H⁻¹`.
pub fn covariance(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
) -> Covariance {
    let free: Vec<bool> = problem
        .layout
        .entries()
        .map(|(entry, _)| {
            !problem.frozen(entry)
                && !solution.active[entry.index()]
                && solution.equations.normal[entry.diagonal()] > NO_INFORMATION
        })
        .collect();
    let index: Vec<usize> = (0..free.len()).filter(|&k| free[k]).collect();
    let (conditional, condition) = inverse_over(&solution.equations.normal, &index, 1e-14);
    let normal = &solution.equations.normal;
    let possible = left_possible(problem, solution, &free, normal.clone());
    let weak = with_weak_model_priors(problem, normal);
    let weak = left_possible(problem, solution, &free, weak);
    let weak_model_priors = &weak.covariance + &weak.mean * weak.mean.transpose();
    let spread = &possible.covariance;
    let mut parts = parts_by_source(problem, solution, predictions, spread);
    let n = free.len();
    let accounted = parts
        .iter()
        .fold(DMatrix::zeros(n, n), |sum, (_, part)| sum + part);
    let bounds = spread * DMatrix::from_diagonal(&possible.site_information) * spread;
    parts.push((Source::Noise, spread - accounted - &bounds));
    // The solution is not the mean of what bounds leave possible: second moments about it cover the model without a term that is
    // held at zero and the one with it.
    let beside = &possible.mean * possible.mean.transpose();
    let mut total = spread + &beside;
    add(&mut parts, Source::Model, bounds + beside);
    let pull_of_clock = problem
        .clock_relative_sd
        .map(|sd| pull_of_clock(problem, solution, predictions) * sd);
    if let Some(pull) = &pull_of_clock {
        let moved = spread * pull;
        let part = &moved * moved.transpose();
        total += &part;
        parts.push((Source::Clock, part));
    }
    Covariance {
        total,
        parts,
        free,
        condition,
        conditional,
        possible,
        weak_model_priors,
        pull_of_clock,
    }
}

/// Departures from the solution: the free entries, and those held at the lower end of their range, all within it.
fn left_possible(
    problem: &Problem,
    solution: &Solution,
    free: &[bool],
    normal: DMatrix<f64>,
) -> CutNormal {
    let n = free.len();
    let mut lower = vec![None; n];
    let mut pull = DVector::zeros(n);
    let mut moving = Vec::with_capacity(n);
    for (entry, parameter) in problem.layout.entries() {
        let k = entry.index();
        let at_lower = solution.x[entry] <= parameter.lower;
        let held = !free[k] && at_lower && normal[entry.diagonal()] > NO_INFORMATION;
        if free[k] || held {
            moving.push(k);
            // Of the free entries, too: what two share is no pull on either.
            pull[k] = -solution.equations.gradient[entry];
        }
        if parameter.lower.is_finite() {
            lower[k] = Some(parameter.lower - solution.x[entry]);
        }
    }
    let mut information = DMatrix::zeros(n, n);
    for &a in &moving {
        for &b in &moving {
            information[(a, b)] = normal[(a, b)];
        }
    }
    // Finite and of one size: the solver ended with them.
    CutNormal::new(&information, &pull, &lower).unwrap_or_else(|_| CutNormal::nothing(n))
}

/// How much wider the priors of model terms are made in order to see what leans on them.
const WIDER: f64 = 10.0;

/// A normal matrix with the priors of model terms so much wider.
fn with_weak_model_priors(problem: &Problem, normal: &DMatrix<f64>) -> DMatrix<f64> {
    let mut out = normal.clone();
    for (entry, parameter) in problem.layout.entries() {
        let of_model = parameter.source == Source::Model;
        if let Some((_, sd)) = parameter.prior.filter(|_| of_model) {
            out[entry.diagonal()] -= (1.0 - 1.0 / (WIDER * WIDER)) / (sd * sd);
        }
    }
    out
}

/// Adds a part to that of its source.
fn add(parts: &mut Vec<(Source, DMatrix<f64>)>, source: Source, part: DMatrix<f64>) {
    match parts.iter_mut().find(|(s, _)| *s == source) {
        Some((_, sum)) => *sum += part,
        None => parts.push((source, part)),
    }
}

/// What each source of priors and readings adds to the covariance `spread`.
fn parts_by_source(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
    spread: &DMatrix<f64>,
) -> Vec<(Source, DMatrix<f64>)> {
    let n = problem.layout.len();
    let mut parts: Vec<(Source, DMatrix<f64>)> = Vec::new();
    let mut book = |source: Source, vector: &DVector<f64>| {
        let moved = spread * vector;
        add(&mut parts, source, &moved * moved.transpose());
    };
    for (entry, parameter) in problem.layout.entries() {
        if let Some((_, sd)) = parameter.prior
            && spread[entry.diagonal()] > 0.0
        {
            let mut vector = DVector::zeros(n);
            vector[entry] = 1.0 / sd;
            book(parameter.source.clone(), &vector);
        }
    }
    for reading in &problem.readings {
        if let Some(term) = reading.evaluate(&solution.x, predictions) {
            book(reading.source(), &term.gradient_vector(n));
        }
    }
    parts
}

/// Derivative of the least squares' gradient by the clock's relative error: a clock slow by ε makes every time in the rows, and with it L and
/// C_m, too short by ε, and a speed that ripple gave too small.
fn pull_of_clock(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
) -> DVector<f64> {
    let n = problem.layout.len();
    let mut pull = DVector::zeros(n);
    for reading in problem.readings.iter().filter(|r| r.goes_by_the_clock()) {
        if let Some(term) = reading.evaluate(&solution.x, predictions) {
            pull += term.gradient_vector(n) / reading.relative_sd();
        }
    }
    let captures = predictions.iter().enumerate();
    for rows in captures.map(|(k, p)| problem.capture_equations(k, p).normal) {
        for kind in [ParameterKind::LogInductance, ParameterKind::LogCapacitance] {
            if let Some(entry) = problem.layout.find(&kind) {
                pull += rows.column(entry.index());
            }
        }
    }
    pull
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// JCGM 100:2008, H.3, table H.6 and H.3.3, H.3.4: the correction of a thermometer, a straight line fitted to eleven readings, and
    /// its prediction at 30 °C.
    #[test]
    fn val_gum_h3_thermometer_calibration() {
        let temperature = [
            21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
        ];
        let correction = [
            -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
        ];
        let design = DMatrix::from_fn(11, 2, |row, column| match column {
            0 => 1.0,
            _ => temperature[row] - 20.0,
        });
        let observed = DVector::from_row_slice(&correction);
        let (inverse, _) = inverse_over(&(design.transpose() * &design), &[0, 1], 1e-14);
        let fitted = &inverse * design.transpose() * &observed;
        let variance = (observed - &design * &fitted).norm_squared() / 9.0;
        let covariance = inverse * variance;
        assert_abs_diff_eq!(fitted[0], -0.1712, epsilon = 5e-5);
        assert_abs_diff_eq!(fitted[1], 0.00218, epsilon = 5e-6);
        let deviations = [0, 1].map(|k| covariance[(k, k)].sqrt());
        assert_abs_diff_eq!(deviations[0], 0.0029, epsilon = 5e-5);
        assert_abs_diff_eq!(deviations[1], 0.00067, epsilon = 5e-6);
        let correlation = covariance[(0, 1)] / (deviations[0] * deviations[1]);
        assert_abs_diff_eq!(correlation, -0.930, epsilon = 5e-4);
        let at_thirty = DVector::from_row_slice(&[1.0, 10.0]);
        assert_abs_diff_eq!(at_thirty.dot(&fitted), -0.1494, epsilon = 5e-5);
        let uncertainty = at_thirty.dot(&(&covariance * &at_thirty)).sqrt();
        assert_abs_diff_eq!(uncertainty, 0.0041, epsilon = 5e-5);
        // An entry that is held takes no part: the other one is then known as well as one mean.
        let (held, _) = inverse_over(&(design.transpose() * &design), &[0], 1e-14);
        assert_abs_diff_eq!(held[(0, 0)], 1.0 / 11.0, epsilon = 1e-12);
        assert_eq!(held[(1, 1)], 0.0);
    }
}
