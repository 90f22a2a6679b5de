//! One descent of the joint problem, and when it counts as ended.

use crate::fit::error::FitError;
use crate::fit::problem::Problem;
use crate::fit::solve::{SecondOrder, Solution, SolverError, SolverOptions, StopReason, minimise};
use crate::fit::unknowns::{Entry, Parameter};
use crate::stats::arrow::Inverse;
use nalgebra::DVector;

/// When a solve ends: relative size of the gradient, and distance from the minimum in standard deviations.
#[derive(Clone, Copy)]
pub(in crate::fit) struct Tolerance {
    gradient: f64,
    distance: f64,
}

/// Under the first, guessed weights, by which a standard deviation means little.
pub(in crate::fit) const ROUGH: Tolerance = Tolerance {
    gradient: 1e-2,
    distance: 0.3,
};
/// While weights still change. Half a standard deviation is too far: weights made from there hold some fits beside their minimum (of 2000
/// simulated benches some fifteen, by up to 80 standard deviations).
pub(in crate::fit) const COARSE: Tolerance = Tolerance {
    gradient: 1e-3,
    distance: 0.2,
};
/// For the result. Steps of the model that are halved on one side of a point only make the cost rough at about that scale: what
/// is asked for beyond it costs trials and gains nothing.
pub(in crate::fit) const FINE: Tolerance = Tolerance {
    gradient: 3e-4,
    distance: 0.02,
};

/// Trials that one descent may take. Nearly all end within 60; the valley between screening and saturation, where both bend
/// the same rise, takes twice as many.
pub(in crate::fit) const MOST_TRIALS: u64 = 200;

/// First damping from a first guess, and from the minimum under other weights: there the problem is next to linear, and damping
/// only holds the step back along directions that gains and zeros make long.
pub(in crate::fit) const FAR: f64 = 1e-3;
pub(in crate::fit) const CLOSE: f64 = 1e-8;

/// Share of the damping that holds an entry near a minimum: little for those in which the residuals are next to straight. Held as much as
/// the others they crawl: with a hundred captures along the gains, where the fit has to move most (283 trials for 78).
fn damping_share(parameter: &Parameter) -> f64 {
    if parameter.kind.bends() { 1.0 } else { 1e-3 }
}

/// Descends from `x`. `second_order`: what a solve under other weights has learned.
///
/// # Errors
/// When the fit has spent its model steps, or the problem cannot be evaluated at `x`.
pub(in crate::fit) fn solve(
    problem: &mut Problem,
    x: &DVector<f64>,
    iterations: u64,
    tolerance: Tolerance,
    damping: f64,
    second_order: Option<&SecondOrder>,
) -> Result<Solution, FitError> {
    let options = SolverOptions {
        max_iterations: iterations,
        gradient_tolerance: tolerance.gradient,
        distance_tolerance: tolerance.distance,
        loose_gradient_tolerance: tolerance.gradient,
        step_tolerance: 1e-8,
        cost_tolerance: 1e-7,
        initial_damping: damping,
        damping_shares: (damping == CLOSE).then(|| problem.layout.vector(damping_share)),
        second_order: second_order.cloned(),
    };
    let solution = ended(problem, minimise(problem, x, &options))?;
    if solution.reason.converged() {
        return Ok(solution);
    }
    let next_to_nothing = next_to_nothing(problem, &solution);
    if next_to_nothing.is_empty() {
        return Ok(solution);
    }
    for &entry in &next_to_nothing {
        problem.freeze(entry, problem.layout[entry].lower);
    }
    let held = minimise(problem, &solution.x, &options);
    for &entry in &next_to_nothing {
        problem.thaw(entry);
    }
    let mut again = match ended(problem, held) {
        Ok(again) if again.reason.converged() => again,
        Err(over @ (FitError::GivenUp { .. } | FitError::Solver(SolverError::Interrupted))) => {
            return Err(over);
        }
        _ => return Ok(solution),
    };
    again.iterations += solution.iterations;
    again.evaluations += solution.evaluations;
    again.normal_evaluations += solution.normal_evaluations;
    Ok(again)
}

/// A descent that ended without one, at a minimum all the same, counts as converged.
fn ended(problem: &Problem, solution: Result<Solution, SolverError>) -> Result<Solution, FitError> {
    if problem.exhausted() {
        return Err(FitError::GivenUp {
            steps_per_bin: problem.spent_per_bin(),
        });
    }
    let mut solution = solution?;
    // Steps that a discontinuity of the step control spoils, or perfect data, end without descent at a minimum.
    if !solution.reason.converged() && distance_to_minimum(&solution) < NEAR {
        solution.reason = StopReason::CostFlat;
    }
    Ok(solution)
}

/// Share of its prior within which a term stands at its bound as far as any capture could show (common practice, no source).
const NOTHING: f64 = 1e-3;

/// Terms of next to no size that are not held. Their steps are not halved for them, so that over samples longer than L/R their
/// derivatives are wrong by more than the term is worth, and may point up to where halving sets in, where the cost rises.
fn next_to_nothing(problem: &Problem, solution: &Solution) -> Vec<Entry> {
    problem
        .layout
        .entries()
        .filter(|(entry, p)| {
            let above = solution.x[*entry] - p.lower;
            let within = p.prior.is_some_and(|(_, sd)| above < NOTHING * sd);
            within && !solution.active[entry.index()]
        })
        .map(|(entry, _)| entry)
        .collect()
}

/// Standard deviations from the minimum below which a fit that finds no descent counts as ended there.
const NEAR: f64 = 0.1;

/// `√(gᵀN⁻¹g)` over the entries that can move: how many standard deviations the minimum of the local paraboloid lies away.
fn distance_to_minimum(solution: &Solution) -> f64 {
    let free: Vec<usize> = (0..solution.x.len())
        .filter(|&k| !solution.active[k] && solution.equations.normal[(k, k)] > 0.0)
        .collect();
    let inverse = Inverse::over(&solution.equations.normal, &free, 1e-12);
    let gradient = &solution.equations.gradient;
    gradient.dot(&inverse.times(gradient)).sqrt()
}
