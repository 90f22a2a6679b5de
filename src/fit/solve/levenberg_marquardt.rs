//! The iteration itself, as a `Solver` on argmin's trait: one trial an iteration.

use super::least_squares::{LeastSquares, NormalEquations};
use super::monitor::{Interrupt, SolverState};
use super::options::SolverOptions;
use super::point::{NEARBY, Point};
use super::second_order::SecondOrder;
use super::solution::{SolverError, StopReason};
use super::step::{Bounds, Step, damped_step, decrement};
use argmin::core::{Error, KV, Problem, Solver, TerminationReason, TerminationStatus};
use argmin::kv;
use nalgebra::{DMatrix, DVector};

pub(super) const COST_COUNT: &str = "cost_count";
pub(super) const NORMAL_COUNT: &str = "normal_equations_count";

/// A trial must earn this share of the reduction it promised.
const LEAST_GAIN: f64 = 1e-4;
/// Damping below which a step counts as undamped.
const UNDAMPED: f64 = 1e-2;
/// Damping after a rejection near a minimum at least: less hardly shortens a step, so that the next trial would fail like the last.
const FELT: f64 = 1e-3;
/// Steps that raised the cost from which its bend is learned in a row; then damping takes over.
const MOST_LESSONS: usize = 3;
/// Points reached by such a shortened step, after which only damping shortens: in a valley that bends, a step made shorter in the same direction
/// crawls, where a damped one turns along it.
const MOST_CRAWLS: usize = 4;
const LEAST_DAMPING: f64 = 1e-15;
/// Beyond this the step is shorter than the rounding of any parameter.
const MOST_DAMPING: f64 = 1e16;
/// In the flat regime the gradient must shrink at least by this factor to make another step worth it.
const FLAT_SHRINK: f64 = 0.9;

/// What became of one trial.
enum Verdict {
    Accepted {
        x: DVector<f64>,
        equations: NormalEquations,
        gain: f64,
    },
    /// The cost rose by so much, or fell by too little.
    NotLower {
        rise: f64,
    },
    NotEvaluable,
    /// The flat regime is exhausted; the better of the two points if the trial is it.
    Flat(Option<Point>),
}

pub(super) struct LevenbergMarquardt {
    options: SolverOptions,
    bounds: Bounds,
    point: Option<Point>,
    /// Largest diagonal of N seen so far; zero until a parameter has shown an influence.
    scale: DVector<f64>,
    damping: f64,
    growth: f64,
    second_order: SecondOrder,
    /// Whether anything is learned of the second derivatives.
    learns: bool,
    /// Whether the last trial was accepted: then the next is asked for its derivatives at once, since it will most
    /// likely need them; after a rejection the cost alone is asked first.
    hopeful: bool,
    /// Since the last bold step: how many trials raised the cost, and how many could not be evaluated.
    rejections: [usize; 2],
    /// How many points were reached by a step that a rise had shortened.
    crawls: usize,
    /// Why it stops by itself; argmin counts the trials.
    reason: Option<StopReason>,
    interrupt: Interrupt,
}

/// What is known at the end.
pub(super) struct Finish {
    pub bounds: Bounds,
    pub point: Option<Point>,
    pub reason: Option<StopReason>,
    pub second_order: SecondOrder,
}

impl LevenbergMarquardt {
    pub fn new(options: SolverOptions, bounds: Bounds, interrupt: Interrupt) -> Self {
        let n = bounds.lower.len();
        let handed_on = options.second_order.clone();
        let mut second_order = handed_on
            .filter(|s| s.dimension() == n)
            .unwrap_or_else(|| SecondOrder::none(n));
        second_order.move_on();
        LevenbergMarquardt {
            damping: options.initial_damping.clamp(LEAST_DAMPING, MOST_DAMPING),
            learns: options.second_order.is_some(),
            second_order,
            options,
            bounds,
            point: None,
            scale: DVector::zeros(n),
            growth: 2.0,
            hopeful: true,
            rejections: [0, 0],
            crawls: 0,
            reason: None,
            interrupt,
        }
    }

    /// What was reached; without a point where the first could not be evaluated.
    pub fn finish(self) -> Finish {
        Finish {
            bounds: self.bounds,
            point: self.point,
            reason: self.reason,
            second_order: self.second_order,
        }
    }

    fn widen_scale(&mut self, normal: &DMatrix<f64>) {
        for i in 0..self.scale.len() {
            self.scale[i] = self.scale[i].max(normal[(i, i)]);
        }
    }

    /// Whether the residuals are already at right angles to everything the model can do.
    fn gradient_below(tolerance: f64, point: &Point) -> bool {
        point.decrement <= tolerance * (2.0 * point.equations.cost).sqrt()
    }

