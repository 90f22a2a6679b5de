//! Windows and their figures.
//!
//! Definitions of F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66
//! (1978) 51-83, section IV, for the periodic form `w[n]`, `n = 0 .. N`:
//! coherent gain `Σ w / N`; equivalent noise bandwidth `N Σ w² / (Σ w)²` in bins; scalloping loss
//! `|Σ w exp(-j π n/N)| / Σ w`, the loss of a tone halfway between two bins.

use crate::ripple::numerics::turn::turn;
use std::f64::consts::PI;

/// Shape of a window over the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    Rectangular,
    Hann,
    /// Four terms, -92 dB sidelobes.
    BlackmanHarris,
}

/// Figures of a window; see the module for the definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindowFigures {
    pub coherent_gain: f64,
    pub noise_bandwidth_bins: f64,
    pub scalloping_loss_db: f64,
}

impl Window {
    /// Value at `fraction` of the record, 0 at its start, 1 at its end. Outside 0..1 the window is zero.
    pub fn at(self, fraction: f64) -> f64 {
        if !(0.0..=1.0).contains(&fraction) {
            return 0.0;
        }
        let cos = |turns: f64| turn(turns).0;
        match self {
            Window::Rectangular => 1.0,
            Window::Hann => 0.5 - 0.5 * cos(fraction),
            Window::BlackmanHarris => {
                0.35875 - 0.48829 * cos(fraction) + 0.14128 * cos(2.0 * fraction)
                    - 0.01168 * cos(3.0 * fraction)
            }
        }
    }

    /// Figures of the periodic form with `samples` points.
    pub fn figures(self, samples: usize) -> WindowFigures {
        let n = samples as f64;
        let (mut sum, mut squares, mut half_re, mut half_im) = (0.0, 0.0, 0.0, 0.0);
        for k in 0..samples {
            let w = self.at(k as f64 / n);
            sum += w;
            squares += w * w;
            let (s, c) = (PI * k as f64 / n).sin_cos();
            half_re += w * c;
            half_im -= w * s;
        }
        WindowFigures {
            coherent_gain: sum / n,
            noise_bandwidth_bins: n * squares / (sum * sum),
            scalloping_loss_db: -20.0 * (half_re.hypot(half_im) / sum).log10(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Harris 1978, table I (coherent gain, noise bandwidth, scalloping loss as printed).
    #[test]
    fn val_figures_agree_with_the_published_table() {
        for (window, gain, bandwidth, loss) in [
            (Window::Rectangular, 1.00, 1.00, 3.92),
            (Window::Hann, 0.50, 1.50, 1.42),
            (Window::BlackmanHarris, 0.36, 2.00, 0.83),
        ] {
            let found = window.figures(4096);
            assert_abs_diff_eq!(found.coherent_gain, gain, epsilon = 0.005);
            assert_abs_diff_eq!(found.noise_bandwidth_bins, bandwidth, epsilon = 0.005);
            assert_abs_diff_eq!(found.scalloping_loss_db, loss, epsilon = 0.005);
        }
    }
}
