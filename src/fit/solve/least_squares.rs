//! What the solver needs of a problem.

use super::monitor::Monitor;
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

    /// Notified of every trial, and asked whether to go on.
    fn monitor(&self) -> Monitor {
        Monitor::default()
    }

    /// Largest change of each parameter in one trial, length n, +∞ where free. The step is shortened as a whole, so
    /// its direction stays. Meant for parameters fitted in log, where a change of 10 leaves the model's range.
    fn step_limits(&self) -> Option<&DVector<f64>> {
        None
    }
}
