//! Profile likelihood: how far a quantity can move while everything else follows, until twice the cost has risen by z².
//!
//! Where the model bends little over an interval this is the plain `± z σ`; where it does not, the profile is right and the plain
//! interval is not (Venzon & Moolgavkar 1988, Applied Statistics 37, 87-94).

mod end;
mod stretched;

pub use end::end;
pub use stretched::Stretched;

use crate::fit::solve::{LeastSquares, NormalEquations, Solution};
use nalgebra::{DMatrix, DVector};

/// A quantity and its derivatives at a parameter vector.
pub trait Target: Fn(&DVector<f64>) -> (f64, DVector<f64>) + Sync {}
impl<F: Fn(&DVector<f64>) -> (f64, DVector<f64>) + Sync> Target for F {}

/// Cost and gradient at a point.
#[derive(Clone, Debug)]
pub struct CostAndGradient {
    /// Half the sum of squared residuals.
    pub cost: f64,
    /// Its derivative by each unknown.
    pub gradient: DVector<f64>,
}

impl From<NormalEquations> for CostAndGradient {
    fn from(equations: NormalEquations) -> Self {
        CostAndGradient {
            cost: equations.cost,
            gradient: equations.gradient,
        }
    }
}

/// A problem whose derivatives at one point serve around it, where residuals alone cost a fraction.
pub trait Linearised: LeastSquares {
    /// Derivatives of every residual at one point.
    type Derivatives: Sync;

    /// Normal equations at `x` with the derivatives they are made of; `None` where the model cannot be evaluated.
    fn linearise(&self, x: &DVector<f64>) -> Option<(NormalEquations, Self::Derivatives)>;

    /// Cost and gradient at `x + step`, the latter with the given derivatives; and what they would be at `x − step`, were the
    /// residuals' departure from a straight line the same on both sides of `x`. `None` where the model cannot be evaluated.
    fn both_sides(
        &self,
        x: &DVector<f64>,
        step: &DVector<f64>,
        derivatives: &Self::Derivatives,
    ) -> Option<[CostAndGradient; 2]>;
}

/// A minimum, with what profiles start from.
pub struct Minimum<'a, P: Linearised> {
    /// The least squares.
    pub problem: &'a P,
    /// Its minimum.
    pub solution: &'a Solution,
    /// Inverse of the normal matrix over the entries that can move, zero elsewhere.
    pub covariance: &'a DMatrix<f64>,
    /// Those at the minimum.
    pub derivatives: &'a P::Derivatives,
    /// Normal quantile of the interval.
    pub z: f64,
}

impl<P: Linearised> Minimum<'_, P> {
    fn bounds(&self, k: usize) -> (f64, f64) {
        let (lower, upper) = (self.problem.lower_bounds(), self.problem.upper_bounds());
        (
            lower.map_or(f64::NEG_INFINITY, |b| b[k]),
            upper.map_or(f64::INFINITY, |b| b[k]),
        )
    }

    /// Whether a value of entry k lies outside its bounds.
    fn beyond(&self, k: usize, value: f64) -> bool {
        let (lower, upper) = self.bounds(k);
        value < lower || value > upper
    }
}

/// A target at the minimum and the direction in which it moves with every other parameter at its best.
pub struct Direction<'a, T> {
    target: &'a T,
    /// The target's value at the minimum.
    at: f64,
    along: DVector<f64>,
    /// Standard deviation of the target.
    pub sigma: f64,
}

impl<'a, T: Target> Direction<'a, T> {
    /// `None` for a target that does not move.
    pub fn new<P: Linearised>(minimum: &Minimum<P>, target: &'a T) -> Option<Self> {
        let (at, slope) = target(&minimum.solution.x);
        let along = minimum.covariance * &slope;
        let variance = slope.dot(&along);
        (variance > 0.0).then(|| Direction {
            target,
            at,
            along,
            sigma: variance.sqrt(),
        })
    }

    /// Change of entry k over the plain interval's half width.
    pub fn change(&self, k: usize, z: f64) -> f64 {
        self.along[k] * z / self.sigma
    }

    /// Distance of a point's target from that at the minimum, to a side (±1).
    fn distance(&self, x: &DVector<f64>, side: f64) -> f64 {
        side * ((self.target)(x).0 - self.at)
    }
}

/// A point on the plain interval's end and what is seen there.
pub struct PlainEnd {
    x: DVector<f64>,
    sight: CostAndGradient,
    /// The root of the rise of twice the cost over the plain distance in sigmas, every other parameter at its best: 1 where the
    /// plain interval holds.
    pub ratio: f64,
}

/// The plain interval's end on one side (±1), and what it foresees of the other, where no bound lies in between. Where one does, the end has the
/// entries that would leave their bounds stopped there. `None` where the point cannot be evaluated.
pub fn plain_ends<P: Linearised, T: Target>(
    minimum: &Minimum<P>,
    direction: &Direction<T>,
    side: f64,
) -> Option<(PlainEnd, Option<PlainEnd>)> {
    let Minimum {
        problem, solution, ..
    } = minimum;
    let step = &direction.along * (side * minimum.z / direction.sigma);
    let points = [&solution.x + &step, &solution.x - &step];
    let beyond = |x: &DVector<f64>| (0..x.len()).any(|k| minimum.beyond(k, x[k]));
    if beyond(&points[0]) {
        return Some((end::stopped_at_bounds(minimum, direction, side)?, None));
    }
    let sights = problem.both_sides(&solution.x, &step, minimum.derivatives)?;
    let mut ends = points.into_iter().zip(sights).map(|(x, sight)| {
        let (value, slope) = (direction.target)(&x);
        let left = gain(&sight.gradient, minimum.covariance, &slope);
        let rise = 2.0 * (sight.cost - solution.equations.cost) - left;
        let sigmas = (value - direction.at).abs() / direction.sigma;
        PlainEnd {
            ratio: rise.max(0.0).sqrt() / sigmas,
            x,
            sight,
        }
    });
    Some((ends.next()?, ends.next().filter(|end| !beyond(&end.x))))
}

/// What twice the cost would still lose at a point if every other parameter went one Gauss-Newton step.
fn gain(gradient: &DVector<f64>, covariance: &DMatrix<f64>, slope: &DVector<f64>) -> f64 {
    let solved = covariance * gradient;
    let across = slope.dot(&solved);
    let kept = slope.dot(&(covariance * slope));
    (gradient.dot(&solved) - across * across / kept).max(0.0)
}
