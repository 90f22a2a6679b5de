use super::*;
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};

const SCORES: [f64; 16] = [
    0.5, -1.0, 1.5, 0.25, 2.0, 0.5, -0.5, 1.25, -1.5, -0.75, -1.0, 0.5, 0.25, -0.5, 1.0, 2.0,
];

fn meat_of(group_starts: &[usize], lag: Lag) -> Meat {
    let scores = Scores {
        values: &SCORES,
        parameters: 2,
        group_starts,
    };
    meat(scores, lag).unwrap()
}

/// statsmodels 0.15.0, `stats.sandwich_covariance.S_hac_simple` on the same numbers; with a break, the sum of its
/// results for the two parts.
#[test]
fn val_meat_of_a_short_series() {
    for (lag, expected) in [
        (0, [11.0625, 2.75, 7.9375]),
        (1, [16.0625, 3.375, 5.875]),
        (3, [11.875, 0.578125, 4.625]),
    ] {
        let result = meat_of(&[], Lag::Fixed(lag));
        let m = &result.matrix;
        assert_eq!(result.lag, lag);
        approx::assert_relative_eq!(m[(0, 0)], expected[0], max_relative = 1e-14);
        approx::assert_relative_eq!(m[(0, 1)], expected[1], max_relative = 1e-14);
        approx::assert_relative_eq!(m[(1, 0)], expected[1], max_relative = 1e-14);
        approx::assert_relative_eq!(m[(1, 1)], expected[2], max_relative = 1e-14);
    }
    for starts in [&[5][..], &[0, 5][..]] {
        let m = meat_of(starts, Lag::Fixed(2)).matrix;
        approx::assert_relative_eq!(m[(0, 0)], 13.229166666666668, max_relative = 1e-14);
        approx::assert_relative_eq!(m[(0, 1)], 2.333333333333333, max_relative = 1e-14);
        approx::assert_relative_eq!(m[(1, 1)], 5.979166666666666, max_relative = 1e-14);
    }
}

#[test]
fn a_lag_longer_than_every_group_is_cut() {
    assert_eq!(meat_of(&[], Lag::Fixed(100)).lag, 7);
    assert_eq!(meat_of(&[5], Lag::Fixed(100)).lag, 4);
    assert_eq!(
        meat_of(&[1, 2, 3, 4, 5, 6, 7], Lag::Fixed(3)),
        meat_of(&[], Lag::Zero)
    );
}

fn autoregression(n: usize, r: f64, seed: u64) -> Vec<f64> {
    let mut random = StdRng::seed_from_u64(seed);
    let mut value = 0.0;
    (0..n)
        .map(|_| {
            let z: f64 = StandardNormal.sample(&mut random);
            value = r * value + (1.0 - r * r).sqrt() * z;
            value
        })
        .collect()
}

/// Andrews 1991, eq. 6.4 for a first-order autoregression: S = 1.1447 (4 r² n / (1 − r²)²)^(1/3). Newey & West's
/// quantities have the same limit, s1/s0 = 2r/(1 − r²).
#[test]
fn val_automatic_lags_of_a_first_order_autoregression() {
    let n = 5_000;
    for r in [0.3_f64, 0.6, 0.8] {
        let expected = 1.1447 * (4.0 * r * r * n as f64 / (1.0 - r * r).powi(2)).cbrt();
        for rule in [Lag::AndrewsAr1, Lag::NeweyWest1994] {
            let records = 20;
            let total: usize = (0..records)
                .map(|seed| {
                    let record = autoregression(n, r, seed);
                    let scores = Scores {
                        values: &record,
                        parameters: 1,
                        group_starts: &[],
                    };
                    meat(scores, rule).unwrap().lag
                })
                .sum();
            let ratio = total as f64 / records as f64 / expected;
            // Newey & West look at nine lags only, so a long correlation appears shorter to them.
            let least = match rule {
                Lag::NeweyWest1994 => 0.7,
                _ => 0.93,
            };
            assert!((least..1.07).contains(&ratio), "{rule:?} r {r}: {ratio}");
        }
    }
}

