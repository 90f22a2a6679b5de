//! One damped Gauss-Newton step inside bounds, and the measure of how far the minimum still is.

use super::least_squares::{LeastSquares, NormalEquations};
use super::solution::SolverError;
use crate::stats::arrow;
use nalgebra::{DMatrix, DVector};

/// Bounds and step limits of a problem, checked once, infinite where absent.
pub(super) struct Bounds {
    pub lower: DVector<f64>,
    pub upper: DVector<f64>,
    pub step_limit: DVector<f64>,
}

impl Bounds {
    pub fn of(problem: &impl LeastSquares) -> Result<Self, SolverError> {
        let n = problem.dimension();
        let or_infinite = |given: Option<&DVector<f64>>, what, infinite| match given {
            None => Ok(DVector::from_element(n, infinite)),
            Some(values) if values.len() == n => Ok(values.clone()),
            Some(values) => Err(SolverError::Dimension {
                what,
                found: values.len(),
                expected: n,
            }),
        };
        let bounds = Bounds {
            lower: or_infinite(problem.lower_bounds(), "the lower bound", f64::NEG_INFINITY)?,
            upper: or_infinite(problem.upper_bounds(), "the upper bound", f64::INFINITY)?,
            step_limit: or_infinite(problem.step_limits(), "the step limit", f64::INFINITY)?,
        };
        for index in 0..n {
            let (lower, upper) = (bounds.lower[index], bounds.upper[index]);
            // Written so that a bound that is not a number counts as crossed.
            if !matches!(
                lower.partial_cmp(&upper),
                Some(std::cmp::Ordering::Less | std::cmp::Ordering::Equal)
            ) {
                return Err(SolverError::CrossedBounds {
                    index,
                    lower,
                    upper,
                });
            }
        }
        Ok(bounds)
    }

    pub fn project(&self, x: &DVector<f64>) -> DVector<f64> {
        DVector::from_fn(x.len(), |i, _| x[i].max(self.lower[i]).min(self.upper[i]))
    }

    /// Whether each parameter sits on a bound.
    pub fn at_bound(&self, x: &DVector<f64>) -> Vec<bool> {
        (0..x.len())
            .map(|i| x[i] <= self.lower[i] || x[i] >= self.upper[i])
            .collect()
    }

    /// The parameters a step may move: all but those on a bound that the descent direction pushes against.
    pub fn free(&self, x: &DVector<f64>, gradient: &DVector<f64>) -> Vec<usize> {
        (0..x.len())
            .filter(|&i| {
                let held_below = x[i] <= self.lower[i] && gradient[i] >= 0.0;
                let held_above = x[i] >= self.upper[i] && gradient[i] <= 0.0;
                !(held_below || held_above)
            })
            .collect()
    }
}

/// A step that stays inside the bounds, with the reduction of the cost the quadratic model expects from it.
pub(super) struct Step {
    pub change: DVector<f64>,
    pub predicted: f64,
}

/// Solves `(N + λD) p = −g` over `free`, holding at its bound whatever would cross one and solving again for the
/// rest. `None` when no factorisation succeeds, which more damping mends.
pub(super) fn damped_step(
    equations: &NormalEquations,
    x: &DVector<f64>,
    bounds: &Bounds,
    free: &[usize],
    scale: &DVector<f64>,
    damping: &impl Fn(usize) -> f64,
) -> Option<Step> {
    let n = x.len();
    let mut change = DVector::zeros(n);
    let mut free = free.to_vec();
    // Each round fixes at least one parameter at its bound, so this ends after at most n rounds.
    while !free.is_empty() {
        // The parameters fixed so far act on the others through the off-diagonal part of N.
        let pull = &equations.gradient + &equations.normal * &change;
        let solved = solve_scaled(&equations.normal, &pull, &free, scale, damping)?;
        let mut crossing = Vec::new();
        for (k, &i) in free.iter().enumerate() {
            let reached = x[i] + solved[k];
            if reached < bounds.lower[i] {
                crossing.push((i, bounds.lower[i] - x[i]));
            } else if reached > bounds.upper[i] {
                crossing.push((i, bounds.upper[i] - x[i]));
            }
        }
        if crossing.is_empty() {
            for (k, &i) in free.iter().enumerate() {
                change[i] = solved[k];
            }
            break;
        }
        for &(i, to_bound) in &crossing {
            change[i] = to_bound;
        }
        free.retain(|i| crossing.iter().all(|(held, _)| held != i));
    }
    let shortening = (0..n)
        .filter(|&i| change[i] != 0.0)
        .map(|i| bounds.step_limit[i] / change[i].abs())
        .fold(1.0_f64, f64::min);
    if shortening < 1.0 {
        change *= shortening;
    }
    let predicted =
        -(equations.gradient.dot(&change) + 0.5 * change.dot(&(&equations.normal * &change)));
    (predicted.is_finite() && change.iter().all(|value| value.is_finite()))
        .then_some(Step { change, predicted })
}

