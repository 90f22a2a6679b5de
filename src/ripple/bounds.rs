//! Cramér-Rao bounds of a single real tone in white noise.
//!
//! `A cos(2π f n + φ)`, n = 0 .. N-1, all three unknown, noise standard deviation s, η = A²/(2 s²), f in cycles per sample:
//! var f ≥ 12/((2π)² η N (N²-1)), var A ≥ 2 s²/N, var φ ≥ 2(2N-1)/(η N (N+1)).
//! D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591-598; S. M. Kay, Fundamentals of Statistical Signal
//! Processing: Estimation Theory, 1993, example 3.14.

use std::f64::consts::PI;

/// Smallest standard deviations any unbiased estimator can reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneBound {
    pub frequency_cycles_per_sample: f64,
    /// In the unit of the amplitude.
    pub amplitude: f64,
    pub phase_rad: f64,
}

/// The bound for `samples` samples, tone amplitude and noise standard deviation in the same unit.
pub fn single_tone_bound(samples: usize, amplitude: f64, noise: f64) -> ToneBound {
    let n = samples as f64;
    let eta = amplitude * amplitude / (2.0 * noise * noise);
    ToneBound {
        frequency_cycles_per_sample: (12.0 / (4.0 * PI * PI * eta * n * (n * n - 1.0))).sqrt(),
        amplitude: (2.0 * noise * noise / n).sqrt(),
        phase_rad: (2.0 * (2.0 * n - 1.0) / (eta * n * (n + 1.0))).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Numbers of the formulae in Rife & Boorstyn 1974 for N = 1000, A = 1, s = 0.1, computed outside this code.
    #[test]
    fn val_single_tone_bound_agrees_with_the_published_formulae() {
        let bound = single_tone_bound(1000, 1.0, 0.1);
        assert_relative_eq!(
            bound.frequency_cycles_per_sample,
            2.465619e-6,
            max_relative = 1e-6
        );
        assert_relative_eq!(bound.amplitude, 0.004472136, max_relative = 1e-6);
        assert_relative_eq!(bound.phase_rad, 0.008937568, max_relative = 1e-6);
    }
}
