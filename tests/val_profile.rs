//! Profile-likelihood intervals against those of a general-purpose fitting library on the same data and model:
//! fixtures/profile/decay.json names it and its version; scripts/profile_golden makes the file.

use nalgebra::{DMatrix, DVector};
use rundown::fit::profile::{CostAndGradient, Direction, Linearised, Minimum, end, plain_ends};
use rundown::fit::solve::{LeastSquares, NormalEquations, SolverOptions, minimise};
use serde_json::Value;

struct Decay {
    t: Vec<f64>,
    y: Vec<f64>,
    sd: f64,
}

impl Decay {
    /// Weighted residuals and their derivatives.
    fn rows(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let n = self.t.len();
        let (mut residuals, mut slopes) = (DVector::zeros(n), DMatrix::zeros(n, 3));
        for (k, (t, y)) in self.t.iter().zip(&self.y).enumerate() {
            let decay = (-x[1] * t).exp();
            residuals[k] = (x[0] * decay + x[2] - y) / self.sd;
            for (j, slope) in [decay, -x[0] * t * decay, 1.0].into_iter().enumerate() {
                slopes[(k, j)] = slope / self.sd;
            }
        }
        (residuals, slopes)
    }
}

impl Linearised for Decay {
    type Derivatives = DMatrix<f64>;

    fn linearise(&self, x: &DVector<f64>) -> Option<(NormalEquations, DMatrix<f64>)> {
        let (residuals, slopes) = self.rows(x);
        let equations = NormalEquations {
            cost: 0.5 * residuals.norm_squared(),
            gradient: slopes.tr_mul(&residuals),
            normal: slopes.tr_mul(&slopes),
        };
        Some((equations, slopes))
    }

    fn both_sides(
        &self,
        x: &DVector<f64>,
        step: &DVector<f64>,
        slopes: &DMatrix<f64>,
    ) -> Option<[CostAndGradient; 2]> {
        let there = self.rows(&(x + step)).0;
        let foreseen = &there - slopes * step * 2.0;
        Some([there, foreseen].map(|r| CostAndGradient {
            cost: 0.5 * r.norm_squared(),
            gradient: slopes.tr_mul(&r),
        }))
    }
}

impl LeastSquares for Decay {
    fn dimension(&self) -> usize {
        3
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.normal_equations(x).map(|e| e.cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        self.linearise(x).map(|(equations, _)| equations)
    }
}

#[test]
fn val_profile_intervals_agree_with_a_general_purpose_library() {
    let golden: Value =
        serde_json::from_str(include_str!("../fixtures/profile/decay.json")).unwrap();
    let list = |key: &str| -> Vec<f64> {
        let values = golden[key].as_array().unwrap();
        values.iter().map(|v| v.as_f64().unwrap()).collect()
    };
    let problem = Decay {
        t: list("t"),
        y: list("y"),
        sd: golden["sd"].as_f64().unwrap(),
    };
    let start = DVector::from_vec(vec![2.0, 1.5, 0.3]);
    let best = minimise(&problem, &start, &SolverOptions::default()).unwrap();
    let chi_squared = golden["chi_squared"].as_f64().unwrap();
    approx::assert_relative_eq!(2.0 * best.equations.cost, chi_squared, max_relative = 1e-6);
    let covariance = best.equations.normal.clone().try_inverse().unwrap();
    let (_, slopes) = problem.linearise(&best.x).unwrap();
    let minimum = Minimum {
        problem: &problem,
        solution: &best,
        covariance: &covariance,
        derivatives: &slopes,
        z: rundown::stats::quantiles::normal_quantile(0.975),
    };
    for (k, name) in ["a", "rate", "level"].into_iter().enumerate() {
        let of = |key: &str| golden["parameters"][name][key].as_f64().unwrap();
        approx::assert_relative_eq!(best.x[k], of("value"), max_relative = 1e-4);
        let target = |x: &DVector<f64>| {
            let mut slope = DVector::zeros(3);
            slope[k] = 1.0;
            (x[k], slope)
        };
        let direction = Direction::new(&minimum, &target).unwrap();
        for (side, key) in [(-1.0, "below"), (1.0, "above")] {
            let (seen, _) = plain_ends(&minimum, &direction, side).unwrap();
            let found = end(&minimum, &direction, side, seen, (0.25, 4.0)).unwrap();
            approx::assert_relative_eq!(found, of(key), max_relative = 5e-3);
        }
    }
}