/// `√(gᵀN⁻¹g)` over `free`: the length of the undamped step in units of the residuals. Where N is singular the
/// directions it does not see are left out, by the least ridge that lets the factorisation through.
pub(super) fn decrement(equations: &NormalEquations, free: &[usize]) -> f64 {
    if free.is_empty() {
        return 0.0;
    }
    let scale = equations.normal.diagonal();
    let mut ridge = 0.0;
    while ridge < 1e-3 {
        if let Some(step) = solve_scaled(
            &equations.normal,
            &equations.gradient,
            free,
            &scale,
            &|_| ridge,
        ) {
            let product: f64 = free
                .iter()
                .enumerate()
                .map(|(k, &i)| -equations.gradient[i] * step[k])
                .sum();
            if product.is_finite() {
                return product.max(0.0).sqrt();
            }
        }
        ridge = if ridge == 0.0 { 1e-15 } else { ridge * 10.0 };
    }
    f64::INFINITY
}

/// Whether the matrix is positive definite over `free`, or as good as.
pub(super) fn has_minimum(equations: &NormalEquations, free: &[usize]) -> bool {
    let scale = equations.normal.diagonal();
    free.iter().all(|&i| scale[i] >= 0.0)
        && solve_scaled(
            &equations.normal,
            &equations.gradient,
            free,
            &scale,
            &|_| 1e-12,
        )
        .is_some()
}

/// Solves `N p = right` over `free`, zero elsewhere; `None` where N is not positive definite there.
pub(in crate::fit) fn solve_over(
    normal: &DMatrix<f64>,
    right: &DVector<f64>,
    free: &[usize],
) -> Option<DVector<f64>> {
    let solved = solve_scaled(normal, right, free, &normal.diagonal(), &|_| 0.0)?;
    let mut out = DVector::zeros(right.len());
    for (&k, value) in free.iter().zip(solved.iter()) {
        out[k] = -value;
    }
    Some(out)
}

/// Solves `(N + λ diag(scale)) p = −g` over `free` in the coordinates `u = √scale · p`, where the matrix has a
/// diagonal near one whatever the units.
fn solve_scaled(
    normal: &DMatrix<f64>,
    gradient: &DVector<f64>,
    free: &[usize],
    scale: &DVector<f64>,
    damping: &impl Fn(usize) -> f64,
) -> Option<DVector<f64>> {
    // A parameter nothing depends on has an empty row and no gradient; unit scale makes its step exactly zero.
    let root: Vec<f64> = free
        .iter()
        .map(|&i| if scale[i] > 0.0 { scale[i].sqrt() } else { 1.0 })
        .collect();
    let m = free.len();
    let matrix = DMatrix::from_fn(m, m, |a, b| {
        let entry = normal[(free[a], free[b])] / root[a] / root[b];
        if a != b {
            entry
        } else if scale[free[a]] > 0.0 {
            entry + damping(free[a])
        } else {
            entry + 1.0
        }
    });
    let right = DVector::from_fn(m, |a, _| -gradient[free[a]] / root[a]);
    let mut solution = arrow::solve(matrix, &right)?;
    for (value, root) in solution.iter_mut().zip(&root) {
        *value /= root;
    }
    solution
        .iter()
        .all(|value| value.is_finite())
        .then_some(solution)
}
