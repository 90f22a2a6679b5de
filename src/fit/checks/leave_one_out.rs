//! What each capture does to the result: the shift of every parameter when it is left out.
//!
//! Leaving out capture k takes its rows from the normal equations, `N' = N − N_k`, `g' = −g_k` at the minimum, and one
//! Gauss-Newton step `−N'⁻¹g'` leads to the minimum without it. Of two estimates, one from part of the data, the variance of the
//! difference is the difference of the variances (Hausman 1978, Econometrica 46, 1251-1271), which gives the shift its sigma.

use crate::fit::estimate::{Estimate, LeaveOneOut};
use crate::fit::problem::Problem;
use crate::fit::uncertainty::{Reported, inverse_over};
use nalgebra::{DMatrix, DVector};

/// A parameter counts as known without a capture while its standard uncertainty stays below this share of it.
const STILL_KNOWN: f64 = 0.3;

/// Information left, relative to before, below which an entry is only seen by the capture left out.
const NOTHING_LEFT: f64 = 1e-9;

/// For every capture the parameter it moves most; captures without which nothing is known are absent.
pub fn leave_one_out(estimate: &Estimate) -> Vec<LeaveOneOut> {
    let reported = estimate.reported();
    (0..estimate.problem.models.len())
        .filter_map(|k| {
            let (shift, covariance) = without(estimate, k)?;
            largest_pull(estimate, k, &reported, &shift, &covariance)
        })
        .collect()
}

/// The same for capture `k`, where a fit without it has ended at `x`.
pub fn refitted(estimate: &Estimate, k: usize, x: &DVector<f64>) -> Option<LeaveOneOut> {
    let (_, covariance) = without(estimate, k)?;
    let shift = x - &estimate.solution.x;
    largest_pull(estimate, k, &estimate.reported(), &shift, &covariance)
}

fn largest_pull(
    estimate: &Estimate,
    k: usize,
    reported: &[Reported],
    shift: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Option<LeaveOneOut> {
    let two_sided = reported.iter().filter(|r| !r.one_sided);
    two_sided
        .filter_map(|r| {
            let gradient = r.gradient.as_ref()?;
            let at = r.estimate?;
            let moved = gradient.dot(shift);
            let variance = (gradient.transpose() * covariance * gradient)[(0, 0)];
            let before =
                (gradient.transpose() * estimate.covariance.conditional() * gradient)[(0, 0)];
            // Of a capture that adds next to nothing the difference is all rounding.
            let difference = variance - before;
            if variance.sqrt() > STILL_KNOWN * at.value.abs() || difference < 0.02 * before {
                return None;
            }
            Some(LeaveOneOut {
                capture: k,
                parameter: r.name,
                pull: -moved / difference.sqrt(),
                without: at.value + moved,
            })
        })
        .max_by(|a, b| a.pull.abs().total_cmp(&b.pull.abs()))
}

/// Gauss-Newton step and covariance without capture `k`.
fn without(estimate: &Estimate, k: usize) -> Option<(DVector<f64>, DMatrix<f64>)> {
    let problem: &Problem = &estimate.problem;
    let equations = &estimate.solution.equations;
    let of_capture = problem.capture_equations(k, &estimate.predictions[k]);
    let normal = &equations.normal - &of_capture.normal;
    let gradient = &equations.gradient - &of_capture.gradient;
    let n = gradient.len();
    let free: Vec<usize> = (0..n)
        .filter(|&j| {
            estimate.covariance.free[j] && normal[(j, j)] > NOTHING_LEFT * equations.normal[(j, j)]
        })
        .collect();
    let (covariance, _) = inverse_over(&normal, &free, 1e-13);
    let shift = -(&covariance * gradient);
    Some((shift, covariance))
}

/// What usually moves a parameter on a bench.
pub fn causes(parameter: &str) -> &'static str {
    match parameter {
        "terminal_resistance" | "brush_drop" => {
            "a winding warmer than noted, a switch or lead inside the measured loop, a forgotten probe ratio, a rotor that slipped in its clamp"
        }
        "armature_inductance" | "electrical_time_constant" => {
            "a probe or sample rate too slow for L/R, a bouncing contact taken for the make, another rotor position"
        }
        "inertia_capacitance" | "rotor_inertia" | "mechanical_time_constant" => {
            "something left on the shaft, a wrong time base, a forgotten ratio of the current probe"
        }
        "back_emf_constant" => {
            "a wrong segment count, a tachometer that counted two marks, warm magnets"
        }
        _ => {
            "friction that changes as grease and brushes warm, a shifted zero of the current probe, another motor"
        }
    }
}
