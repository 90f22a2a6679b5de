//! Propagation of uncertainty against the worked examples of the guides.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use nalgebra::{DMatrix, DVector};
use rand::Rng;
use rand_distr::{Distribution, Normal, StandardNormal, Uniform};
use rundown::stats::covariance::{of_means, to_correlation};
use rundown::stats::monte_carlo::{Outcomes, propagate_normal, simulate};
use rundown::stats::propagation::{Component, effective_degrees_of_freedom, propagate};
use rundown::stats::quantiles::coverage_factor;

/// JCGM 100:2008, H.2, table H.2: V/V, I/A, phase/rad, five simultaneous repeats.
fn impedance_repeats() -> DMatrix<f64> {
    DMatrix::from_row_slice(
        5,
        3,
        &[
            5.007, 19.663e-3, 1.0456, 4.994, 19.639e-3, 1.0438, 5.005, 19.640e-3, 1.0468, 4.990,
            19.685e-3, 1.0428, 4.999, 19.678e-3, 1.0433,
        ],
    )
}

/// Resistance, reactance, impedance.
fn impedance(voltage: f64, current: f64, phase: f64) -> [f64; 3] {
    let z = voltage / current;
    [z * phase.cos(), z * phase.sin(), z]
}

/// JCGM 100:2008, H.2, tables H.3 and H.4, first approach. More digits of the same formulas are given where the
/// printed ones are few; the printed u(X) = 0.295 Ω belongs to the second approach, the first gives 0.2956.
#[test]
fn val_gum_h2_resistance_and_reactance_from_means() {
    let (mean, covariance) = of_means(&impedance_repeats()).unwrap();
    assert_relative_eq!(mean[0], 4.9990, max_relative = 1e-12);
    assert_relative_eq!(mean[1], 19.6610e-3, max_relative = 1e-12);
    assert_relative_eq!(mean[2], 1.04446, max_relative = 1e-12);
    for (i, printed) in [(0, 0.0032), (1, 0.0095e-3), (2, 0.00075)] {
        assert_relative_eq!(covariance[(i, i)].sqrt(), printed, max_relative = 0.006);
    }
    let correlation = to_correlation(&covariance);
    for ((i, j), printed) in [((0, 1), -0.36), ((0, 2), 0.86), ((1, 2), -0.65)] {
        assert_abs_diff_eq!(correlation[(i, j)], printed, epsilon = 0.005);
    }

    let (v, i, phi) = (mean[0], mean[1], mean[2]);
    let [r, x, z] = impedance(v, i, phi);
    assert_abs_diff_eq!(r, 127.732, epsilon = 5e-4);
    assert_abs_diff_eq!(x, 219.847, epsilon = 5e-4);
    assert_abs_diff_eq!(z, 254.260, epsilon = 5e-4);
    #[rustfmt::skip]
    let sensitivities = DMatrix::from_row_slice(3, 3, &[
        r / v, -r / i, -x,
        x / v, -x / i, r,
        z / v, -z / i, 0.0,
    ]);
    let result = propagate(&sensitivities, &covariance).unwrap();
    for (k, printed, digits) in [
        (0, 0.071, 0.0710714),
        (1, 0.295, 0.295582),
        (2, 0.236, 0.236336),
    ] {
        assert_abs_diff_eq!(result[(k, k)].sqrt(), printed, epsilon = 0.001);
        assert_relative_eq!(result[(k, k)].sqrt(), digits, max_relative = 1e-5);
    }
    let correlation = to_correlation(&result);
    for ((i, j), printed) in [((0, 1), -0.588), ((0, 2), -0.485), ((1, 2), 0.993)] {
        assert_abs_diff_eq!(correlation[(i, j)], printed, epsilon = 0.001);
    }
}

