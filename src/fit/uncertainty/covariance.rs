//! The covariance of the fitted parameters, split by where it comes from.

use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::problem::credible_size::CredibleSize;
use crate::fit::solve::Solution;
use crate::fit::unknowns::{Entry, ParameterKind, Source};
use crate::stats::arrow::Inverse;
use crate::stats::cut_normal::CutNormal;
use nalgebra::{DMatrix, DVector};

/// Diagonal of the normal matrix below which nothing in the captures touches an entry.
const NO_INFORMATION: f64 = 1e-200;

/// Covariance of the whole vector and its parts.
pub struct Covariance {
    /// Over all entries: second moments about the solution of what captures, readings, priors and physical bounds leave possible. Rows and
    /// columns of entries that nothing touches are zero.
    pub total: DMatrix<f64>,
    /// Entries that could move.
    pub free: Vec<bool>,
    /// Condition number of the scaled normal matrix over the free entries.
    pub condition: f64,
    /// Derivatives of the residual of each prior and each reading, in units of its standard deviation.
    evidence: Vec<(Source, Vec<(Entry, f64)>)>,
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

    /// The variance of a quantity of this gradient by source; the parts add up to that of `total`.
    pub fn parts(&self, gradient: &DVector<f64>) -> Vec<(Source, f64)> {
        let possible = &self.possible;
        let moved = &possible.covariance * gradient;
        let mut parts: Vec<(Source, f64)> = Vec::new();
        for (source, slopes) in &self.evidence {
            let along: f64 = slopes.iter().map(|&(entry, by)| by * moved[entry]).sum();
            add(&mut parts, source.clone(), along * along);
        }
        let accounted: f64 = parts.iter().map(|(_, part)| part).sum();
        let sites = moved.iter().zip(&possible.site_information);
        let bounds: f64 = sites.map(|(moved, site)| site * moved * moved).sum();
        parts.push((Source::Noise, gradient.dot(&moved) - accounted - bounds));
        let beside = possible.mean.dot(gradient).powi(2);
        add(&mut parts, Source::Model, bounds + beside);
        if let Some(pull) = &self.pull_of_clock {
            parts.push((Source::Clock, moved.dot(pull).powi(2)));
        }
        parts
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

/// Gauss-Newton covariance with each prior's and each reading's part kept apart: the estimate is linear in rows, readings and priors,
/// so with `H = Σ` of their information, that of physical bounds nearby included, the part of source s is `H⁻¹ I_s H⁻¹`
/// ([`Covariance::parts`]).
pub fn covariance(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
) -> Covariance {
    let free = free_entries(problem, solution);
    let index: Vec<usize> = (0..free.len()).filter(|&k| free[k]).collect();
    let normal = &solution.equations.normal;
    let inverse = Inverse::over(normal, &index, 1e-14);
    let possible = left_possible(problem, solution, &free, normal);
    let weak = with_weak_model_priors(problem, normal);
    let weak = left_possible(problem, solution, &free, &weak);
    let weak_model_priors = &weak.covariance + &weak.mean * weak.mean.transpose();
    // The solution is not the mean of what bounds leave possible: second moments about it cover the model without a term that is
    // held at zero and the one with it.
    let mut total = &possible.covariance + &possible.mean * possible.mean.transpose();
    let pull_of_clock = problem
        .clock_relative_sd
        .map(|sd| pull_of_clock(problem, solution, predictions) * sd);
    if let Some(pull) = &pull_of_clock {
        let moved = &possible.covariance * pull;
        total += &moved * moved.transpose();
    }
    Covariance {
        total,
        free,
        condition: inverse.condition(normal),
        conditional: inverse.matrix(),
        evidence: evidence(problem, solution, predictions),
        possible,
        weak_model_priors,
        pull_of_clock,
    }
}

/// Which entries can move.
fn free_entries(problem: &Problem, solution: &Solution) -> Vec<bool> {
    problem
        .layout
        .entries()
        .map(|(entry, _)| {
            !problem.frozen(entry)
                && !solution.active[entry.index()]
                && solution.equations.normal[entry.diagonal()] > NO_INFORMATION
        })
        .collect()
}

/// Departures from a solution that are left possible.
pub fn possible(problem: &Problem, solution: &Solution) -> CutNormal {
    let free = free_entries(problem, solution);
    left_possible(problem, solution, &free, &solution.equations.normal)
}

/// Departures from the solution: the free entries, and those held at the lower end of their range, all within it.
fn left_possible(
    problem: &Problem,
    solution: &Solution,
    free: &[bool],
    normal: &DMatrix<f64>,
) -> CutNormal {
    let n = free.len();
    let mut lower = vec![None; n];
    let mut moving = Vec::with_capacity(n);
    for (entry, parameter) in problem.layout.entries() {
        let k = entry.index();
        let at_lower = solution.x[entry] <= parameter.lower;
        let held = !free[k] && at_lower && normal[entry.diagonal()] > NO_INFORMATION;
        if free[k] || held {
            moving.push(k);
        }
        if parameter.lower.is_finite() {
            lower[k] = Some(parameter.lower - solution.x[entry]);
        }
    }
    let (information, pull) = known_of(problem, solution, normal, &moving);
    // Finite and of one size: the solver ended with them.
    CutNormal::new(&information, &pull, &lower).unwrap_or_else(|_| CutNormal::nothing(n))
}

/// Information and pull on departures of the entries in `moving` from the solution, zero for all others. `normal`: its Gauss-Newton matrix.
/// Of free entries there is a pull, too: what two share is none on either.
pub(super) fn known_of(
    problem: &Problem,
    solution: &Solution,
    normal: &DMatrix<f64>,
    moving: &[usize],
) -> (DMatrix<f64>, DVector<f64>) {
    let n = normal.nrows();
    let mut information = DMatrix::zeros(n, n);
    let mut pull = DVector::zeros(n);
    for &a in moving {
        pull[a] = -solution.equations.gradient[a];
        for &b in moving {
            information[(a, b)] = normal[(a, b)];
        }
    }
    if let Some(size) = &problem.left_out
        && moving.contains(&size.entry.index())
    {
        follow(size, &mut information, &mut pull);
    }
    (information, pull)
}

/// Lets a term that was left out have its credible size, and the others their course to there, instead of what the derivatives at zero
/// tell: the term by itself is normal about its likeliest size, and the mean of the others goes along the course.
fn follow(size: &CredibleSize, information: &mut DMatrix<f64>, pull: &mut DVector<f64>) {
    let (term, course) = (size.entry.index(), &size.course);
    information.row_mut(term).fill(0.0);
    information.column_mut(term).fill(0.0);
    let slopes = &*information * course;
    information.set_row(term, &-slopes.transpose());
    information.set_column(term, &-&slopes);
    let own = size.standard_deviation.powi(-2);
    information[(term, term)] = own + course.dot(&slopes);
    pull[term] = own * size.likeliest - course.dot(pull);
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
fn add(parts: &mut Vec<(Source, f64)>, source: Source, part: f64) {
    match parts.iter_mut().find(|(s, _)| *s == source) {
        Some((_, sum)) => *sum += part,
        None => parts.push((source, part)),
    }
}

/// The residual of each prior of an entry that anything touches and of each reading, by its derivatives.
fn evidence(
    problem: &Problem,
    solution: &Solution,
    predictions: &[Prediction],
) -> Vec<(Source, Vec<(Entry, f64)>)> {
    let priors = problem.layout.entries().filter_map(|(entry, parameter)| {
        let (_, sd) = parameter.prior?;
        Some((parameter.source.clone(), vec![(entry, 1.0 / sd)]))
    });
    let readings = problem.readings.iter().filter_map(|reading| {
        let term = reading.evaluate(&solution.x, predictions)?;
        Some((reading.source(), term.gradient))
    });
    priors.chain(readings).collect()
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
    let rows = problem.rows_equations(predictions).normal;
    for kind in [ParameterKind::LogInductance, ParameterKind::LogCapacitance] {
        if let Some(entry) = problem.layout.find(&kind) {
            pull += rows.column(entry.index());
        }
    }
    // A clock moves the others, not the size of what was left out.
    if let Some(size) = problem
        .left_out
        .as_ref()
        .filter(|s| problem.frozen(s.entry))
    {
        pull[size.entry] = -size.course.dot(&pull);
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
        let inverse = Inverse::over(&(design.transpose() * &design), &[0, 1], 1e-14).matrix();
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
        let held = Inverse::over(&(design.transpose() * &design), &[0], 1e-14).matrix();
        assert_abs_diff_eq!(held[(0, 0)], 1.0 / 11.0, epsilon = 1e-12);
        assert_eq!(held[(1, 1)], 0.0);
    }
}
