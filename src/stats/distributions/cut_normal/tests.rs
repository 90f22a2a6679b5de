use super::*;
use approx::assert_relative_eq;
use rand::SeedableRng;
use rand::rngs::StdRng;

fn moments(cut: &CutNormal, count: usize, k: usize) -> (f64, f64) {
    let mut random = StdRng::seed_from_u64(5);
    let mut sampler = cut.sampler().expect("a distribution");
    let values: Vec<f64> = (0..count)
        .map(|_| sampler.draw(&mut random).expect("within reach")[k])
        .collect();
    let mean = values.iter().sum::<f64>() / count as f64;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count as f64;
    (mean, variance.sqrt())
}

#[test]
fn without_a_bound_near_it_is_the_normal_distribution() {
    let information = DMatrix::from_row_slice(2, 2, &[4.0, 1.0, 1.0, 9.0]);
    let pull = DVector::from_row_slice(&[40.0, 100.0]);
    let cut = CutNormal::new(&information, &pull, &[Some(0.0), None]).expect("shapes");
    let exact = information.clone().try_inverse().expect("regular");
    let mean = &exact * &pull;
    for k in 0..2 {
        assert_relative_eq!(cut.mean[k], mean[k], max_relative = 1e-9);
        assert_relative_eq!(cut.covariance[(k, k)], exact[(k, k)], max_relative = 1e-9);
    }
}

/// Two quantities that are not negative and of which only the sum is known: each is uniform between zero and the sum (an
/// elementary result), so its mean is a half of the sum and its standard deviation the sum over √12.
#[test]
fn val_a_sum_that_is_known_confines_both_its_parts() {
    let (sum, sigma) = (40.0, 0.4);
    let weight = 1.0 / (sigma * sigma);
    let information = DMatrix::from_element(2, 2, weight);
    let pull = DVector::from_element(2, weight * sum);
    let cut = CutNormal::new(&information, &pull, &[Some(0.0); 2]).expect("shapes");
    let (mean, deviation) = moments(&cut, 40_000, 0);
    assert_relative_eq!(mean, sum / 2.0, max_relative = 0.02);
    assert_relative_eq!(deviation, sum / 12.0_f64.sqrt(), max_relative = 0.02);
    // A uniform distribution is the hardest for a normal one: its spread comes out a fifth too wide, never too narrow; the sum is exact.
    assert_relative_eq!(cut.mean[0], sum / 2.0, max_relative = 0.02);
    let ratio = cut.covariance[(0, 0)].sqrt() / (sum / 12.0_f64.sqrt());
    assert!((1.0..1.2).contains(&ratio), "{ratio}");
    let both = cut.covariance.sum().sqrt();
    assert_relative_eq!(both, sigma, max_relative = 0.02);
    let most = cut.above_bound(0).expect("bounded").quantile(0.95);
    assert!(most > 0.9 * sum && most < 1.15 * sum, "{most}");
}

/// Half-normal moments, closed form: mean √(2/π), variance 1 − 2/π; the correlated one follows with regression coefficient ρ.
#[test]
fn val_what_is_correlated_follows_the_bound() {
    let rho: f64 = 0.8;
    let covariance = DMatrix::from_row_slice(2, 2, &[1.0, rho, rho, 1.0]);
    let information = covariance.try_inverse().expect("regular");
    let cut = CutNormal::new(&information, &DVector::zeros(2), &[Some(0.0), None]).expect("shapes");
    let half = (2.0 / std::f64::consts::PI).sqrt();
    assert_relative_eq!(cut.mean[0], half, max_relative = 1e-6);
    assert_relative_eq!(cut.mean[1], rho * half, max_relative = 1e-6);
    let variance = 1.0 - rho * rho + rho * rho * (1.0 - half * half);
    assert_relative_eq!(cut.covariance[(1, 1)], variance, max_relative = 1e-6);
    let (mean, deviation) = moments(&cut, 40_000, 1);
    assert_relative_eq!(mean, rho * half, max_relative = 0.02);
    assert_relative_eq!(deviation, variance.sqrt(), max_relative = 0.02);
}

#[test]
fn far_beyond_the_bound_it_still_draws() {
    // Centre eight spreads below the bound: mean h − 8 and variance 1 − h (h − 8) above it, with the hazard h of the normal distribution at 8,
    // whose continued fraction (Laplace) 8 + 1/(8 + 2/(8 + 3/(8 + 4/8))) is 8.12137.
    let information = DMatrix::from_element(1, 1, 1.0);
    let cut = CutNormal::new(&information, &DVector::from_element(1, -8.0), &[Some(0.0)])
        .expect("shapes");
    let (mean, deviation) = moments(&cut, 40_000, 0);
    assert_relative_eq!(mean, 0.12137, max_relative = 0.05);
    assert_relative_eq!(deviation, 0.1197, max_relative = 0.08);
}

#[test]
fn a_coordinate_without_information_has_no_part() {
    let information = DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, 4.0]);
    let cut = CutNormal::new(
        &information,
        &DVector::from_row_slice(&[0.0, 4.0]),
        &[Some(0.0), None],
    )
    .expect("shapes");
    assert!(cut.above_bound(0).is_none());
    assert_eq!(cut.covariance[(0, 0)], 0.0);
    assert_relative_eq!(cut.mean[1], 1.0, max_relative = 1e-12);
}