/// JCGM 100:2008, H.2.4, table H.4, second approach: each repeat gives its own result, which are then averaged.
#[test]
fn val_gum_h2_resistance_and_reactance_from_single_results() {
    let repeats = impedance_repeats();
    let results = DMatrix::from_fn(5, 3, |k, j| {
        impedance(repeats[(k, 0)], repeats[(k, 1)], repeats[(k, 2)])[j]
    });
    let (mean, covariance) = of_means(&results).unwrap();
    for (k, value, uncertainty) in [
        (0, 127.732, 0.071),
        (1, 219.847, 0.295),
        (2, 254.260, 0.236),
    ] {
        assert_abs_diff_eq!(mean[k], value, epsilon = 5e-4);
        assert_abs_diff_eq!(covariance[(k, k)].sqrt(), uncertainty, epsilon = 5e-4);
    }
}

/// JCGM 100:2008, H.3, table H.6 and H.3.3, H.3.4: the thermometer's correction and its prediction at 30 °C. The
/// fit itself is plain normal equations; what is checked is what its covariance becomes.
#[test]
fn val_gum_h3_thermometer_calibration() {
    let temperature = [
        21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
    ];
    let correction = [
        -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
    ];
    let design = DMatrix::from_fn(
        11,
        2,
        |k, j| if j == 0 { 1.0 } else { temperature[k] - 20.0 },
    );
    let observed = DVector::from_row_slice(&correction);
    let inverse = (design.transpose() * &design).try_inverse().unwrap();
    let fitted = &inverse * design.transpose() * &observed;
    let residual_variance: f64 = (observed - &design * &fitted).norm_squared() / 9.0;
    let covariance: DMatrix<f64> = inverse * residual_variance;
    assert_abs_diff_eq!(fitted[0], -0.1712, epsilon = 5e-5);
    assert_abs_diff_eq!(fitted[1], 0.00218, epsilon = 5e-6);
    assert_abs_diff_eq!(covariance[(0, 0)].sqrt(), 0.0029, epsilon = 5e-5);
    assert_abs_diff_eq!(covariance[(1, 1)].sqrt(), 0.00067, epsilon = 5e-6);
    assert_abs_diff_eq!(to_correlation(&covariance)[(0, 1)], -0.930, epsilon = 5e-4);

    let at_thirty = DMatrix::from_row_slice(1, 2, &[1.0, 10.0]);
    let prediction = (&at_thirty * &fitted)[0];
    let uncertainty = propagate(&at_thirty, &covariance).unwrap()[(0, 0)].sqrt();
    assert_abs_diff_eq!(prediction, -0.1494, epsilon = 5e-5);
    assert_abs_diff_eq!(uncertainty, 0.0041, epsilon = 5e-5);
    // Without the covariance the same prediction would seem nearly twice as uncertain.
    let diagonal = DMatrix::from_diagonal(&covariance.diagonal());
    let careless = propagate(&at_thirty, &diagonal).unwrap()[(0, 0)].sqrt();
    assert_abs_diff_eq!(careless, 0.0073, epsilon = 5e-5);
    // The straight line bends nothing, so Monte Carlo agrees.
    let outcomes = propagate_normal(&fitted, &covariance, 1, 20_000, 1, |y| {
        vec![y[0] + 10.0 * y[1]]
    })
    .unwrap();
    assert_relative_eq!(
        outcomes[0].standard_uncertainty(),
        uncertainty,
        max_relative = 0.02
    );
}

fn parts(values: &[(f64, f64)]) -> Vec<Component> {
    values
        .iter()
        .map(|&(standard_uncertainty, degrees_of_freedom)| Component {
            standard_uncertainty,
            degrees_of_freedom,
        })
        .collect()
}

