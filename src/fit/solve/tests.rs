use super::*;
use nalgebra::DMatrix;
use std::sync::{Arc, Mutex};

/// Residuals `A x − b` with bounds, and a wall beyond which nothing can be evaluated.
struct Linear {
    matrix: DMatrix<f64>,
    target: DVector<f64>,
    lower: Option<DVector<f64>>,
    upper: Option<DVector<f64>>,
    limits: Option<DVector<f64>>,
    wall: f64,
}

impl Linear {
    fn new(rows: usize, columns: usize, matrix: &[f64], target: &[f64]) -> Self {
        Linear {
            matrix: DMatrix::from_row_slice(rows, columns, matrix),
            target: DVector::from_row_slice(target),
            lower: None,
            upper: None,
            limits: None,
            wall: f64::INFINITY,
        }
    }
}

impl LeastSquares for Linear {
    fn dimension(&self) -> usize {
        self.matrix.ncols()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.normal_equations(x).map(|equations| equations.cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        if x[0] > self.wall {
            return None;
        }
        let residual = &self.matrix * x - &self.target;
        Some(NormalEquations {
            cost: 0.5 * residual.norm_squared(),
            gradient: self.matrix.transpose() * &residual,
            normal: self.matrix.transpose() * &self.matrix,
        })
    }

    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        self.lower.as_ref()
    }

    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        self.upper.as_ref()
    }

    fn step_limits(&self) -> Option<&DVector<f64>> {
        self.limits.as_ref()
    }
}

/// Three points (1, 1), (2, 3), (3, 4): the line through them is y = −1/3 + 3/2 x (normal equations by hand).
fn line() -> Linear {
    Linear::new(3, 2, &[1.0, 1.0, 1.0, 2.0, 1.0, 3.0], &[1.0, 3.0, 4.0])
}

fn solve(problem: &Linear, start: &[f64]) -> Solution {
    minimise(
        problem,
        &DVector::from_row_slice(start),
        &SolverOptions::default(),
    )
    .unwrap()
}

#[test]
fn a_line_is_found_in_a_few_evaluations() {
    let solution = solve(&line(), &[50.0, -20.0]);
    assert_eq!(solution.reason, StopReason::GradientSmall);
    approx::assert_relative_eq!(solution.x[0], -1.0 / 3.0, max_relative = 1e-7);
    approx::assert_relative_eq!(solution.x[1], 1.5, max_relative = 1e-7);
    assert!(solution.evaluations <= 8, "{}", solution.evaluations);
    assert_eq!(solution.active, [false, false]);
}

#[test]
fn units_of_the_parameters_change_nothing() {
    let plain = solve(&line(), &[50.0, -20.0]);
    let mut scaled = line();
    for row in 0..3 {
        scaled.matrix[(row, 0)] *= 1e-9;
        scaled.matrix[(row, 1)] *= 1e6;
    }
    let other = solve(&scaled, &[50.0e9, -20.0e-6]);
    assert_eq!(plain.iterations, other.iterations);
    approx::assert_relative_eq!(plain.x[1], other.x[1] * 1e6, max_relative = 1e-9);
}

#[test]
fn an_outward_gradient_holds_a_parameter_at_its_bound_and_the_rest_is_minimised() {
    // With the slope held at 1 the best intercept is the mean of y − x = 2/3.
    let mut problem = line();
    problem.upper = Some(DVector::from_row_slice(&[f64::INFINITY, 1.0]));
    for start in [[0.0, 0.0], [5.0, 1.0], [-40.0, 7.0]] {
        let solution = solve(&problem, &start);
        assert_eq!(solution.reason, StopReason::GradientSmall);
        assert_eq!(solution.active, [false, true]);
        assert_eq!(solution.x[1], 1.0);
        approx::assert_relative_eq!(solution.x[0], 2.0 / 3.0, max_relative = 1e-7);
    }
}

#[test]
fn a_parameter_leaves_a_bound_that_the_descent_direction_points_away_from() {
    let mut problem = line();
    problem.lower = Some(DVector::from_row_slice(&[-10.0, 1.0]));
    let solution = solve(&problem, &[-10.0, 1.0]);
    assert_eq!(solution.active, [false, false]);
    approx::assert_relative_eq!(solution.x[1], 1.5, max_relative = 1e-8);
}

#[test]
fn every_parameter_at_a_bound_is_a_solution() {
    let mut problem = line();
    problem.lower = Some(DVector::from_row_slice(&[3.0, 4.0]));
    let solution = solve(&problem, &[9.0, 9.0]);
    assert_eq!(solution.x.as_slice(), [3.0, 4.0]);
    assert_eq!(solution.active, [true, true]);
    assert!(solution.reason.converged());
}

