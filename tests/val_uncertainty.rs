//! What the program makes of uncertainties, against the worked examples of the guides: draws of correlated inputs, and what is read
//! from the outcomes. (H.3 of JCGM 100, a fitted straight line, stands with the covariance of the fit.)

use approx::{assert_abs_diff_eq, assert_relative_eq};
use nalgebra::{DMatrix, DVector};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, Normal, StandardNormal, Uniform};
use rundown::stats::covariance::NormalVectors;
use rundown::stats::monte_carlo::{Outcomes, bound_tolerance};

/// JCGM 100:2008, H.2, tables H.3 and H.4: resistance, reactance and impedance from V, I and phase whose means are correlated. The
/// printed numbers are those of the first-order law, which bends over these uncertainties by less than a thousandth.
#[test]
fn val_gum_h2_resistance_and_reactance_from_correlated_means() {
    let mean = DVector::from_row_slice(&[4.9990, 19.6610e-3, 1.04446]);
    let uncertainty = [0.0032, 0.0095e-3, 0.00075];
    let correlation = [[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]];
    let covariance = DMatrix::from_fn(3, 3, |i, j| {
        correlation[i][j] * uncertainty[i] * uncertainty[j]
    });
    let inputs = NormalVectors::new(mean, &covariance).unwrap();
    let mut random = StdRng::seed_from_u64(6);
    let draws: Vec<[f64; 3]> = (0..TRIALS)
        .map(|_| {
            let drawn = inputs.draw(&mut random);
            let z = drawn[0] / drawn[1];
            [z * drawn[2].cos(), z * drawn[2].sin(), z]
        })
        .collect();
    let outcomes = |k: usize| Outcomes::new(draws.iter().map(|d| d[k])).unwrap();
    // u(R) hangs on a difference of large terms: the printed correlations, two digits each, leave it known to some per cent.
    for (k, value, printed, within) in [
        (0, 127.732, 0.071, 0.05),
        (1, 219.847, 0.295, 0.01),
        (2, 254.260, 0.236, 0.01),
    ] {
        let outcome = outcomes(k);
        assert_abs_diff_eq!(outcome.mean(), value, epsilon = 2e-3);
        assert_relative_eq!(
            outcome.standard_uncertainty(),
            printed,
            max_relative = within
        );
        // A straight law of normal inputs: ±1.96 u hold 95 %.
        let (low, high) = outcome.percentile_interval(0.95).unwrap();
        assert_relative_eq!(0.5 * (high - low), 1.96 * printed, max_relative = within);
    }
    let correlated = |a: usize, b: usize| {
        let (x, y) = (outcomes(a), outcomes(b));
        let (mean_x, mean_y) = (x.mean(), y.mean());
        let products = draws.iter().map(|d| (d[a] - mean_x) * (d[b] - mean_y));
        let size = x.standard_uncertainty() * y.standard_uncertainty();
        products.sum::<f64>() / TRIALS as f64 / size
    };
    for ((a, b), printed) in [((0, 1), -0.588), ((0, 2), -0.485), ((1, 2), 0.993)] {
        assert_abs_diff_eq!(correlated(a, b), printed, epsilon = 0.03);
    }
}

/// Outcomes of so many trials from a generator of its own.
fn simulate(seed: u64, mut outcome: impl FnMut(&mut StdRng) -> f64) -> Outcomes {
    let mut random = StdRng::seed_from_u64(seed);
    Outcomes::new((0..TRIALS).map(|_| outcome(&mut random))).unwrap()
}

const TRIALS: usize = 400_000;

fn half_width((low, high): (f64, f64)) -> f64 {
    0.5 * (high - low)
}

/// JCGM 101:2008, 9.2.2, table 2: the sum of four standard normal quantities.
#[test]
fn val_jcgm_101_sum_of_normals() {
    let outcomes = simulate(1, |random| {
        (0..4)
            .map(|_| -> f64 { StandardNormal.sample(random) })
            .sum()
    });
    assert_abs_diff_eq!(outcomes.mean(), 0.0, epsilon = 0.015);
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 2.00, epsilon = 0.01);
    let (low, high) = outcomes.percentile_interval(0.95).unwrap();
    assert_abs_diff_eq!(low, -3.92, epsilon = 0.04);
    assert_abs_diff_eq!(high, 3.92, epsilon = 0.04);
    let shortest = half_width(outcomes.shortest_interval(0.95).unwrap());
    assert_abs_diff_eq!(shortest, 3.92, epsilon = 0.03);
}