/// JCGM 100:2008, G.4.1 example (from memory; arithmetic checked) and H.1.6 (components read, result from memory).
#[test]
fn val_welch_satterthwaite() {
    let product = parts(&[(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]);
    let degrees = effective_degrees_of_freedom(&product).unwrap();
    assert_abs_diff_eq!(degrees, 19.0, epsilon = 0.05);
    assert_abs_diff_eq!(coverage_factor(0.95, Some(18.0)), 2.10, epsilon = 0.005);

    let gauge_block = parts(&[(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]);
    let degrees = effective_degrees_of_freedom(&gauge_block).unwrap();
    assert_abs_diff_eq!(degrees, 16.7, epsilon = 0.1);
    assert_abs_diff_eq!(
        coverage_factor(0.99, Some(degrees.floor())),
        2.92,
        epsilon = 0.005
    );
}

#[test]
fn degrees_of_freedom_that_are_known_or_absurd() {
    let known = parts(&[(1.0, f64::INFINITY), (2.0, f64::INFINITY)]);
    assert_eq!(effective_degrees_of_freedom(&known).unwrap(), f64::INFINITY);
    for absurd in [
        parts(&[]),
        parts(&[(0.0, 5.0)]),
        parts(&[(-1.0, 5.0)]),
        parts(&[(f64::NAN, 5.0)]),
        parts(&[(1.0, 0.0)]),
    ] {
        assert!(effective_degrees_of_freedom(&absurd).is_err());
    }
    assert!(propagate(&DMatrix::zeros(1, 2), &DMatrix::zeros(3, 3)).is_err());
}

const TRIALS: usize = 400_000;

fn half_width((low, high): (f64, f64)) -> f64 {
    0.5 * (high - low)
}

/// JCGM 101:2008, 9.2.2, table 2: the sum of four standard normal quantities.
#[test]
fn val_jcgm_101_sum_of_normals() {
    let outcomes = simulate(TRIALS, 1, |random| {
        (0..4)
            .map(|_| -> f64 { StandardNormal.sample(random) })
            .sum()
    })
    .unwrap();
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
    let outcomes = simulate(TRIALS, 2, |random| {
        (0..4).map(|_| rectangular.sample(random)).sum()
    })
    .unwrap();
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 2.00, epsilon = 0.01);
    let half = half_width(outcomes.percentile_interval(0.95).unwrap());
    assert_abs_diff_eq!(half, 3.88, epsilon = 0.02);
}

/// JCGM 101:2008, 9.2.4, table 4 (from memory): one of the four ten times as wide, ±17.0 against ±19.9.
#[test]
fn val_jcgm_101_sum_with_a_dominant_rectangular() {
    let width = 3f64.sqrt();
    let rectangular = Uniform::new(-width, width).unwrap();
    let outcomes = simulate(TRIALS, 3, |random| {
        let small: f64 = (0..3).map(|_| rectangular.sample(random)).sum();
        small + 10.0 * rectangular.sample(random)
    })
    .unwrap();
    assert_abs_diff_eq!(outcomes.standard_uncertainty(), 10.1, epsilon = 0.08);
    let half = half_width(outcomes.percentile_interval(0.95).unwrap());
    assert_abs_diff_eq!(half, 17.0, epsilon = 0.05);
}

/// NPL report DEM-ES-011, table 9.2: the logarithm of a rectangular quantity on 0.1 to 1.1, whose shortest interval
/// lies far from the equal-tailed one. Ends to more digits: −1.8971, 0.0953 and −2.0794, 0.0723.
#[test]
fn val_logarithm_of_a_rectangular_quantity() {
    let outcomes = simulate(TRIALS, 4, |random| random.random_range(0.1..1.1_f64).ln()).unwrap();
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
    let outcomes = simulate(TRIALS, 5, |random| {
        let air: f64 = random.random_range(1.10..1.30);
        let weight: f64 = random.random_range(7000.0..9000.0);
        let standard: f64 = random.random_range(7950.0..8050.0);
        let mass = reference.sample(random) + added.sample(random);
        mass * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / standard)) - 100_000.0
    })
    .unwrap();
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

#[test]
fn the_same_seed_gives_the_same_outcomes() {
    let once = |seed| simulate(100, seed, |random| random.random::<f64>()).unwrap();
    assert_eq!(once(7), once(7));
    assert_ne!(once(7), once(8));
}
