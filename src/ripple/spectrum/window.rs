//! The Hann window (F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66
//! (1978) 51-83).

use crate::ripple::numerics::turn::turn;

/// Value at `fraction` of the record, 0 at its start, 1 at its end; zero outside.
pub fn hann(fraction: f64) -> f64 {
    if !(0.0..=1.0).contains(&fraction) {
        return 0.0;
    }
    0.5 - 0.5 * turn(fraction).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use std::f64::consts::PI;

    /// Harris 1978, table I, as printed; definitions of section IV for the periodic form `w[n]`, `n = 0 .. N`: coherent gain `Σ w / N`,
    /// equivalent noise bandwidth `N Σ w² / (Σ w)²` in bins, scalloping loss `|Σ w exp(-j π n/N)| / Σ w`.
    #[test]
    fn val_figures_agree_with_the_published_table() {
        let n = 4096.0;
        let (mut sum, mut squares, mut half_re, mut half_im) = (0.0, 0.0, 0.0, 0.0);
        for k in 0..4096 {
            let w = hann(f64::from(k) / n);
            let (sin, cos) = (PI * f64::from(k) / n).sin_cos();
            sum += w;
            squares += w * w;
            half_re += w * cos;
            half_im -= w * sin;
        }
        assert_abs_diff_eq!(sum / n, 0.50, epsilon = 0.005);
        assert_abs_diff_eq!(n * squares / (sum * sum), 1.50, epsilon = 0.005);
        let loss_db = -20.0 * (half_re.hypot(half_im) / sum).log10();
        assert_abs_diff_eq!(loss_db, 1.42, epsilon = 0.005);
    }
}
