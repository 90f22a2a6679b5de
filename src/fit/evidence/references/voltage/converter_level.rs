//! How well a mean level is known behind a converter.

use std::f64::consts::PI;

/// Uneven width of converter codes, as the ripple of run-downs takes it, in steps.
const UNEVEN_STEPS: f64 = 0.1;

/// Standard uncertainty of a mean level behind a converter: codes of uneven width, and the rounding that noise of σ does not wash out,
/// whose amplitude is `(q/π) exp(−2π²σ²/q²)`, q the step (B. Widrow, I. Kollár, Quantization Noise, 2008, ch. 19, from memory).
pub fn level_uncertainty(values: &[f64], step: f64) -> f64 {
    let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
    let first = values
        .iter()
        .copied()
        .find(|v| v.is_finite())
        .unwrap_or(0.0);
    for v in values.iter().filter(|v| v.is_finite()).map(|v| v - first) {
        sum += v;
        squares += v * v;
        n += 1.0;
    }
    if n == 0.0 || step <= 0.0 {
        return 0.0;
    }
    let seen = (squares - sum * sum / n) / n;
    let noise = (seen / (step * step) - 1.0 / 12.0).max(0.0);
    let rounding = (-2.0 * PI * PI * noise).exp() / (PI * 2f64.sqrt());
    step * UNEVEN_STEPS.hypot(rounding)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A level of 3.3 steps, rounded to codes, with noise of `sd` steps from a fixed sequence.
    fn rounded_mean(sd: f64, level: f64) -> (Vec<f64>, f64) {
        let values: Vec<f64> = (0..20_000)
            .map(|k| {
                // Sum of three incommensurate sequences on [-1/2, 1/2): near enough to Gaussian, of variance 3/12.
                let u = |a: f64| (f64::from(k) * a).fract() - 0.5;
                let noise = 2.0 * (u(0.618_033_988) + u(0.754_877_666) + u(0.569_840_291));
                (level + sd * noise).round()
            })
            .collect();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values, mean)
    }

    #[test]
    fn a_level_that_noise_does_not_move_over_the_codes_is_known_to_a_part_of_the_step() {
        let (values, mean) = rounded_mean(0.0, 3.3);
        let sd = level_uncertainty(&values, 1.0);
        assert!((mean - 3.3).abs() < 2.0 * sd && sd < 0.3, "{mean} ± {sd}");
        let (values, mean) = rounded_mean(0.6, 3.3);
        let dithered = level_uncertainty(&values, 1.0);
        assert!((mean - 3.3).abs() < 0.02, "{mean}");
        assert!((dithered - UNEVEN_STEPS).abs() < 0.01, "{dithered}");
    }
}