/// The variance of a sum of n values of a first-order autoregression of unit variance is n (1 + r)/(1 − r) for long
/// records (Box & Jenkins).
#[test]
fn val_variance_of_a_correlated_sum() {
    let n = 20_000;
    for (r, least) in [(0.0, 0.95), (0.5, 0.9), (0.9, 0.85)] {
        let record = autoregression(n, r, 11);
        let scores = Scores {
            values: &record,
            parameters: 1,
            group_starts: &[],
        };
        let estimate = meat(scores, Lag::AndrewsAr1).unwrap().matrix[(0, 0)];
        let ratio = estimate / (n as f64 * (1.0 + r) / (1.0 - r));
        assert!((least..1.1).contains(&ratio), "r {r}: {ratio}");
    }
}

/// The same expectation; what the weights lose, whitening by one coefficient gives back.
#[test]
fn val_variance_of_a_correlated_sum_after_whitening() {
    let n = 2000;
    for r in [-0.4, 0.0, 0.5, 0.9] {
        let records = 40;
        let total: f64 = (0..records)
            .map(|seed| {
                let record = autoregression(n, r, 100 + seed);
                let scores = Scores {
                    values: &record,
                    parameters: 1,
                    group_starts: &[700],
                };
                let result = prewhitened_meat(scores, Lag::AndrewsAr1).unwrap();
                approx::assert_abs_diff_eq!(result.prewhitening, r, epsilon = 0.08);
                result.matrix[(0, 0)]
            })
            .sum();
        let ratio = total / records as f64 / (n as f64 * (1.0 + r) / (1.0 - r));
        assert!((0.95..1.05).contains(&ratio), "r {r}: {ratio}");
    }
}

#[test]
fn whitening_by_hand() {
    // ρ = (2·1 + 1·0 + 0·(−1)) / (4 + 1 + 0 + 1) = 1/3; whitened 2√(8/9), 1/3, −1/3, −1; squares 43/9; coloured by 9/4.
    let scores = Scores {
        values: &[2.0, 1.0, 0.0, -1.0],
        parameters: 1,
        group_starts: &[],
    };
    let result = prewhitened_meat(scores, Lag::Zero).unwrap();
    approx::assert_relative_eq!(result.prewhitening, 1.0 / 3.0, max_relative = 1e-14);
    approx::assert_relative_eq!(result.matrix[(0, 0)], 10.75, max_relative = 1e-14);
}

#[test]
fn units_do_not_change_the_automatic_lag() {
    let record = autoregression(2000, 0.7, 5);
    let noise = autoregression(2000, 0.0, 6);
    let both = |factor: f64| -> Vec<f64> {
        let rows = record.iter().zip(&noise);
        rows.flat_map(|(a, b)| [a * factor, *b]).collect()
    };
    let lag_of = |factor: f64, rule| {
        let values = both(factor);
        let scores = Scores {
            values: &values,
            parameters: 2,
            group_starts: &[],
        };
        meat(scores, rule).unwrap().lag
    };
    for rule in [Lag::AndrewsAr1, Lag::NeweyWest1994] {
        assert_eq!(lag_of(1.0, rule), lag_of(1e-9, rule));
        assert!(lag_of(1.0, rule) > 5);
    }
}

#[test]
fn shapes_that_do_not_fit_are_refused() {
    let attempt = |values: &[f64], parameters, group_starts: &[usize]| {
        let scores = Scores {
            values,
            parameters,
            group_starts,
        };
        meat(scores, Lag::AndrewsAr1).is_err()
    };
    assert!(attempt(&[], 1, &[]));
    assert!(attempt(&[1.0], 0, &[]));
    assert!(attempt(&[1.0, 2.0, 3.0], 2, &[]));
    assert!(attempt(&[1.0, f64::NAN], 1, &[]));
    assert!(attempt(&[1.0, 2.0], 1, &[3]));
    assert!(attempt(&[1.0, 2.0, 3.0], 1, &[2, 1]));
    assert!(!attempt(&[0.0, 0.0, 0.0], 1, &[]));
}
