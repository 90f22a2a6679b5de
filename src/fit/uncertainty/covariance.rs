//! The covariance of the fitted parameters, split by where it comes from.

use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::solve::Solution;
use crate::fit::unknowns::{Entry, Layout, ParameterKind, Source};
use crate::stats::truncated::TruncatedNormal;
use nalgebra::{DMatrix, DVector};

/// Diagonal of the normal matrix below which nothing in the captures touches an entry.
const NO_INFORMATION: f64 = 1e-200;

/// Covariance of the whole vector and its parts.
pub struct Covariance {
    /// Over all entries; rows and columns of frozen or bound entries are zero.
    pub total: DMatrix<f64>,
    /// Parts by source; they add up to `total`.
    pub parts: Vec<(Source, DMatrix<f64>)>,
    /// Entries that could move.
    pub free: Vec<bool>,
    /// Condition number of the scaled normal matrix over the free entries.
    pub condition: f64,
    /// Of the free entries, every other one held.
    conditional: DMatrix<f64>,
    normal: DMatrix<f64>,
    gradient: DVector<f64>,
    x: DVector<f64>,
}

impl Covariance {
    /// Covariance while the entries held at a bound stay there.
    pub fn conditional(&self) -> &DMatrix<f64> {
        &self.conditional
    }

    /// Information on an entry held at its bound `lower`, and the second moment about that bound of what it may still be.
    pub(crate) fn held_moments(&self, entry: Entry, lower: f64) -> (f64, f64) {
        let (centre, spread) = self.bound_moments(entry);
        let above = TruncatedNormal::above_zero(centre - lower, spread);
        let second_moment = above.mean().powi(2) + above.standard_deviation().powi(2);
        (1.0 / (spread * spread), second_moment)
    }

    /// Whether an entry could move.
    pub fn is_free(&self, entry: Entry) -> bool {
        self.free[entry.index()]
    }

    /// Entries held at their bound that the captures see, with that bound; a term that touches nothing moves nothing.
    pub(crate) fn held_entries<'a>(
        &'a self,
        layout: &'a Layout,
    ) -> impl Iterator<Item = (Entry, f64)> + 'a {
        layout
            .entries()
            .map(|(entry, parameter)| (entry, parameter.lower))
            .filter(|&(entry, lower)| {
                let seen = self.normal[entry.diagonal()] > NO_INFORMATION;
                !self.is_free(entry) && lower.is_finite() && seen
            })
    }

    /// How the free entries follow one that is held: their change over its own.
    pub(crate) fn following(&self, held: Entry) -> DVector<f64> {
        &self.conditional * self.normal.column(held.index()) * -1.0
    }

    /// Centre and spread of the Gaussian whose part above zero is the state of knowledge of an entry held at its bound,
    /// the free entries following.
    pub fn bound_moments(&self, entry: Entry) -> (f64, f64) {
        let column = self.normal.column(entry.index()).into_owned();
        let information = self.normal[entry.diagonal()]
            - (column.transpose() * &self.conditional * &column)[(0, 0)];
        let information = information
            .max(self.normal[entry.diagonal()] * 1e-12)
            .max(1e-300);
        (
            self.x[entry] - self.gradient[entry] / information,
            information.sqrt().recip(),
        )
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

/// Gauss-Newton covariance with each prior's and each reading's part kept apart: the estimate is linear in
/// rows, readings and priors, so with `H = Σ` of their information the part of source s is `H⁻¹ I_s H⁻¹`.
pub fn covariance(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
) -> Covariance {
    let n = problem.layout.len();
    let free: Vec<bool> = problem
        .layout
        .entries()
        .map(|(entry, _)| {
            !problem.frozen(entry)
                && !solution.active[entry.index()]
                && solution.equations.normal[entry.diagonal()] > NO_INFORMATION
        })
        .collect();
    let index: Vec<usize> = (0..n).filter(|&k| free[k]).collect();
    let (total, condition) = inverse_over(&solution.equations.normal, &index, 1e-14);
    let parts = parts_by_source(problem, solution, predictions, &total, &free);
    let moved_by_clock = problem
        .clock_relative_sd
        .map(|sd| &total * pull_of_clock(problem, solution, predictions) * sd);
    let mut covariance = Covariance {
        conditional: total.clone(),
        total,
        parts,
        free,
        condition,
        normal: solution.equations.normal.clone(),
        gradient: solution.equations.gradient.clone(),
        x: solution.x.clone(),
    };
    covariance.close(problem);
    if let Some(moved) = moved_by_clock {
        let part = &moved * moved.transpose();
        covariance.total += &part;
        covariance.parts.push((Source::Clock, part));
    }
    covariance
}

/// What each source of priors and readings adds to the covariance `total` of the free entries.
fn parts_by_source(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
    total: &DMatrix<f64>,
    free: &[bool],
) -> Vec<(Source, DMatrix<f64>)> {
    let n = problem.layout.len();
    let mut parts: Vec<(Source, DMatrix<f64>)> = Vec::new();
    let mut add = |source: Source, vector: &DVector<f64>| {
        let moved = total * vector;
        let part = &moved * moved.transpose();
        match parts.iter_mut().find(|(s, _)| *s == source) {
            Some((_, sum)) => *sum += part,
            None => parts.push((source, part)),
        }
    };
    for (entry, parameter) in problem.layout.entries() {
        if let Some((_, sd)) = parameter.prior
            && free[entry.index()]
        {
            let mut vector = DVector::zeros(n);
            vector[entry] = 1.0 / sd;
            add(parameter.source.clone(), &vector);
        }
    }
    for reading in &problem.readings {
        if let Some(term) = reading.evaluate(&solution.x, predictions) {
            add(reading.source(), &term.gradient_vector(n));
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

impl Covariance {
    /// Books the noise's part and adds what entries held at a bound may still do: it may lie above the bound, and the free ones would follow.
    /// Its second moment about the bound covers both the model without the term and the one with it.
    fn close(&mut self, problem: &Problem) {
        let n = self.x.len();
        let accounted = self
            .parts
            .iter()
            .fold(DMatrix::zeros(n, n), |sum, (_, part)| sum + part);
        self.parts.push((Source::Noise, &self.total - accounted));
        let mut added = DMatrix::zeros(n, n);
        for (k, lower) in self.held_entries(&problem.layout) {
            let (_, second_moment) = self.held_moments(k, lower);
            let follow = self.following(k);
            added += &follow * follow.transpose() * second_moment;
        }
        self.total += &added;
        match self.parts.iter_mut().find(|(s, _)| *s == Source::Model) {
            Some((_, part)) => *part += added,
            None => self.parts.push((Source::Model, added)),
        }
    }
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
