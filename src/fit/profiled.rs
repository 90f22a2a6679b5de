//! Which intervals of an estimate the plain `± z σ` does not describe, and how far those reach instead.

use super::estimate::Estimate;
use super::monomial::monomials;
use super::profile::{Derivatives, Search, distance, ratio_at};
use super::solver::SolverOptions;
use crate::stats::quantiles::normal_quantile;
use nalgebra::DVector;
use rayon::prelude::*;

/// Reach of an interval to both sides over its plain reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Key of the parameter.
    pub parameter: &'static str,
    pub below: f64,
    pub above: f64,
}

/// Departure of the profile from the plain interval, relative to its half width, up to which the plain one is told.
const AGREES: f64 = 0.05;

/// Departure beyond which every other parameter is fitted again instead of moved by one step.
const STRONG: f64 = 0.3;

const QUICK_TRIALS: usize = 2;

/// Most a profile may narrow or widen one side: beyond it the cost is no paraboloid at all, and the narrower claim is not made.
const NARROWEST: f64 = 0.5;
const WIDEST: f64 = 4.0;

/// Profiles of every parameter whose interval is two-sided; those that agree with the plain interval are absent.
pub fn reaches(estimate: &Estimate) -> Vec<Reach> {
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    monomials()
        .par_iter()
        .filter_map(|m| {
            let placed = m.place(&estimate.problem.layout)?;
            // One at its bound has a one-sided interval of its own.
            if placed.linear.is_some_and(|k| !estimate.covariance.free[k]) {
                return None;
            }
            let target = |x: &DVector<f64>| placed.target(x);
            let covariance = estimate.covariance.conditional();
            let (at, slope) = target(&estimate.solution.x);
            let sigma = slope.dot(&(covariance * &slope)).max(0.0).sqrt();
            if sigma.is_nan() || sigma <= 0.0 || (placed.linear.is_some() && at < z * sigma) {
                return None;
            }
            let problem = &estimate.problem;
            let solution = &estimate.solution;
            let side = |side: f64| {
                let ratio = |sigmas: f64, derivatives: Derivatives| {
                    ratio_at(
                        problem,
                        solution,
                        covariance,
                        &target,
                        side,
                        sigmas,
                        derivatives,
                    )
                };
                let agrees = |ratio: f64| (ratio - 1.0).abs() <= AGREES;
                if ratio(z, Derivatives::AtMinimum).is_none_or(agrees) {
                    return 1.0;
                }
                // Sigmas at which the quick profile has risen by z², by secant steps.
                let mut sigmas = z;
                for _ in 0..QUICK_TRIALS {
                    let Some(ratio) = ratio(sigmas, Derivatives::There) else {
                        return 1.0;
                    };
                    let next = z / ratio.max(0.1);
                    let settled = (next / sigmas - 1.0).abs() < 0.2 * AGREES;
                    if sigmas == z && agrees(ratio) {
                        return 1.0;
                    }
                    sigmas = next.clamp(NARROWEST * z, WIDEST * z);
                    if settled {
                        break;
                    }
                }
                if (sigmas / z - 1.0).abs() > STRONG {
                    let along = covariance * &slope / sigma;
                    let search = Search {
                        start: &solution.x + along * (side * sigmas),
                        first: sigmas * sigma,
                        trials: 1,
                        options: SolverOptions {
                            max_iterations: 5,
                            gradient_tolerance: 2e-3,
                            loose_gradient_tolerance: 2e-3,
                            cost_tolerance: 1e-7,
                            initial_damping: 1e-8,
                            second_order: Some(solution.second_order.clone()),
                            ..SolverOptions::default()
                        },
                    };
                    if let Some(d) = distance(problem, solution, &target, sigma, side, z, &search) {
                        sigmas = d / sigma;
                    }
                }
                let reach = (sigmas / z).clamp(NARROWEST, WIDEST);
                if (reach - 1.0).abs() > AGREES {
                    reach
                } else {
                    1.0
                }
            };
            let (below, above) = (side(-1.0), side(1.0));
            ((below, above) != (1.0, 1.0)).then_some(Reach {
                parameter: m.name,
                below,
                above,
            })
        })
        .collect()
}
