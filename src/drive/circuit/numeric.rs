//! Bisection, and peak and integral from the ends of simulated steps.

use crate::motor::Advance;

/// Steps before a trajectory is given up.
pub const MOST_STEPS: usize = 20_000;

/// Where `below` turns from true to false.
pub fn bisect(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..44 {
        let middle = 0.5 * (low + high);
        if below(middle) {
            low = middle
        } else {
            high = middle
        }
    }
    0.5 * (low + high)
}

/// ∫ i² dt over a step: Simpson's rule on the parabola through both ends with the step's mean.
pub fn square_integral(before_a: f64, step: &Advance<f64>, step_s: f64) -> f64 {
    let (a, b) = (before_a, step.end.current);
    let middle = (6.0 * step.mean_current - a - b) / 4.0;
    step_s * (a * a + 4.0 * middle * middle + b * b) / 6.0
}

/// Largest of a parabola through three points (time, value), the middle one the largest.
pub fn summit(points: [(f64, f64); 3]) -> (f64, f64) {
    let [(ta, a), (tb, b), (tc, c)] = points;
    let (left, right) = ((b - a) / (tb - ta), (c - b) / (tc - tb));
    let bend = (right - left) / (tc - ta);
    if bend >= 0.0 || !bend.is_finite() {
        return (tb, b);
    }
    // Slope at tb of the interpolating parabola.
    let slope = left + bend * (tb - ta);
    let shift = -slope / (2.0 * bend);
    (tb + shift, b + slope * shift + bend * shift * shift)
}
