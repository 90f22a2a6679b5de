//! Settings of a solve.

use super::second_order::SecondOrder;
use nalgebra::DVector;

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
    /// Share of the damping that each parameter gets, length n; all of it without. Where only a few bend the residuals, damping that holds
    /// the others as well makes the solve crawl along directions that a long straight step would cross.
    pub damping_shares: Option<DVector<f64>>,
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
            damping_shares: None,
            second_order: None,
        }
    }
}
