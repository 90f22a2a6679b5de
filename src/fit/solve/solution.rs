//! How a solve ended.

use super::least_squares::NormalEquations;
use super::second_order::SecondOrder;
use nalgebra::DVector;

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
#[non_exhaustive]
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

/// What stood in the way of beginning or of ending.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SolverError {
    /// A vector with the wrong number of entries.
    #[error("{what} has {found} entries where the problem has {expected} parameters")]
    Dimension {
        /// Which vector.
        what: &'static str,
        /// Its entries.
        found: usize,
        /// Parameters of the problem.
        expected: usize,
    },
    /// A lower bound above its upper bound.
    #[error("parameter {index}: lower bound {lower} is above upper bound {upper}")]
    CrossedBounds {
        /// Index of the parameter.
        index: usize,
        /// Lower bound.
        lower: f64,
        /// Upper bound.
        upper: f64,
    },
    /// A start value that is infinite or not a number.
    #[error("parameter {index}: the start value {value} is not a finite number")]
    StartNotFinite {
        /// Index of the parameter.
        index: usize,
        /// The start value.
        value: f64,
    },
    /// The model gives no finite cost at the start values.
    #[error("the model cannot be evaluated at the first guess")]
    StartNotEvaluable,
    /// A derivative at the start values that is infinite or not a number.
    #[error("parameter {index}: the derivative of the cost at the start values is not finite")]
    DerivativeNotFinite {
        /// Index of the parameter.
        index: usize,
    },
    /// The caller stopped the iteration.
    #[error("interrupted")]
    Interrupted,
    /// A failure inside the iteration engine, with its message.
    #[error("the iteration engine failed: {0}")]
    Engine(String),
}
