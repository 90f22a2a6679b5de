//! The end of a profile interval, by Newton steps.

use super::{CostAndGradient, Direction, Linearised, Minimum, PlainEnd, Target};
use crate::fit::solve::{NormalEquations, SecondOrder, solve_over};
use nalgebra::{DMatrix, DVector};

/// Share of the plain distance that the last step may still add to an end, with derivatives of its own and with those of the point before: what
/// is left is a fraction of it.
const PRECISION: f64 = 0.005;
const BESIDE: f64 = 0.01;
/// Share of the whole rise by which the cost may differ from what a step foresaw: for the step to be made, and for the derivatives from
/// which it was made to serve once more.
const MADE: f64 = 0.25;
const STRAIGHT: f64 = 0.03;
/// Points at which derivatives are taken, and halvings of a step.
const MOST_POINTS: usize = 8;
const MOST_HALVINGS: usize = 4;

/// Distance from the minimum to a side (±1) at which twice the cost has risen by z², every other parameter at its best; entries that a
/// bound holds at the minimum stay there.
///
/// Both conditions are met together by Newton steps (Venzon & Moolgavkar 1988, section 2), none longer than the paraboloid it is made
/// on holds. `within`: least and largest distance of interest, in plain ones; an end beyond is reported as there.
///
/// `None` where the steps do not settle or the model cannot be evaluated.
pub fn end<P: Linearised, T: Target>(
    minimum: &Minimum<P>,
    direction: &Direction<T>,
    side: f64,
    plain: PlainEnd,
    within: (f64, f64),
) -> Option<f64> {
    let search = Search::new(minimum, direction, side, within);
    let mut x = plain.x;
    // Derivatives at the minimum lead near the end, no more.
    let first = Paraboloid::new(plain.sight, minimum.solution.equations.normal.clone());
    x += search.step(&x, &first)?.change;
    let mut second_order = SecondOrder::none(x.len());
    let mut before: Option<(DVector<f64>, NormalEquations)> = None;
    for _ in 0..MOST_POINTS {
        let (there, derivatives) = minimum.problem.linearise(&x)?;
        if let Some((from, equations)) = &before {
            second_order.learn(&(&x - from), equations, &there);
        }
        let mut paraboloid =
            Paraboloid::new(there.clone().into(), second_order.paraboloid(&there).normal);
        let mut step = match search.step(&x, &paraboloid) {
            Some(step) => step,
            None => {
                paraboloid.normal.clone_from(&there.normal);
                second_order.distrust();
                search.step(&x, &paraboloid)?
            }
        };
        before = Some((x.clone(), there));
        if search.settles(&step, PRECISION) {
            return Some(step.to);
        }
        let mut halvings = 0;
        let (sight, off) = loop {
            let [sight, _] = minimum.problem.both_sides(&x, &step.change, &derivatives)?;
            let off = (sight.cost - paraboloid.at(&step.change)).abs() / search.rise;
            if off < MADE || halvings == MOST_HALVINGS {
                break (sight, off);
            }
            step.change *= 0.5;
            halvings += 1;
        };
        x += step.change;
        if off < STRAIGHT && halvings == 0 {
            let last = search.step(
                &x,
                &Paraboloid {
                    sight,
                    ..paraboloid
                },
            )?;
            if search.settles(&last, BESIDE) {
                return Some(last.to);
            }
        }
    }
    None
}

/// The end that the paraboloid at the minimum has within the bounds, and what is seen there.
pub(super) fn stopped_at_bounds<P: Linearised, T: Target>(
    minimum: &Minimum<P>,
    direction: &Direction<T>,
    side: f64,
) -> Option<PlainEnd> {
    let Minimum {
        problem, solution, ..
    } = minimum;
    let search = Search::new(minimum, direction, side, (0.0, f64::INFINITY));
    let normal = &solution.equations.normal;
    let at_minimum = Paraboloid::new(solution.equations.clone().into(), normal.clone());
    let change = search.contour(&solution.x, &at_minimum)?;
    let [sight, _] = problem.both_sides(&solution.x, &change, minimum.derivatives)?;
    let x = &solution.x + change;
    let there = Paraboloid::new(sight, normal.clone());
    let to = search.step(&x, &there)?.to;
    Some(PlainEnd {
        ratio: search.plain / to,
        x,
        sight: there.sight,
    })
}