    fn gradient_small(&self, point: &Point) -> bool {
        point.decrement <= self.options.distance_tolerance
            || Self::gradient_below(self.options.gradient_tolerance, point)
    }

    fn nearly_at_minimum(&self) -> bool {
        let tolerance = self.options.loose_gradient_tolerance;
        self.point.as_ref().is_some_and(|point| {
            // Without what refused steps have told, which makes it look near.
            let distance = decrement(&point.equations, &point.free);
            distance <= tolerance * (2.0 * point.equations.cost).sqrt()
        })
    }

    fn step_small(&self, from: &DVector<f64>, to: &DVector<f64>) -> bool {
        self.damping <= UNDAMPED
            && from
                .iter()
                .zip(to.iter())
                .all(|(a, b)| (b - a).abs() <= self.options.step_tolerance * b.abs())
    }

    fn try_step<P: LeastSquares>(
        &mut self,
        problem: &mut Problem<&P>,
        point: &Point,
        step: &Step,
    ) -> Result<Verdict, Error> {
        let resolution = self.options.cost_tolerance * point.equations.cost;
        // Judged by the undamped step: a small reduction through much damping is no sign of a minimum.
        let flat = 0.5 * point.decrement.powi(2) <= resolution;
        let x = self.bounds.project(&(&point.x + &step.change));
        let gain_of = |cost: f64| (point.equations.cost - cost) / step.predicted;
        if !(self.hopeful || flat) {
            let cost = problem.problem(COST_COUNT, |p| Ok(p.cost(&x)))?;
            match cost.filter(|cost| cost.is_finite()) {
                None => return Ok(Verdict::NotEvaluable),
                Some(cost) if gain_of(cost) <= LEAST_GAIN => {
                    let rise = cost - point.equations.cost;
                    return Ok(Verdict::NotLower { rise });
                }
                Some(_) => {}
            }
        }
        let equations = problem.problem(NORMAL_COUNT, |p| Ok(p.normal_equations(&x)))?;
        let Some(equations) = equations.filter(is_finite) else {
            return Ok(Verdict::NotEvaluable);
        };
        let gain = gain_of(equations.cost);
        let rise = equations.cost - point.equations.cost;
        if flat {
            let trial = Point::new(x, equations, &self.bounds, &mut self.second_order);
            return Ok(if rise > resolution || trial.decrement >= point.decrement {
                Verdict::Flat(None)
            } else if trial.decrement > FLAT_SHRINK * point.decrement {
                Verdict::Flat(Some(trial))
            } else {
                Verdict::Accepted {
                    x: trial.x,
                    equations: trial.equations,
                    gain: 1.0,
                }
            });
        }
        if gain > LEAST_GAIN {
            Ok(Verdict::Accepted { x, equations, gain })
        } else {
            Ok(Verdict::NotLower { rise })
        }
    }

    fn accept(&mut self, x: DVector<f64>, equations: NormalEquations, gain: f64) {
        let mut small = false;
        if let Some(before) = &self.point {
            small = self.step_small(&before.x, &x);
            let step = &x - &before.x;
            self.crawls += usize::from(self.second_order.has_risen());
            self.second_order.move_on();
            if self.learns && before.decrement < NEARBY {
                self.second_order
                    .learn(&step, &before.equations, &equations);
            }
        }
        let point = Point::new(x, equations, &self.bounds, &mut self.second_order);
        self.widen_scale(&point.equations.normal);
        let factor = (1.0 - (2.0 * gain - 1.0).powi(3)).max(1.0 / 3.0);
        self.damping = (self.damping * factor).clamp(LEAST_DAMPING, MOST_DAMPING);
        self.growth = 2.0;
        self.hopeful = true;
        // A crawl along the edge of what can be evaluated is still the same obstacle.
        if self.damping < 1.0 {
            self.rejections = [0, 0];
        }
        if self.gradient_small(&point) {
            self.reason = Some(StopReason::GradientSmall);
        } else if small {
            self.reason = Some(StopReason::StepSmall);
        }
        self.point = Some(point);
    }

    /// A step after which the cost had risen tells how the cost bends along it; the next one is made with that.
    fn learn_from_rise(&mut self, step: &Step, rise: f64) -> bool {
        let Some(point) = &self.point else {
            return false;
        };
        // A step that was shortened says little of the whole one.
        let whole = self.damping <= UNDAMPED && step.predicted > 0.45 * point.decrement.powi(2);
        let near = point.decrement < NEARBY
            && self.rejections[0] < MOST_LESSONS
            && self.crawls < MOST_CRAWLS;
        if !(self.learns && whole && near) {
            return false;
        }
        let slope = point.equations.gradient.dot(&step.change);
        let normal = &point.paraboloid.normal;
        if !self
            .second_order
            .learn_from_rise(&step.change, normal, slope, rise)
        {
            return false;
        }
        self.point = self
            .point
            .take()
            .map(|p| Point::new(p.x, p.equations, &self.bounds, &mut self.second_order));
        self.hopeful = false;
        self.rejections[0] += 1;
        true
    }

