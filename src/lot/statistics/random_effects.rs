//! The variance between motors, with that of their measurements taken out.
//!
//! Model: `x_i = β₀ + β₁ (t_i - t̄) + b_i + e_i`, where `b_i` differs from motor to motor with variance τ², and `e_i` is the error of
//! motor i's measurement with the known variance `u_i²`. β₁ is there only where an order of measurement is given.
//! τ² is the one that makes the weighted squares what they should be,
//! `Q(τ²) = Σ (x_i - x̂_i)²/(u_i² + τ²) = n - p`, and 0 where even τ² = 0 leaves them smaller (Paule and Mandel, J. Res. NBS 87 (1982)
//! 377-385; DerSimonian and Kacker, Contemp. Clin. Trials 28 (2007) 105-114). It needs no normal distribution.
//!
//! Its interval inverts Q against chi-squared quantiles (Viechtbauer, Stat. Med. 26 (2007) 37-52).

use crate::stats::quantiles::chi_squared_quantile;

/// A fitted model.
#[derive(Clone, Debug, PartialEq)]
pub struct RandomEffects {
    /// β₀: the mean, at the weighted mean order where there is a trend.
    pub mean: f64,
    pub mean_uncertainty: f64,
    /// β₁ with its standard uncertainty.
    pub slope: Option<(f64, f64)>,
    /// τ², in the square of the unit.
    pub variance: f64,
    /// Values less fitted coefficients.
    pub degrees_of_freedom: usize,
}

/// Values with the variances of their measurements, and the order of measurement for a trend.
#[derive(Clone, Debug)]
pub struct Sample {
    /// Measured values, one a motor.
    pub values: Vec<f64>,
    /// Variances of their measurements, as long as `values`.
    pub variances: Vec<f64>,
    /// Order of measurement, as long as `values`; `None` fits no trend.
    pub orders: Option<Vec<f64>>,
}

struct Weighted {
    mean: f64,
    weight: f64,
    order: f64,
    slope: f64,
    /// Σ w (t - t̄)².
    spread: f64,
    squares: f64,
}

impl Sample {
    fn degrees(&self) -> Option<usize> {
        let parameters = if self.orders.is_some() { 2 } else { 1 };
        let usable = self.values.len() == self.variances.len()
            && self
                .orders
                .as_ref()
                .is_none_or(|o| o.len() == self.values.len())
            && self.values.iter().all(|v| v.is_finite())
            && self.variances.iter().all(|v| v.is_finite() && *v > 0.0);
        self.values
            .len()
            .checked_sub(parameters)
            .filter(|&degrees| usable && degrees > 0)
    }

    fn weighted(&self, variance: f64) -> Weighted {
        let order = |k: usize| self.orders.as_ref().map_or(0.0, |o| o[k]);
        let (mut weight, mut first, mut time) = (0.0, 0.0, 0.0);
        for (k, (x, u)) in self.values.iter().zip(&self.variances).enumerate() {
            let w = 1.0 / (u + variance);
            weight += w;
            first += w * x;
            time += w * order(k);
        }
        let (mean, middle) = (first / weight, time / weight);
        let (mut spread, mut cross) = (0.0, 0.0);
        if self.orders.is_some() {
            for (k, (x, u)) in self.values.iter().zip(&self.variances).enumerate() {
                let w = 1.0 / (u + variance);
                let t = order(k) - middle;
                spread += w * t * t;
                cross += w * t * (x - mean);
            }
        }
        let slope = if spread > 0.0 { cross / spread } else { 0.0 };
        let squares = self
            .values
            .iter()
            .zip(&self.variances)
            .enumerate()
            .map(|(k, (x, u))| {
                let rest = x - mean - slope * (order(k) - middle);
                rest * rest / (u + variance)
            })
            .sum();
        Weighted {
            mean,
            weight,
            order: middle,
            slope,
            spread,
            squares,
        }
    }

    /// The τ² at which Q equals `target`; 0 where Q is below it already there.
    fn solve(&self, target: f64) -> f64 {
        let excess = |variance: f64| self.weighted(variance).squares - target;
        let mut low = 0.0;
        let mut at_low = excess(0.0);
        if at_low <= 0.0 {
            return 0.0;
        }
        let largest = self.variances.iter().copied().fold(0.0, f64::max);
        let n = self.values.len() as f64;
        let mean = self.values.iter().sum::<f64>() / n;
        let plain = self.values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        let mut high = plain.max(1e-6 * largest).max(f64::MIN_POSITIVE);
        let mut at_high = excess(high);
        while at_high > 0.0 && high.is_finite() {
            (low, at_low) = (high, at_high);
            high *= 4.0;
            at_high = excess(high);
        }
        // Regula falsi in the Illinois form: Q falls monotonically.
        let mut side = 0;
        for _ in 0..200 {
            let middle = (low * at_high - high * at_low) / (at_high - at_low);
            if !(middle > low && middle < high) || high - low <= 1e-13 * high {
                break;
            }
            let here = excess(middle);
            if here > 0.0 {
                (low, at_low) = (middle, here);
                if side > 0 {
                    at_high *= 0.5;
                }
                side = 1;
            } else {
                (high, at_high) = (middle, here);
                if side < 0 {
                    at_low *= 0.5;
                }
                side = -1;
            }
            if here == 0.0 {
                return middle;
            }
        }
        0.5 * (low + high)
    }
}