/// The cost around a point, to second order.
struct Paraboloid {
    sight: CostAndGradient,
    normal: DMatrix<f64>,
}

impl Paraboloid {
    fn new(sight: CostAndGradient, normal: DMatrix<f64>) -> Self {
        Paraboloid { sight, normal }
    }

    /// The cost after a change.
    fn at(&self, change: &DVector<f64>) -> f64 {
        let CostAndGradient { cost, gradient } = &self.sight;
        cost + gradient.dot(change) + 0.5 * change.dot(&(&self.normal * change))
    }
}

/// One step, with the distance of the target from the minimum before and after it.
struct Step {
    change: DVector<f64>,
    from: f64,
    to: f64,
}

/// What is sought.
struct Search<'a, P: Linearised, T> {
    minimum: &'a Minimum<'a, P>,
    direction: &'a Direction<'a, T>,
    side: f64,
    /// Of the cost above the minimum.
    rise: f64,
    /// Distance at which a straight model has it.
    plain: f64,
    within: (f64, f64),
}

impl<'a, P: Linearised, T: Target> Search<'a, P, T> {
    fn new(
        minimum: &'a Minimum<'a, P>,
        direction: &'a Direction<'a, T>,
        side: f64,
        within: (f64, f64),
    ) -> Self {
        Search {
            minimum,
            direction,
            side,
            rise: 0.5 * minimum.z * minimum.z,
            plain: minimum.z * direction.sigma,
            within,
        }
    }

    fn settles(&self, step: &Step, precision: f64) -> bool {
        (step.to - step.from).abs() < precision * self.plain
    }

    /// The step from `x`, kept within the distances of interest; `None` where the paraboloid has no such point.
    fn step(&self, x: &DVector<f64>, paraboloid: &Paraboloid) -> Option<Step> {
        let mut change = self.contour(x, paraboloid)?;
        let distance = |x: &DVector<f64>| self.direction.distance(x, self.side);
        let (from, aimed) = (distance(x), distance(&(x + &change)));
        let to = aimed.clamp(self.within.0 * self.plain, self.within.1 * self.plain);
        if to != aimed {
            change *= ((to - from) / (aimed - from)).clamp(0.0, 1.0);
        }
        Some(Step { change, from, to })
    }

    /// The change to the place on the paraboloid where the cost has risen as far as is sought and the target has gone farthest. Entries that
    /// would leave their bounds stop there.
    fn contour(&self, x: &DVector<f64>, paraboloid: &Paraboloid) -> Option<DVector<f64>> {
        let goal = self.minimum.solution.equations.cost + self.rise;
        let (_, slope) = (self.direction.target)(x);
        let n = x.len();
        let moves = |k: &usize| self.minimum.covariance[(*k, *k)] > 0.0;
        let mut free: Vec<usize> = (0..n).filter(moves).collect();
        let mut stopped = DVector::zeros(n);
        loop {
            // About the point with the stopped entries at their bound.
            let cost = paraboloid.at(&stopped);
            let gradient = &paraboloid.sight.gradient + &paraboloid.normal * &stopped;
            let down = solve_over(&paraboloid.normal, &gradient, &free)?;
            let along = solve_over(&paraboloid.normal, &slope, &free)?;
            let variance = slope.dot(&along);
            // Of the target's distance from its place at the paraboloid's least point.
            let squared = variance * (2.0 * (goal - cost) + gradient.dot(&down));
            if !(squared >= 0.0 && variance > 0.0) {
                return None;
            }
            let change = along * (self.side * squared.sqrt() / variance) - down + &stopped;
            let before = free.len();
            free.retain(|&k| {
                let leaves = self.minimum.beyond(k, x[k] + change[k]);
                if leaves {
                    let (lower, upper) = self.minimum.bounds(k);
                    stopped[k] = (x[k] + change[k]).clamp(lower, upper) - x[k];
                }
                !leaves
            });
            if free.len() == before {
                return Some(change);
            }
        }
    }
}
