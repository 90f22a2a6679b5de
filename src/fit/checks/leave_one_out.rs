//! What each capture does to the result: the shift of every parameter when it is left out.
//!
//! Leaving out capture k takes its rows from the normal equations, `N' = N − N_k`, `g' = −g_k` at the minimum, and one
//! Gauss-Newton step `−N'⁻¹g'` leads to the minimum without it. Of two estimates, one from part of the data, the variance of the
//! difference is the difference of the variances (Hausman 1978, Econometrica 46, 1251-1271), which gives the shift its sigma.

use crate::fit::estimate::{Estimate, LeaveOneOut};
use crate::fit::problem::Problem;
use crate::fit::references::Group;
use crate::stats::arrow::Inverse;
use nalgebra::DVector;

/// A parameter counts as known without a capture while its standard uncertainty stays below this share of it.
const STILL_KNOWN: f64 = 0.3;

/// Information left, relative to before, below which an entry is only seen by the capture left out.
const NOTHING_LEFT: f64 = 1e-9;

/// Share of a parameter by which captures of one motor may differ beside their noise, since the model leaves out what brushes, grease and iron
/// do from one record to the next (common practice, no source). The inductance is that of iron: it differs most.
fn model_share(parameter: &str) -> f64 {
    match parameter {
        "back_emf_constant" => 0.003,
        "terminal_resistance" | "inertia_capacitance" | "rotor_inertia" => 0.005,
        _ => 0.02,
    }
}

/// For every capture the parameter it moves most; captures without which nothing is known are absent.
pub fn leave_one_out(estimate: &Estimate) -> Vec<LeaveOneOut> {
    let known = known(estimate);
    (0..estimate.problem.models.len())
        .filter_map(|k| {
            let (shift, covariance) = without(estimate, k);
            largest_pull(&known, k, &shift, &covariance)
        })
        .collect()
}

/// The same for capture `k`, where a fit without it has ended at `x`.
pub fn refitted(estimate: &Estimate, k: usize, x: &DVector<f64>) -> Option<LeaveOneOut> {
    let (_, covariance) = without(estimate, k);
    let shift = x - &estimate.solution.x;
    largest_pull(&known(estimate), k, &shift, &covariance)
}

/// A parameter with a two-sided interval, as all captures together have it.
struct Known {
    name: &'static str,
    value: f64,
    gradient: DVector<f64>,
    variance: f64,
}

fn known(estimate: &Estimate) -> Vec<Known> {
    let reported = estimate.reported().into_iter();
    let two_sided = reported.filter(|r| !r.one_sided);
    two_sided
        .filter_map(|r| {
            let (gradient, at) = (r.gradient?, r.estimate?);
            let variance = gradient.dot(&(estimate.covariance.conditional() * &gradient));
            Some(Known {
                name: r.name,
                value: at.value,
                gradient,
                variance,
            })
        })
        .collect()
}

fn largest_pull(
    known: &[Known],
    k: usize,
    shift: &DVector<f64>,
    covariance: &Inverse,
) -> Option<LeaveOneOut> {
    let pulled = known.iter().filter_map(|parameter| {
        let gradient = &parameter.gradient;
        let moved = gradient.dot(shift);
        let variance = gradient.dot(&covariance.times(gradient));
        // Of a capture that adds next to nothing the difference is all rounding.
        let difference = variance - parameter.variance;
        if variance.sqrt() > STILL_KNOWN * parameter.value.abs()
            || difference < 0.02 * parameter.variance
        {
            return None;
        }
        Some(LeaveOneOut {
            capture: k,
            parameter: parameter.name,
            pull: -moved
                / difference
                    .sqrt()
                    .hypot(model_share(parameter.name) * parameter.value),
            without: parameter.value + moved,
        })
    });
    pulled.max_by(|a, b| a.pull.abs().total_cmp(&b.pull.abs()))
}

/// Gauss-Newton step and covariance without capture `k`.
pub(super) fn without(estimate: &Estimate, k: usize) -> (DVector<f64>, Inverse) {
    let problem: &Problem = &estimate.problem;
    let equations = &estimate.solution.equations;
    let of_capture = problem.capture_equations(k, &estimate.predictions[k]);
    let mut normal = &equations.normal - &of_capture.normal;
    let mut gradient = &equations.gradient - &of_capture.gradient;
    let on_shaft = problem.readings.iter();
    for term in on_shaft.filter(|t| t.group() == Some(Group::Shaft(k))) {
        let Some(row) = term.evaluate(&estimate.solution.x, &estimate.predictions) else {
            continue;
        };
        let slope = row.gradient_vector(gradient.len());
        gradient -= &slope * row.residual;
        normal -= &slope * slope.transpose();
    }
    let n = gradient.len();
    let free: Vec<usize> = (0..n)
        .filter(|&j| {
            estimate.covariance.free[j] && normal[(j, j)] > NOTHING_LEFT * equations.normal[(j, j)]
        })
        .collect();
    let covariance = Inverse::over(&normal, &free, 1e-13);
    (-covariance.times(&gradient), covariance)
}