/// Fits mean, trend and variance between motors. `None` with too few values, one that is not finite, a variance that is
/// not above zero, or orders that are all the same.
pub fn fit(sample: &Sample) -> Option<RandomEffects> {
    let degrees = sample.degrees()?;
    let variance = sample.solve(degrees as f64);
    let at = sample.weighted(variance);
    if sample.orders.is_some() && at.spread.is_nan() | (at.spread <= 0.0) {
        return None;
    }
    Some(RandomEffects {
        mean: at.mean,
        mean_uncertainty: at.weight.sqrt().recip(),
        slope: sample
            .orders
            .as_ref()
            .map(|_| (at.slope, at.spread.sqrt().recip())),
        variance,
        degrees_of_freedom: degrees,
    })
    .filter(|_| at.order.is_finite())
}

/// Interval of τ² at `level`, by inverting Q. `None` as for [`fit`].
pub fn variance_interval(sample: &Sample, level: f64) -> Option<(f64, f64)> {
    let degrees = sample.degrees()? as f64;
    let at = |probability: f64| sample.solve(chi_squared_quantile(probability, degrees));
    Some((at(0.5 + 0.5 * level), at(0.5 - 0.5 * level)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Thirteen trials of a vaccine (Colditz et al., JAMA 271 (1994) 698-702): log risk ratios, their variances, and the
    /// absolute latitude. A published data set on which estimators of this kind are compared.
    const RATIOS: [f64; 13] = [
        -0.88931133392,
        -1.5853886572,
        -1.3480731483,
        -1.44155119002,
        -0.217547322211,
        -0.786115585819,
        -1.6208982236,
        0.0119523335238,
        -0.469417648738,
        -1.37134480347,
        -0.339358828338,
        0.445913400571,
        -0.0173139482169,
    ];
    const VARIANCES: [f64; 13] = [
        0.325584765004,
        0.194581121398,
        0.415367965368,
        0.0200100319022,
        0.0512101721696,
        0.00690561845591,
        0.223017247572,
        0.00396157929782,
        0.0564342104632,
        0.073024793613,
        0.0124122139716,
        0.5325058452,
        0.071404659684,
    ];
    const LATITUDES: [f64; 13] = [
        44.0, 55.0, 42.0, 52.0, 13.0, 44.0, 19.0, 13.0, 27.0, 42.0, 18.0, 33.0, 33.0,
    ];

    fn sample(values: &[f64], variances: &[f64], orders: Option<&[f64]>) -> Sample {
        Sample {
            values: values.to_vec(),
            variances: variances.to_vec(),
            orders: orders.map(<[f64]>::to_vec),
        }
    }

    fn trials(orders: Option<&[f64]>) -> Sample {
        sample(&RATIOS, &VARIANCES, orders)
    }

    /// statsmodels 0.15.0, `combine_effects(..., method_re="iterated")`, which is Paule and Mandel's.
    #[test]
    fn val_paule_mandel_of_the_vaccine_trials() {
        let found = fit(&trials(None)).unwrap();
        assert_relative_eq!(found.variance, 0.318_068_452_2, max_relative = 1e-7);
        assert_relative_eq!(found.mean, -0.714_968_153_5, max_relative = 1e-6);
        assert_relative_eq!(found.mean_uncertainty, 0.180_892_191_5, max_relative = 1e-6);
    }

    /// Interval printed for these data by the method's author in his own package's documentation: 0.1197 to 1.1115 (from
    /// memory); the digits with scipy 1.17.1 (`brentq` on Q).
    #[test]
    fn val_interval_of_the_variance_of_the_vaccine_trials() {
        let (low, high) = variance_interval(&trials(None), 0.95).unwrap();
        assert_relative_eq!(low, 0.119_718_361_1, max_relative = 1e-7);
        assert_relative_eq!(high, 1.111_479_084_1, max_relative = 1e-7);
    }

    /// statsmodels 0.15.0, `WLS(...).fit(cov_type="fixed scale")` at the τ² that scipy 1.17.1 finds for Q = 11.
    #[test]
    fn val_trend_of_the_vaccine_trials_with_latitude() {
        let found = fit(&trials(Some(&LATITUDES))).unwrap();
        assert_relative_eq!(found.variance, 0.142_131_941_47, max_relative = 1e-7);
        let (slope, uncertainty) = found.slope.unwrap();
        assert_relative_eq!(slope, -0.028_564_53, max_relative = 1e-6);
        assert_relative_eq!(uncertainty, 0.009_070_19, max_relative = 1e-6);
    }

    #[test]
    fn motors_that_agree_within_their_uncertainty_have_no_spread() {
        let values = [1.0, 1.01, 0.99, 1.005];
        let found = fit(&sample(&values, &[1e-3; 4], None)).unwrap();
        assert_eq!(found.variance, 0.0);
        assert_relative_eq!(found.mean_uncertainty, (1e-3f64 / 4.0).sqrt());
    }

    #[test]
    fn what_cannot_be_fitted_is_none() {
        let none = |values: &[f64], variances: &[f64], orders: Option<&[f64]>| {
            fit(&sample(values, variances, orders)).is_none()
        };
        assert!(none(&[1.0], &[1.0], None));
        assert!(none(&[1.0, f64::NAN], &[1.0, 1.0], None));
        assert!(none(&[1.0, 2.0], &[1.0, 0.0], None));
        assert!(none(&[1.0, 2.0, 3.0], &[1.0; 3], Some(&[4.0; 3])));
        assert!(none(&[1.0, 2.0], &[1.0; 2], Some(&[1.0, 2.0])));
    }
}
