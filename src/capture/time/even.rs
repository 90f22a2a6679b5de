//! Start and step of evenly spaced times, within the digits printed.

use super::times::Times;

/// How finely the times are printed, in the unit of the file.
#[derive(Clone, Copy, Debug)]
pub(super) struct Resolution {
    /// Unit of the last digit.
    pub unit: f64,
    /// Largest error of a printed time.
    pub half: f64,
}

impl Resolution {
    /// Half a unit of the last digit of the `largest` time, and half a unit of a 32-bit number where the digits printed are those
    /// of one.
    pub fn of(largest: f64, digits: u32) -> Resolution {
        if largest == 0.0 || digits == 0 {
            return Resolution {
                unit: 0.0,
                half: 0.0,
            };
        }
        let unit = 10f64.powi(largest.log10().floor() as i32 - digits as i32 + 1);
        let mut half = 0.5 * unit * (1.0 + 1e-6) + 4.0 * f64::EPSILON * largest;
        if (7..=9).contains(&digits) {
            half += largest * f64::from(f32::EPSILON) * 0.5;
        }
        Resolution { unit, half }
    }
}

/// Start and step where the times are even, or so nearly that it makes no difference to any use here.
pub(super) fn fit_even(times: Times, half: f64, preferred: Option<f64>) -> Option<(f64, f64)> {
    even(times, half, preferred).or_else(|| {
        // A thousandth of a step off is even for every use here; sums of rounded steps drift so.
        let step = (times.last()? - times.first()?) / (times.len() - 1) as f64;
        even(times, half.max(1e-3 * step.abs()), None)
    })
}

/// Start and step of evenly spaced times, when all lie within `half` of them.
fn even(times: Times, half: f64, preferred: Option<f64>) -> Option<(f64, f64)> {
    let (first, last) = (times.first()?, times.last()?);
    let intervals = (times.len() - 1) as f64;
    let mean = (last - first) / intervals;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    // Both ends may be off by `half`: the step is known no better.
    let spread = 2.0 * half / intervals;
    let room = 4.0 * f64::EPSILON * first.abs().max(last.abs());
    let mut candidates = Vec::new();
    candidates.extend(preferred.filter(|p| (p - mean).abs() <= spread + room / intervals));
    candidates.push(simplest(mean - 0.5 * spread, mean + 0.5 * spread));
    candidates.push(simplest(mean - spread, mean + spread));
    candidates.push(mean);
    // The ends alone may be the worst rounded of all. Worked out when nothing simpler fits.
    let least_squares = std::iter::once_with(|| slope(times, first));
    let limit = half + room;
    for step in candidates.into_iter().chain(least_squares) {
        let (low, high) = residuals(times, first, step);
        if low >= -limit && high <= limit {
            return Some((first, step));
        }
        if high - low <= 2.0 * limit {
            return Some((
                simplest(first + high - half - room, first + low + half + room),
                step,
            ));
        }
    }
    None
}

/// Fewest-digit number in `low..=high`.
fn simplest(low: f64, high: f64) -> f64 {
    let middle = 0.5 * (low + high);
    (0..17)
        .filter_map(|digits| format!("{middle:.digits$e}").parse::<f64>().ok())
        .find(|v| (low..=high).contains(v))
        .unwrap_or(middle)
}

/// Least-squares slope of the times over the rows. The sums run over all rows in order, so that they do not depend on how the
/// times are held.
fn slope(times: Times, first: f64) -> f64 {
    let centre = 0.5 * (times.len() - 1) as f64;
    let all = times.to_vec();
    let (up, down) = all.iter().enumerate().fold((0.0, 0.0), |(u, d), (k, t)| {
        let x = k as f64 - centre;
        (u + x * (t - first), d + x * x)
    });
    up / down
}

/// Smallest and largest residual of the times from a line through `first`.
fn residuals(times: Times, first: f64, step: f64) -> (f64, f64) {
    times
        .map_stretches(|begin, times| {
            times.iter().enumerate().fold(
                (f64::INFINITY, f64::NEG_INFINITY),
                |(low, high), (k, t)| {
                    let residual = t - (first + (begin + k) as f64 * step);
                    (low.min(residual), high.max(residual))
                },
            )
        })
        .into_iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |a, b| {
            (a.0.min(b.0), a.1.max(b.1))
        })
}
