//! Profile likelihood: how far a quantity can move while everything else follows, until twice the cost has risen by z².
//!
//! Where the model bends little over an interval this is the plain `± z σ`; where it does not, the profile is right and the plain
//! interval is not (Venzon & Moolgavkar 1988, Applied Statistics 37, 87-94).

use super::solver::{LeastSquares, NormalEquations, Solution, SolverOptions, minimise};
use nalgebra::{DMatrix, DVector};

/// A quantity and its derivatives at a parameter vector.
pub trait Target: Fn(&DVector<f64>) -> (f64, DVector<f64>) + Sync {}
impl<F: Fn(&DVector<f64>) -> (f64, DVector<f64>) + Sync> Target for F {}

/// Where the derivatives are taken from which the gain of the other parameters follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Derivatives {
    /// At the minimum: cheap, and enough to see that the cost is a paraboloid.
    AtMinimum,
    /// At the point itself, for an end that is moved.
    There,
}

/// The root of the rise of twice the cost over the plain distance in sigmas, at about `side · z · sigma` from the minimum: 1
/// where the plain interval holds. One evaluation; what the other parameters would still gain there is one Gauss-Newton step's.
/// `covariance`: inverse of the normal matrix over the entries that can move, zero elsewhere.
///
/// `None` where the point cannot be evaluated or a bound stands in between.
pub fn ratio_at(
    problem: &impl LeastSquares,
    solution: &Solution,
    covariance: &DMatrix<f64>,
    target: &impl Target,
    side: f64,
    z: f64,
    derivatives: Derivatives,
) -> Option<f64> {
    let along = Along::new(solution, covariance, target)?;
    let x = &solution.x + along.step(side * z);
    if outside(problem, &x) {
        return None;
    }
    let (cost, gradient) = match derivatives {
        Derivatives::AtMinimum => problem.near_minimum(&x)?,
        Derivatives::There => problem.normal_equations(&x).map(|e| (e.cost, e.gradient))?,
    };
    let (value, slope) = target(&x);
    let gain = gain(&gradient, covariance, &slope);
    let rise = 2.0 * (cost - solution.equations.cost) - gain;
    Some(rise.max(0.0).sqrt() / along.plain(value))
}

/// The direction in which a target moves with every other parameter at its best.
struct Along {
    /// The target's value at the minimum.
    at: f64,
    along: DVector<f64>,
    deviation: f64,
}

impl Along {
    fn new(solution: &Solution, covariance: &DMatrix<f64>, target: &impl Target) -> Option<Self> {
        let (at, slope) = target(&solution.x);
        let along = covariance * &slope;
        let variance = slope.dot(&along);
        (variance > 0.0).then(|| Along {
            at,
            along,
            deviation: variance.sqrt(),
        })
    }

    /// The step that moves the target by so many standard deviations.
    fn step(&self, sigmas: f64) -> DVector<f64> {
        &self.along * (sigmas / self.deviation)
    }

    /// Distance of a value of the target from that at the minimum, in plain standard deviations.
    fn plain(&self, value: f64) -> f64 {
        (value - self.at).abs() / self.deviation
    }
}

/// What twice the cost would still lose at a point if every other parameter went one Gauss-Newton step.
fn gain(gradient: &DVector<f64>, covariance: &DMatrix<f64>, slope: &DVector<f64>) -> f64 {
    let solved = covariance * gradient;
    let across = slope.dot(&solved);
    let kept = slope.dot(&(covariance * slope));
    (gradient.dot(&solved) - across * across / kept).max(0.0)
}

fn outside(problem: &impl LeastSquares, x: &DVector<f64>) -> bool {
    let beyond = |bound: Option<&DVector<f64>>, sign: f64| {
        bound.is_some_and(|b| x.iter().zip(b.iter()).any(|(x, b)| sign * (x - b) > 0.0))
    };
    beyond(problem.lower_bounds(), -1.0) || beyond(problem.upper_bounds(), 1.0)
}

/// The problem with its target held by a stiff spring.
struct Held<'a, P, T> {
    problem: &'a P,
    target: &'a T,
    value: f64,
    stiffness: f64,
}

impl<P: LeastSquares, T: Target> LeastSquares for Held<'_, P, T> {
    fn dimension(&self) -> usize {
        self.problem.dimension()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        let r = (self.target)(x).0 - self.value;
        Some(self.problem.cost(x)? + 0.5 * self.stiffness * r * r)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let mut out = self.problem.normal_equations(x)?;
        let (value, slope) = (self.target)(x);
        let r = value - self.value;
        out.cost += 0.5 * self.stiffness * r * r;
        out.gradient += &slope * (self.stiffness * r);
        out.normal += &slope * slope.transpose() * self.stiffness;
        Some(out)
    }

    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        self.problem.lower_bounds()
    }

    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        self.problem.upper_bounds()
    }

    fn step_limits(&self) -> Option<&DVector<f64>> {
        self.problem.step_limits()
    }
}

/// Spring against the target's own information: what the spring gives way is a ten-thousandth of a sigma.
const STIFF: f64 = 1e4;
/// Relative precision of the distance found.
const PRECISION: f64 = 2e-3;

/// How [`distance`] searches.
pub struct Search {
    /// Distance tried first.
    pub first: f64,
    /// Point from which the first fit begins.
    pub start: DVector<f64>,
    /// Most fits.
    pub trials: usize,
    pub options: SolverOptions,
}

/// Distance from the minimum to the side (±1) at which twice the cost has risen by z², every other parameter at its best.
///
/// `sigma`: standard deviation of the target, the scale of the search.
///
/// `None` where the cost does not rise that far within ten times `z · sigma`, or cannot be evaluated.
pub fn distance(
    problem: &impl LeastSquares,
    solution: &Solution,
    target: &impl Target,
    sigma: f64,
    side: f64,
    z: f64,
    search: &Search,
) -> Option<f64> {
    let (at, _) = target(&solution.x);
    let mut x = search.start.clone();
    // Distance at which the rise is known to be too small and too large.
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut distance = search.first;
    let mut last = None;
    for _ in 0..search.trials {
        let held = Held {
            problem,
            target,
            value: at + side * distance,
            stiffness: STIFF / (sigma * sigma),
        };
        let found = minimise(&held, &x, &search.options).ok()?;
        let reached = side * (target(&found.x).0 - at);
        let rise = 2.0 * (problem.cost(&found.x)? - solution.equations.cost);
        let ratio = rise.max(0.0).sqrt() / z;
        if (ratio - 1.0).abs() < PRECISION {
            return Some(reached);
        }
        if ratio < 1.0 {
            low = f64::max(low, reached);
        } else {
            high = f64::min(high, reached);
        }
        if low > 10.0 * z * sigma {
            return None;
        }
        let aimed = reached / ratio.max(0.2);
        distance = if aimed > low && aimed < high {
            aimed
        } else if high.is_finite() {
            0.5 * (low + high)
        } else {
            2.0 * low
        };
        last = Some(distance);
        x = found.x;
    }
    last
}