    fn reject(&mut self, evaluable: bool) {
        self.hopeful = false;
        self.rejections[usize::from(!evaluable)] += 1;
        self.damping *= self.growth;
        if self.learns {
            self.damping = self.damping.max(FELT);
        }
        self.growth *= 2.0;
        if self.damping > MOST_DAMPING {
            let [higher, unknown] = self.rejections;
            // The last trials hardly move and so can be evaluated: what blocked the longer ones is told.
            self.reason = Some(if self.nearly_at_minimum() {
                StopReason::CostFlat
            } else if unknown >= higher {
                StopReason::NotFinite
            } else {
                StopReason::NoDescent
            });
        }
    }
}

fn is_finite(equations: &NormalEquations) -> bool {
    equations.cost.is_finite()
        && equations.gradient.iter().all(|value| value.is_finite())
        && equations.normal.iter().all(|value| value.is_finite())
}

impl<P: LeastSquares> Solver<&P, SolverState> for LevenbergMarquardt {
    fn name(&self) -> &str {
        "Levenberg-Marquardt on the normal equations, with bounds"
    }

    fn init(
        &mut self,
        problem: &mut Problem<&P>,
        mut state: SolverState,
    ) -> Result<(SolverState, Option<KV>), Error> {
        let start = state.take_param().ok_or(SolverError::StartNotEvaluable)?;
        let x = self.bounds.project(&start);
        let equations = problem
            .problem(NORMAL_COUNT, |p| Ok(p.normal_equations(&x)))?
            .filter(|equations| equations.cost.is_finite())
            .ok_or(SolverError::StartNotEvaluable)?;
        let n = x.len();
        if equations.gradient.len() != n || equations.normal.shape() != (n, n) {
            return Err(SolverError::Dimension {
                what: "the gradient or the normal matrix",
                found: equations.gradient.len(),
                expected: n,
            }
            .into());
        }
        let bad = (0..n).find(|&i| {
            !equations.gradient[i].is_finite()
                || equations
                    .normal
                    .row(i)
                    .iter()
                    .any(|value| !value.is_finite())
        });
        if let Some(index) = bad {
            return Err(SolverError::DerivativeNotFinite { index }.into());
        }
        self.widen_scale(&equations.normal);
        let point = Point::new(x, equations, &self.bounds, &mut self.second_order);
        if self.gradient_small(&point) {
            self.reason = Some(StopReason::GradientSmall);
        }
        let state = state.param(point.x.clone()).cost(point.equations.cost);
        self.point = Some(point);
        Ok((state, None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Problem<&P>,
        state: SolverState,
    ) -> Result<(SolverState, Option<KV>), Error> {
        let Some(point) = self.point.take() else {
            return Err(SolverError::StartNotEvaluable.into());
        };
        let step = damped_step(
            &point.paraboloid,
            &point.x,
            &self.bounds,
            &point.free,
            &self.scale,
            &|i| {
                self.damping
                    * self
                        .options
                        .damping_shares
                        .as_ref()
                        .map_or(1.0, |share| share[i])
            },
        );
        let verdict = match &step {
            Some(step) if step.predicted > 0.0 => self.try_step(problem, &point, step)?,
            _ => Verdict::NotLower { rise: f64::NAN },
        };
        self.point = Some(point);
        match verdict {
            Verdict::Accepted { x, equations, gain } => self.accept(x, equations, gain),
            Verdict::NotLower { rise } => {
                if !step.is_some_and(|step| self.learn_from_rise(&step, rise)) {
                    self.reject(true);
                }
            }
            Verdict::NotEvaluable => self.reject(false),
            Verdict::Flat(better) => {
                self.reason = Some(StopReason::CostFlat);
                if better.is_some() {
                    self.point = better;
                }
            }
        }
        let log = kv!("damping" => self.damping;);
        let state = match &self.point {
            Some(point) => state.param(point.x.clone()).cost(point.equations.cost),
            None => state,
        };
        Ok((state, Some(log)))
    }

    fn terminate(&mut self, _state: &SolverState) -> TerminationStatus {
        TerminationStatus::Terminated(match self.reason {
            Some(reason) if reason.converged() => TerminationReason::SolverConverged,
            Some(reason) => TerminationReason::SolverExit(reason.to_string()),
            None if self.interrupt.requested() => TerminationReason::Interrupt,
            None => return TerminationStatus::NotTerminated,
        })
    }
}
