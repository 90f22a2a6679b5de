//! The voltage that drives the model, freed of what did not drive the motor.
//!
//! A recorded voltage holds the channel's noise, and through the source's resistance the image of the motor's own commutation
//! ripple. Neither pushes a current through the motor, but a model that is driven by the record answers both. Least squares
//! then prefers parameters under which it answers less: the dynamic resistance comes out too high (the bias of errors in
//! variables; Fuller 1987, *Measurement Error Models*, section 1.1). So the voltage is smoothed over as long a time as its
//! scatter allows.

use super::bin::Bin;
use nalgebra::{Matrix3, Vector3};

/// Standard errors within which the means over growing windows have to agree (the rule of intersecting confidence
/// intervals; Goldenshluger & Nemirovski 1997, Mathematical Methods of Statistics 6, 135-170).
const AGREEMENT: f64 = 2.0;

/// Standard errors beyond which a supply's drift is believed. Its effect is large: it drives the current `C_m dv/dt` that only
/// changes the speed.
const PLAIN_DRIFT: f64 = 4.0;

/// Replaces every bin's voltage by their mean, or where they plainly drift by a straight line: a supply that has been on for
/// long.
pub fn straighten(bins: &mut [Bin]) {
    let seen: Vec<(f64, f64)> = bins
        .iter()
        .filter(|b| b.voltage_v.is_finite())
        .map(|b| (b.time_s, b.voltage_v))
        .collect();
    if seen.len() < 3 {
        return;
    }
    let n = seen.len() as f64;
    let (mean_t, mean_v) = seen
        .iter()
        .fold((0.0, 0.0), |(t, v), s| (t + s.0 / n, v + s.1 / n));
    let (sxy, sxx) = seen.iter().fold((0.0, 0.0), |(xy, xx), s| {
        let x = s.0 - mean_t;
        (xy + x * (s.1 - mean_v), xx + x * x)
    });
    let mut slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
    let scatter = seen
        .iter()
        .map(|s| (s.1 - mean_v - slope * (s.0 - mean_t)).powi(2))
        .sum::<f64>()
        / (n - 2.0);
    if slope.abs() < PLAIN_DRIFT * (scatter / sxx).sqrt() {
        slope = 0.0;
    }
    for bin in bins.iter_mut().filter(|b| b.voltage_v.is_finite()) {
        bin.voltage_v = mean_v + slope * (bin.time_s - mean_t);
    }
}

/// Replaces every bin's voltage by a parabola's value over the widest window around it in which one parabola will do, within
/// the voltage's scatter. `sample_sd_v`: standard deviation of one sample's noise, V.
pub fn smooth(bins: &mut [Bin], sample_sd_v: f64) {
    let n = bins.len();
    if n < 8 || bins.iter().any(|b| !b.voltage_v.is_finite()) {
        return;
    }
    let white = |b: &Bin| sample_sd_v * sample_sd_v / b.samples as f64;
    // What scatters from bin to bin in the calmer half beyond the noise is the motor's own ripple.
    let tail = &bins[n / 2..];
    let mut steps: Vec<f64> = tail
        .windows(2)
        .map(|w| (w[1].voltage_v - w[0].voltage_v).abs())
        .collect();
    steps.sort_by(f64::total_cmp);
    // Median of |N(0, 2σ²)| is 0.6745 √2 σ.
    let scatter = steps[steps.len() / 2] / (0.6745 * 2f64.sqrt());
    let of_noise = tail.iter().map(white).sum::<f64>() / tail.len() as f64;
    let ripple = (scatter * scatter - of_noise).max(0.0);
    let variance: Vec<f64> = bins.iter().map(|b| white(b) + ripple).collect();
    let smoothed: Vec<f64> = (0..n).map(|k| widest_fit(bins, &variance, k)).collect();
    for (bin, v) in bins.iter_mut().zip(smoothed) {
        bin.voltage_v = v;
    }
}

/// Value at bin `k` of the parabola through the widest window around it whose interval still meets those of all narrower
/// ones.
fn widest_fit(bins: &[Bin], variance: &[f64], k: usize) -> f64 {
    let mut best = bins[k].voltage_v;
    let own = AGREEMENT * variance[k].sqrt();
    let (mut low, mut high) = (best - own, best + own);
    let mut reach = 2;
    while reach <= k && k + reach < bins.len() {
        let window = k - reach..=k + reach;
        let Some((value, sd)) = parabola(&bins[window.clone()], &variance[window], reach) else {
            break;
        };
        low = f64::max(low, value - AGREEMENT * sd);
        high = f64::min(high, value + AGREEMENT * sd);
        if low > high {
            break;
        }
        best = value;
        reach *= 2;
    }
    best
}

/// Value at the bin `centre` of the weighted least-squares parabola in time, and its standard deviation.
fn parabola(bins: &[Bin], variance: &[f64], centre: usize) -> Option<(f64, f64)> {
    let span = bins.last()?.time_s - bins.first()?.time_s;
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (bin, v) in bins.iter().zip(variance) {
        let x = (bin.time_s - bins[centre].time_s) / span;
        let row = Vector3::new(1.0, x, x * x);
        let weight = 1.0 / v.max(1e-30);
        normal += row * row.transpose() * weight;
        right += row * (weight * bin.voltage_v);
    }
    let inverse = normal.try_inverse()?;
    Some(((inverse * right)[0], inverse[(0, 0)].max(0.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn bins(of: impl Fn(usize) -> f64) -> Vec<Bin> {
        (0..200)
            .map(|k| Bin {
                time_s: k as f64,
                width_s: 1.0,
                voltage_v: of(k),
                current_a: 0.0,
                samples: 4,
                conducting: true,
            })
            .collect()
    }

    /// A cheap stand-in for noise: ±1 in an order without a pattern.
    fn rough(k: usize) -> f64 {
        if (k * k * 7919 + 13 * k) % 97 < 48 {
            -0.1
        } else {
            0.1
        }
    }

    #[test]
    fn noise_goes_and_a_step_stays() {
        let mut found = bins(|k| if k < 60 { 5.0 } else { 12.0 } + rough(k));
        smooth(&mut found, 0.2);
        assert!(
            (found[59].voltage_v - 5.0).abs() < 0.25,
            "{}",
            found[59].voltage_v
        );
        assert!((found[60].voltage_v - 12.0).abs() < 0.25);
        let middle = &found[100..160];
        let spread = middle
            .iter()
            .map(|b| (b.voltage_v - 12.0).powi(2))
            .sum::<f64>()
            / 60.0;
        assert!(spread.sqrt() < 0.04, "{}", spread.sqrt());
    }

    #[test]
    fn a_drift_stays_and_a_chance_slope_goes() {
        let mut found = bins(|k| 12.0 + rough(k));
        straighten(&mut found);
        assert_relative_eq!(found[0].voltage_v, found[199].voltage_v);
        let mut found = bins(|k| 12.0 - 0.001 * k as f64 + rough(k));
        let mean = |b: &[Bin]| b.iter().map(|b| b.voltage_v).sum::<f64>() / b.len() as f64;
        let before = mean(&found);
        straighten(&mut found);
        assert_relative_eq!(mean(&found), before, max_relative = 1e-12);
        assert!((found[0].voltage_v - found[199].voltage_v - 0.199).abs() < 0.03);
    }
}