/// JCGM 101:2008, 9.2.3, table 3: four rectangular quantities of unit standard deviation, ±3.88 where the
/// first-order law says ±3.92.
#[test]
fn val_jcgm_101_sum_of_rectangulars() {
    let width = 3f64.sqrt();
    let rectangular = Uniform::new(-width, width).unwrap();
    let outcomes = simulate(2, |random| (0..4).map(|_| rectangular.sample(random)).sum());
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 2.00, epsilon = 0.01);
    let half = half_width(outcomes.percentile_interval(0.95).unwrap());
    assert_abs_diff_eq!(half, 3.88, epsilon = 0.02);
}

/// JCGM 101:2008, 9.2.4, table 4 (from memory): one of the four ten times as wide, ±17.0 against ±19.9.
#[test]
fn val_jcgm_101_sum_with_a_dominant_rectangular() {
    let width = 3f64.sqrt();
    let rectangular = Uniform::new(-width, width).unwrap();
    let outcomes = simulate(3, |random| {
        let small: f64 = (0..3).map(|_| rectangular.sample(random)).sum();
        small + 10.0 * rectangular.sample(random)
    });
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 10.1, epsilon = 0.08);
    let half = half_width(outcomes.percentile_interval(0.95).unwrap());
    assert_abs_diff_eq!(half, 17.0, epsilon = 0.05);
}

/// NPL report DEM-ES-011, table 9.2: the logarithm of a rectangular quantity on 0.1 to 1.1, whose shortest interval
/// lies far from the equal-tailed one. Ends to more digits: −1.8971, 0.0953 and −2.0794, 0.0723.
#[test]
fn val_logarithm_of_a_rectangular_quantity() {
    let outcomes = simulate(4, |random| random.random_range(0.1..1.1_f64).ln());
    assert_abs_diff_eq!(outcomes.mean(), -0.665, epsilon = 0.004);
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 0.606, epsilon = 0.003);
    let (low, high) = outcomes.shortest_interval(0.95).unwrap();
    assert_abs_diff_eq!(low, -1.895, epsilon = 0.02);
    assert_abs_diff_eq!(high, 0.095, epsilon = 0.002);
    let (low, high) = outcomes.percentile_interval(0.95).unwrap();
    assert_abs_diff_eq!(low, 0.125_f64.ln(), epsilon = 0.02);
    assert_abs_diff_eq!(high, 1.075_f64.ln(), epsilon = 0.002);
}

/// JCGM 101:2008, 9.3 (from memory): mass calibration, in mg; the first-order law misses the product of the
/// deviations of the air's and the weights' densities and gives u = 0.0539 mg.
#[test]
fn val_jcgm_101_mass_calibration() {
    let reference = Normal::new(100_000.0, 0.050).unwrap();
    let added = Normal::new(1.234, 0.020).unwrap();
    let outcomes = simulate(5, |random| {
        let air: f64 = random.random_range(1.10..1.30);
        let weight: f64 = random.random_range(7000.0..9000.0);
        let standard: f64 = random.random_range(7950.0..8050.0);
        let mass = reference.sample(random) + added.sample(random);
        mass * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / standard)) - 100_000.0
    });
    assert_abs_diff_eq!(outcomes.mean(), 1.2341, epsilon = 0.0005);
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 0.0754, epsilon = 0.0003);
    let (low, high) = outcomes.shortest_interval(0.95).unwrap();
    assert_abs_diff_eq!(low, 1.0834, epsilon = 0.004);
    assert_abs_diff_eq!(high, 1.3825, epsilon = 0.004);
}

/// JCGM 101:2008, 7.7: with M = 10 outcomes and a level of 0.5, q = 5 and r = 3.
#[test]
fn val_jcgm_101_interval_counts() {
    let outcomes = Outcomes::new((1..=10).map(f64::from)).unwrap();
    assert_eq!(outcomes.percentile_interval(0.5).unwrap(), (3.0, 8.0));
    let skewed =
        Outcomes::new([0.0, 10.0, 11.0, 12.0, 13.0, 14.0, 50.0, 60.0, 70.0, 80.0]).unwrap();
    assert_eq!(skewed.shortest_interval(0.4).unwrap(), (10.0, 14.0));
}

#[test]
fn outcomes_that_do_not_exist_are_counted_apart() {
    let outcomes = Outcomes::new([1.0, f64::NAN, 3.0, f64::INFINITY]).unwrap();
    assert_eq!(outcomes.undefined, 2);
    assert_eq!(outcomes.mean(), 2.0);
    assert!(outcomes.percentile_interval(0.95).is_err());
    assert!(outcomes.percentile_interval(1.5).is_err());
    assert!(Outcomes::new([f64::NAN, 1.0]).is_err());
}

/// 95 %, 1000 draws: 2 √(0.975 · 0.025/1000)/(0.05844 · 1.95996) = 0.0862, by hand.
#[test]
fn val_tolerance_of_a_bound() {
    assert!((bound_tolerance(1000, 0.95) / 0.0862 - 1.0).abs() < 1e-3);
}