#[test]
fn a_direction_nothing_depends_on_stays_where_it_was() {
    let problem = Linear::new(2, 2, &[1.0, 0.0, 2.0, 0.0], &[1.0, 2.0]);
    let solution = solve(&problem, &[7.0, 42.0]);
    assert!(solution.reason.converged(), "{}", solution.reason);
    approx::assert_relative_eq!(solution.x[0], 1.0, max_relative = 1e-9);
    assert_eq!(solution.x[1], 42.0);
}

#[test]
fn two_parameters_seen_only_by_their_sum_do_not_run_away() {
    let problem = Linear::new(3, 2, &[1.0, 1.0, 2.0, 2.0, 3.0, 3.0], &[2.0, 4.1, 6.0]);
    let solution = solve(&problem, &[0.0, 0.5]);
    assert!(solution.reason.converged(), "{}", solution.reason);
    approx::assert_relative_eq!(solution.x.sum(), 28.2 / 14.0, max_relative = 1e-7);
    assert!(solution.x.amax() < 10.0);
}

#[test]
fn a_step_into_the_unknown_is_shortened() {
    // The minimum, x = 10, lies beyond the wall at 9.
    let mut problem = Linear::new(1, 1, &[1.0], &[10.0]);
    problem.wall = 9.0;
    let solution = solve(&problem, &[0.0]);
    assert!(solution.x[0] > 7.0 && solution.x[0] <= 9.0);
    assert_eq!(solution.reason, StopReason::NotFinite);
    assert!(!solution.reason.converged());
}

#[test]
fn step_limits_hold_for_every_trial() {
    let mut problem = Linear::new(2, 1, &[1.0, 1.0], &[10.0, 10.2]);
    problem.limits = Some(DVector::from_element(1, 1.5));
    let options = SolverOptions {
        max_iterations: 3,
        ..SolverOptions::default()
    };
    let solution = minimise(&problem, &DVector::zeros(1), &options).unwrap();
    assert_eq!(solution.reason, StopReason::IterationLimit);
    assert_eq!(solution.iterations, 3);
    approx::assert_relative_eq!(solution.x[0], 4.5, max_relative = 1e-12);
}

/// Says its gradient is the opposite of the truth.
struct Liar(Linear);

impl LeastSquares for Liar {
    fn dimension(&self) -> usize {
        self.0.dimension()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.0.cost(x)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let mut equations = self.0.normal_equations(x)?;
        equations.gradient.neg_mut();
        Some(equations)
    }
}

#[test]
fn a_wrong_gradient_is_told_as_no_descent_and_leaves_the_start() {
    let start = DVector::from_row_slice(&[5.0, 5.0]);
    let solution = minimise(&Liar(line()), &start, &SolverOptions::default()).unwrap();
    assert_eq!(solution.reason, StopReason::NoDescent);
    assert_eq!(solution.x, start);
    assert!(solution.iterations < 20);
}

/// Its cost is exact to nine digits only, as that of a model integrated numerically.
struct Noisy(Linear);

impl LeastSquares for Noisy {
    fn dimension(&self) -> usize {
        self.0.dimension()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.normal_equations(x).map(|equations| equations.cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let mut equations = self.0.normal_equations(x)?;
        let noise = |i: usize| ((x[i] * 1e9).sin() + (x[i] * 7e11).cos()) * 1e-9;
        equations.cost *= 1.0 + noise(0);
        // The gradient is off as well, by far more than the tight tolerance.
        equations.gradient[0] += 1e-6 * (1.0 + noise(1) * 1e8);
        Some(equations)
    }
}

#[test]
fn a_cost_with_noise_of_its_own_still_converges() {
    for start in [[5.0, 5.0], [-30.0, 2.0], [0.1, 0.2], [400.0, -9.0]] {
        let start = DVector::from_row_slice(&start);
        let solution = minimise(&Noisy(line()), &start, &SolverOptions::default()).unwrap();
        assert!(solution.reason.converged(), "{}", solution.reason);
        assert!(solution.iterations < 40, "{}", solution.iterations);
        approx::assert_relative_eq!(solution.x[1], 1.5, max_relative = 1e-4);
    }
}

#[test]
fn an_exact_fit_stops() {
    let problem = Linear::new(2, 2, &[1.0, 1.0, 1.0, 2.0], &[1.0, 2.0]);
    let solution = solve(&problem, &[3.0, 3.0]);
    assert!(solution.reason.converged(), "{}", solution.reason);
    approx::assert_abs_diff_eq!(solution.x[0], 0.0, epsilon = 1e-9);
    approx::assert_relative_eq!(solution.x[1], 1.0, max_relative = 1e-9);
}

/// A line with somebody who watches.
struct Watched(Linear, Monitor);

impl LeastSquares for Watched {
    fn dimension(&self) -> usize {
        self.0.dimension()
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.0.cost(x)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        self.0.normal_equations(x)
    }

