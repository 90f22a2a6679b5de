//! Least squares with bounds: Levenberg-Marquardt damping on the normal equations, carried by argmin.
//!
//! Minimises `c(x) = rᵀr / 2`, where `r` holds residuals in units of their standard deviation (priors are residuals
//! too). The problem hands over `c`, its gradient `g = Jᵀr` and the Gauss-Newton matrix `N = JᵀJ`, never the Jacobian
//! itself, so a problem of a million residuals and forty parameters costs forty by forty here. Each trial solves
//!
//! ```text
//! (N + λ D) p = −g      D = diag, the largest N_ii seen so far (Marquardt 1963; Moré 1978)
//! ```
//!
//! over the parameters not held by a bound, and λ follows the ratio of achieved to predicted reduction
//! (Madsen, Nielsen & Tingleff, *Methods for Non-Linear Least Squares Problems*, 2nd ed. 2004, §3.2). Because D carries
//! the units, multiplying a parameter by a constant changes nothing but rounding.
//!
//! Guarantees: the cost never rises from one accepted point to the next (beyond rounding); every point evaluated lies
//! inside the bounds; the number of trials is limited; and the result says in words why it stopped. It finds a local
//! minimum, the one whose basin the start lies in, and gives no covariance.

mod least_squares;
mod levenberg_marquardt;
mod monitor;
mod options;
mod point;
mod second_order;
mod solution;
mod step;

pub use least_squares::{LeastSquares, NormalEquations};
pub use monitor::{Interrupt, Monitor, Progress};
pub use options::SolverOptions;
pub use second_order::SecondOrder;
pub use solution::{Solution, SolverError, StopReason};
pub(super) use step::solve_over;

use argmin::core::observers::ObserverMode;
use argmin::core::{Executor, State, TerminationReason, TerminationStatus};
use levenberg_marquardt::{COST_COUNT, LevenbergMarquardt, NORMAL_COUNT};
use monitor::SolverState;
use nalgebra::DVector;

/// Minimises half the sum of squared residuals from `start`, which is moved onto the bounds where it lies outside.
///
/// # Errors
/// [`SolverError`] when shapes or bounds do not fit, the model cannot be evaluated at `start`, or the problem's monitor
/// interrupts it. Every other end is a [`Solution`] with its reason.
pub fn minimise<P: LeastSquares>(
    problem: &P,
    start: &DVector<f64>,
    options: &SolverOptions,
) -> Result<Solution, SolverError> {
    let bounds = step::Bounds::of(problem)?;
    check_start(problem.dimension(), start)?;
    let monitor = problem.monitor();
    let solver = LevenbergMarquardt::new(options.clone(), bounds, monitor.interrupt.clone());
    let mut executor = Executor::new(problem, solver).configure(|state: SolverState| {
        state.param(start.clone()).max_iters(options.max_iterations)
    });
    if monitor.reports() {
        executor = executor.add_observer(monitor, ObserverMode::Always);
    }
    let ended = executor
        .run()
        .map_err(|error| match error.downcast::<SolverError>() {
            Ok(ours) => ours,
            Err(other) => SolverError::Engine(format!("{other:#}")),
        })?;
    let stopped_by_argmin = match ended.state.get_termination_status() {
        TerminationStatus::Terminated(TerminationReason::Interrupt) => {
            return Err(SolverError::Interrupted);
        }
        TerminationStatus::Terminated(TerminationReason::MaxItersReached) => {
            Some(StopReason::IterationLimit)
        }
        _ => None,
    };
    let count = |name: &str| {
        let calls = ended.problem.counts.get(name).copied().unwrap_or(0);
        usize::try_from(calls).unwrap_or(usize::MAX)
    };
    let normal_evaluations = count(NORMAL_COUNT);
    let evaluations = count(COST_COUNT) + normal_evaluations;
    let iterations = usize::try_from(ended.state.get_iter()).unwrap_or(usize::MAX);
    let finish = ended.solver.finish();
    let (Some(reason), Some(point)) = (stopped_by_argmin.or(finish.reason), finish.point) else {
        return Err(SolverError::Engine("no point was reached".into()));
    };
    Ok(Solution {
        active: finish.bounds.at_bound(&point.x),
        x: point.x,
        equations: point.equations,
        iterations,
        evaluations,
        normal_evaluations,
        reason,
        second_order: finish.second_order,
    })
}

fn check_start(dimension: usize, start: &DVector<f64>) -> Result<(), SolverError> {
    if start.len() != dimension {
        return Err(SolverError::Dimension {
            what: "the start vector",
            found: start.len(),
            expected: dimension,
        });
    }
    match start.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(SolverError::StartNotFinite {
            index,
            value: start[index],
        }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests;
