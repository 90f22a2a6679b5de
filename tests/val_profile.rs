//! Profile-likelihood intervals against those of a general-purpose fitting library on the same data and model:
//! fixtures/profile/decay.json names it and its version; scripts/profile_golden makes the file.

use nalgebra::{DMatrix, DVector};
use rundown::fit::profile;
use rundown::fit::solver::{LeastSquares, NormalEquations, SolverOptions, minimise};
use serde_json::Value;

struct Decay {
    t: Vec<f64>,
    y: Vec<f64>,
    sd: f64,
}

impl LeastSquares for Decay {
    fn dimension(&self) -> usize {
        3
    }

    fn cost(&self, x: &DVector<f64>) -> Option<f64> {
        self.normal_equations(x).map(|e| e.cost)
    }

    fn normal_equations(&self, x: &DVector<f64>) -> Option<NormalEquations> {
        let mut out = NormalEquations {
            cost: 0.0,
            gradient: DVector::zeros(3),
            normal: DMatrix::zeros(3, 3),
        };
        for (t, y) in self.t.iter().zip(&self.y) {
            let decay = (-x[1] * t).exp();
            let r = (x[0] * decay + x[2] - y) / self.sd;
            let slope = DVector::from_vec(vec![decay, -x[0] * t * decay, 1.0]) / self.sd;
            out.cost += 0.5 * r * r;
            out.gradient += &slope * r;
            out.normal += &slope * slope.transpose();
        }
        Some(out)
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
    let z = rundown::stats::quantiles::normal_quantile(0.975);
    for (k, name) in ["a", "rate", "level"].iter().enumerate() {
        let of = |key: &str| golden["parameters"][name][key].as_f64().unwrap();
        approx::assert_relative_eq!(best.x[k], of("value"), max_relative = 1e-4);
        let target = |x: &DVector<f64>| {
            let mut slope = DVector::zeros(3);
            slope[k] = 1.0;
            (x[k], slope)
        };
        let sigma = covariance[(k, k)].sqrt();
        for (side, key) in [(-1.0, "below"), (1.0, "above")] {
            let search = profile::Search {
                start: best.x.clone(),
                first: z * sigma,
                trials: 12,
                options: SolverOptions::default(),
            };
            let found =
                profile::distance(&problem, &best, &target, sigma, side, z, &search).unwrap();
            approx::assert_relative_eq!(found, of(key), max_relative = 5e-3);
            // The quick look sees where the plain interval will not do.
            let ratio = profile::ratio_at(
                &problem,
                &best,
                &covariance,
                &target,
                side,
                z,
                profile::Derivatives::There,
            )
            .unwrap();
            let full = z * sigma / found;
            if (full - 1.0).abs() > 0.1 {
                assert!(
                    (ratio - 1.0).abs() > 0.05,
                    "{name} {key}: quick {ratio}, full {full}"
                );
            }
        }
    }
}