    fn monitor(&self) -> Monitor {
        self.1.clone()
    }
}

#[test]
fn the_monitor_sees_the_cost_fall() {
    let seen = Arc::new(Mutex::new(Vec::new()));
    let inner = Arc::clone(&seen);
    let report = move |progress: &Progress| inner.lock().unwrap().push(*progress);
    let watched = Watched(line(), Monitor::new(Interrupt::default(), report));
    let start = DVector::from_row_slice(&[50.0, -20.0]);
    let solution = minimise(&watched, &start, &SolverOptions::default()).unwrap();
    let seen = seen.lock().unwrap();
    assert_eq!(seen.len(), solution.iterations);
    assert_eq!(seen.last().unwrap().iteration, solution.iterations as u64);
    assert!(seen.windows(2).all(|pair| pair[1].cost <= pair[0].cost));
    assert!(seen.iter().all(|progress| progress.damping.is_finite()));
}

#[test]
fn an_interrupt_ends_the_solve_before_its_next_trial() {
    let interrupt = Interrupt::default();
    let trials = Arc::new(Mutex::new(0));
    let (asked, count) = (interrupt.clone(), Arc::clone(&trials));
    let report = move |progress: &Progress| {
        *count.lock().unwrap() += 1;
        if progress.iteration == 2 {
            asked.request();
        }
    };
    let watched = Watched(line(), Monitor::new(interrupt, report));
    let start = DVector::from_row_slice(&[50.0, -20.0]);
    let error = minimise(&watched, &start, &SolverOptions::default()).unwrap_err();
    assert_eq!(error, SolverError::Interrupted);
    assert_eq!(*trials.lock().unwrap(), 2);
}

#[test]
fn what_cannot_begin_says_why() {
    let problem = line();
    let attempt = |start: &[f64]| {
        minimise(
            &problem,
            &DVector::from_row_slice(start),
            &SolverOptions::default(),
        )
        .unwrap_err()
        .to_string()
    };
    assert_eq!(
        attempt(&[1.0]),
        "the start vector has 1 entries where the problem has 2 parameters"
    );
    assert_eq!(
        attempt(&[1.0, f64::NAN]),
        "parameter 1: the start value NaN is not a finite number"
    );
    let mut crossed = line();
    crossed.lower = Some(DVector::from_row_slice(&[0.0, 2.0]));
    crossed.upper = Some(DVector::from_row_slice(&[1.0, 1.0]));
    let error = minimise(&crossed, &DVector::zeros(2), &SolverOptions::default()).unwrap_err();
    assert!(matches!(error, SolverError::CrossedBounds { index: 1, .. }));
    let mut walled = line();
    walled.wall = -1.0;
    let error = minimise(&walled, &DVector::zeros(2), &SolverOptions::default()).unwrap_err();
    assert_eq!(error, SolverError::StartNotEvaluable);
}

/// Jennrich and Sampson's function: 2 + 2i − e^(i x) − e^(i y), i = 1 to 10. Residuals are large at its minimum.
struct Exponentials;

impl Exponentials {
    fn residuals(x: &DVector<f64>) -> DVector<f64> {
        DVector::from_fn(10, |k, _| {
            let i = (k + 1) as f64;
            2.0 + 2.0 * i - (i * x[0]).exp() - (i * x[1]).exp()
        })
    }
}

impl LeastSquares for Exponentials {
    fn dimension(&self) -> usize {
        2
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        Some(0.5 * Self::residuals(x).norm_squared())
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let r = Self::residuals(x);
        let jacobian = DMatrix::from_fn(10, 2, |k, c| {
            let i = (k + 1) as f64;
            -i * (i * x[c]).exp()
        });
        Some(NormalEquations {
            cost: 0.5 * r.norm_squared(),
            gradient: jacobian.transpose() * r,
            normal: jacobian.transpose() * jacobian,
        })
    }
}

/// Its minimum: sum of squares 124.362 at x = y = 0.2578 (Moré, Garbow & Hillstrom 1981, ACM TOMS 7, 17-41, problem 6; from memory).
#[test]
fn val_large_residuals_take_fewer_trials_with_second_derivatives_learned() {
    let start = DVector::from_row_slice(&[0.3, 0.4]);
    let run = |second_order| {
        let options = SolverOptions {
            second_order,
            ..SolverOptions::default()
        };
        minimise(&Exponentials, &start, &options).unwrap()
    };
    let (plain, learned) = (run(None), run(Some(SecondOrder::default())));
    assert!(learned.reason.converged());
    approx::assert_relative_eq!(2.0 * learned.equations.cost, 124.362, epsilon = 1e-3);
    approx::assert_relative_eq!(learned.x[0], 0.2578, epsilon = 1e-4);
    approx::assert_relative_eq!(learned.x[1], 0.2578, epsilon = 1e-4);
    assert!(
        4 * learned.iterations < 3 * plain.iterations,
        "{} against {}",
        learned.iterations,
        plain.iterations
    );
}
