//! A normal distribution cut off at zero: what is left of a Gaussian when the quantity cannot be negative.

use crate::stats::quantiles::{normal_cdf, normal_quantile};

/// Spreads beyond which the tail is taken for exponential with scale `spread/cut` (Abramowitz & Stegun 26.2.12 to first
/// order: the mean is then within 2/cut² of it), where the exact formulas cancel.
const FAR_TAIL: f64 = 25.0;

/// Normal with the given centre and spread, restricted to values above zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TruncatedNormal {
    centre: f64,
    spread: f64,
}

impl TruncatedNormal {
    /// `centre` may be negative; `spread` must be positive.
    pub fn above_zero(centre: f64, spread: f64) -> Self {
        TruncatedNormal { centre, spread }
    }

    /// Lower end of what is left, in spreads from the centre.
    fn cut(&self) -> f64 {
        -self.centre / self.spread
    }

    /// Probability density of the standard normal over the tail that is left (inverse Mills ratio).
    fn hazard(&self) -> f64 {
        let a = self.cut();
        (-0.5 * a * a).exp() / (std::f64::consts::TAU.sqrt() * normal_cdf(-a))
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        if self.cut() > FAR_TAIL {
            return self.spread / self.cut();
        }
        self.centre + self.spread * self.hazard()
    }

    /// Standard deviation.
    pub fn standard_deviation(&self) -> f64 {
        let a = self.cut();
        if a > FAR_TAIL {
            return self.spread / a;
        }
        let h = self.hazard();
        self.spread * (1.0 + a * h - h * h).max(0.0).sqrt()
    }

    /// Value not exceeded with probability `p`.
    pub fn quantile(&self, p: f64) -> f64 {
        let a = self.cut();
        if a > 6.0 {
            return -(1.0 - p).ln() * self.spread / a;
        }
        let below = normal_cdf(a);
        self.centre + self.spread * normal_quantile(below + p * (1.0 - below))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn half_normal_moments() {
        // Half-normal, closed form: mean sqrt(2/pi), variance 1 - 2/pi, median 0.674490.
        let half = TruncatedNormal::above_zero(0.0, 1.0);
        assert_abs_diff_eq!(
            half.mean(),
            (2.0 / std::f64::consts::PI).sqrt(),
            epsilon = 1e-12
        );
        assert_abs_diff_eq!(
            half.standard_deviation().powi(2),
            1.0 - 2.0 / std::f64::consts::PI,
            epsilon = 1e-12
        );
        assert_abs_diff_eq!(half.quantile(0.5), 0.674_489_750_196, epsilon = 1e-9);
        assert_abs_diff_eq!(half.quantile(0.95), 1.959_963_984_540, epsilon = 1e-9);
    }

    #[test]
    fn far_from_zero_it_is_the_normal() {
        let far = TruncatedNormal::above_zero(10.0, 1.0);
        assert_abs_diff_eq!(far.mean(), 10.0, epsilon = 1e-12);
        assert_abs_diff_eq!(
            far.quantile(0.975),
            10.0 + 1.959_963_984_540,
            epsilon = 1e-9
        );
    }

    #[test]
    fn deep_in_the_tail_it_is_exponential() {
        let deep = TruncatedNormal::above_zero(-40.0, 1.0);
        assert_abs_diff_eq!(deep.mean(), 1.0 / 40.0, epsilon = 1e-4);
        assert_abs_diff_eq!(deep.quantile(0.95), 3.0 / 40.0, epsilon = 2e-3);
    }
}
