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

mod levenberg_marquardt;
mod second_order;
mod step;

pub use second_order::SecondOrder;
pub(super) use step::solve_over;

use argmin::core::{Executor, State};
use levenberg_marquardt::{COST_COUNT, LevenbergMarquardt, NORMAL_COUNT, SolverState};
use nalgebra::{DMatrix, DVector};

/// Value, gradient and Gauss-Newton matrix of half the sum of squared weighted residuals (priors included).
#[derive(Debug, Clone, PartialEq)]
pub struct NormalEquations {
    /// Half the sum of squared residuals, no unit.
    pub cost: f64,
    /// `Jᵀr`, length n.
    pub gradient: DVector<f64>,
    /// `JᵀJ`, n by n, symmetric, positive semidefinite.
    pub normal: DMatrix<f64>,
}

/// A problem of n parameters whose weighted residuals are to be made small.
pub trait LeastSquares {
    /// Number of parameters n.
    fn dimension(&self) -> usize;

    /// Half the sum of squared residuals at `x`; `None` where the model cannot be evaluated, which the solver
    /// answers with a shorter step.
    fn cost(&self, x: &DVector<f64>) -> Option<f64>;

    /// Cost, gradient and Gauss-Newton matrix at `x`; `None` as for [`cost`](Self::cost).
    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations>;

    /// Lower bounds, length n, −∞ where there is none.
    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        None
    }

    /// Upper bounds, length n, +∞ where there is none.
    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        None
    }

    /// Largest change of each parameter in one trial, length n, +∞ where free. The step is shortened as a whole, so
    /// its direction stays. Meant for parameters fitted in log, where a change of 10 leaves the model's range.
    fn step_limits(&self) -> Option<&DVector<f64>> {
        None
    }
}

/// When to stop and how boldly to begin. The defaults suit residuals in units of their standard deviation.
#[derive(Debug, Clone, PartialEq)]
pub struct SolverOptions {
    /// Limit on the number of trials, accepted or not.
    pub max_iterations: u64,
    /// Stop when the cosine of the angle between the residuals and the space the model can still move them in is
    /// below this: `√(gᵀN⁻¹g) / √(2c)` over the free parameters (relative offset of Bates & Watts 1981). With n
    /// residuals of unit variance the distance to the minimum is then below `gradient_tolerance·√n` standard
    /// deviations of any parameter.
    pub gradient_tolerance: f64,
    /// Stop also when the minimum of the local paraboloid, `√(gᵀN⁻¹g)`, is nearer than this, in standard deviations.
    pub distance_tolerance: f64,
    /// The first measure, looser: where no step lowers the cost any more, a gradient below this is taken for the minimum
    /// of a model whose cost is only exact to so many digits, as one that integrates or switches at events.
    pub loose_gradient_tolerance: f64,
    /// Stop when a nearly undamped step changes every parameter by less than this share of itself.
    pub step_tolerance: f64,
    /// Share of the cost below which a change of it is taken for rounding.
    pub cost_tolerance: f64,
    /// First damping λ, relative to the diagonal of N: 1e-3 trusts the start, 1 or more does not.
    pub initial_damping: f64,
    /// What a solve of a like problem has learned of the second derivatives, or [`SecondOrder::default`], to learn them near a minimum; far from it
    /// they change too much from step to step, and `None` goes without.
    pub second_order: Option<SecondOrder>,
}

impl Default for SolverOptions {
    fn default() -> Self {
        SolverOptions {
            max_iterations: 200,
            gradient_tolerance: 1e-8,
            distance_tolerance: 0.0,
            loose_gradient_tolerance: 1e-5,
            step_tolerance: 1e-10,
            cost_tolerance: 1e-13,
            initial_damping: 1e-3,
            second_order: None,
        }
    }
}

/// Why the iteration ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StopReason {
    /// No free direction lowers the cost by a share that matters.
    GradientSmall,
    /// A nearly undamped step left every parameter where it was.
    StepSmall,
    /// The cost no longer changes beyond its rounding or its own noise, and the gradient no longer shrinks.
    CostFlat,
    /// The number of trials ran out.
    IterationLimit,
    /// Even the shortest step raised the cost: gradient and cost contradict each other.
    NoDescent,
    /// Every step, however short, led where the model cannot be evaluated.
    NotFinite,
}

impl StopReason {
    /// Whether the point is a minimum as far as the arithmetic can tell.
    pub fn converged(self) -> bool {
        matches!(self, Self::GradientSmall | Self::StepSmall | Self::CostFlat)
    }
}

impl std::fmt::Display for StopReason {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(match self {
            Self::GradientSmall => "converged: the gradient is small in every free direction",
            Self::StepSmall => "converged: the last step changed no parameter noticeably",
            Self::CostFlat => "converged: the sum of squares no longer changes beyond rounding",
            Self::IterationLimit => "not converged: the limit on iterations was reached",
            Self::NoDescent => {
                "not converged: no step lowers the sum of squares, so its derivatives disagree with its values"
            }
            Self::NotFinite => {
                "not converged: the model cannot be evaluated anywhere along the way down"
            }
        })
    }
}

/// The point reached, with everything known there.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Parameters, length n, inside the bounds.
    pub x: DVector<f64>,
    /// Cost, gradient and Gauss-Newton matrix at `x`.
    pub equations: NormalEquations,
    /// Trials made, accepted or not.
    pub iterations: usize,
    /// Calls of the problem: costs alone plus normal equations.
    pub evaluations: usize,
    /// The calls among them that asked for the normal equations, the dear ones.
    pub normal_evaluations: usize,
    /// Why it stopped.
    pub reason: StopReason,
    /// Whether each parameter sits on one of its bounds.
    pub active: Vec<bool>,
    /// What was learned of the second derivatives that the Gauss-Newton matrix leaves out.
    pub second_order: SecondOrder,
}

/// What stood in the way of even beginning.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SolverError {
    #[error("{what} has {found} entries where the problem has {expected} parameters")]
    Dimension {
        what: &'static str,
        found: usize,
        expected: usize,
    },
    #[error("parameter {index}: lower bound {lower} is above upper bound {upper}")]
    CrossedBounds {
        index: usize,
        lower: f64,
        upper: f64,
    },
    #[error("parameter {index}: the start value {value} is not a finite number")]
    StartNotFinite { index: usize, value: f64 },
    #[error("the model cannot be evaluated at the start values; begin from others")]
    StartNotEvaluable,
    #[error("parameter {index}: the derivative of the cost at the start values is not finite")]
    DerivativeNotFinite { index: usize },
    #[error("the iteration engine failed: {0}")]
    Engine(String),
}

/// Minimises half the sum of squared residuals from `start`, which is moved onto the bounds where it lies outside.
///
/// # Errors
/// [`SolverError`] when shapes or bounds do not fit or the model cannot be evaluated at `start`. Everything that
/// happens later ends in a [`Solution`] with its reason.
pub fn minimise(
    problem: &impl LeastSquares,
    start: &DVector<f64>,
    options: &SolverOptions,
) -> Result<Solution, SolverError> {
    let bounds = step::Bounds::of(problem)?;
    check_start(problem.dimension(), start)?;
    let solver = LevenbergMarquardt::new(options.clone(), bounds);
    let executor = Executor::new(problem, solver)
        .ctrlc(false)
        .configure(|state: SolverState| {
            state.param(start.clone()).max_iters(options.max_iterations)
        });
    let result = executor
        .run()
        .map_err(|error| match error.downcast::<SolverError>() {
            Ok(ours) => ours,
            Err(other) => SolverError::Engine(format!("{other:#}")),
        })?;
    let count = |name: &str| {
        let calls = result.problem.counts.get(name).copied().unwrap_or(0);
        usize::try_from(calls).unwrap_or(usize::MAX)
    };
    let normal_evaluations = count(NORMAL_COUNT);
    let evaluations = count(COST_COUNT) + normal_evaluations;
    let iterations = usize::try_from(result.state.get_iter()).unwrap_or(usize::MAX);
    let end = result
        .solver
        .finish()
        .ok_or_else(|| SolverError::Engine("no point was reached".into()))?;
    Ok(Solution {
        x: end.x,
        equations: end.equations,
        iterations,
        evaluations,
        normal_evaluations,
        reason: end.reason,
        active: end.active,
        second_order: end.second_order,
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
