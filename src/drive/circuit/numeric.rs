//! Roots, and peak and integral from the ends of simulated steps.

use crate::motor::{Advance, Condition, Constants, State, TerminalParameters, advance};

/// Steps before a trajectory is given up.
pub const MOST_STEPS: usize = 20_000;

/// Factor by which steps grow away from a switching instant. They may be long: a step is exact while the system is linear, and halves itself
/// where it bends ([`advance`]); what is integrated and sought between its ends sets these numbers, to 1e-4.
pub const GROWTH: f64 = 1.12;

/// First and longest step of a motor, s.
pub fn step_range_s(p: &TerminalParameters) -> (f64, f64) {
    let first_s = p.electrical_time_constant_s() / 10.0;
    (first_s, first_s.max(p.mechanical_time_constant_s() / 12.0))
}

/// The constants with which a drive is simulated: its bounds are known to percents, and nothing is differentiated.
pub fn constants(p: &TerminalParameters) -> Constants<f64> {
    Constants {
        tolerance: 2e-4,
        ..Constants::new(p)
    }
}

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

/// Time within a step of `step_s` at which `excess`, of different sign at its ends, is zero: false position with the value of an end that
/// stays halved (the Illinois rule), half a dozen simulations where bisection needs forty.
pub fn crossing(step_s: f64, excess: impl Fn(f64) -> f64) -> f64 {
    let (mut left, mut right) = ((0.0, excess(0.0)), (step_s, excess(step_s)));
    let (mut middle, mut moved_left) = (f64::NAN, None);
    for _ in 0..40 {
        let before = middle;
        middle = (left.0 * right.1 - right.0 * left.1) / (right.1 - left.1);
        let here = excess(middle);
        if here == 0.0 || (middle - before).abs() < 1e-9 * step_s {
            break;
        }
        let is_left = (here > 0.0) == (left.1 > 0.0);
        let stays_again = moved_left == Some(is_left);
        let weight = if stays_again { 0.5 } else { 1.0 };
        if is_left {
            left = (middle, here);
            right.1 *= weight;
        } else {
            right = (middle, here);
            left.1 *= weight;
        }
        moved_left = Some(is_left);
    }
    middle
}

/// Current of a motor some time after a state at a constant voltage, A.
pub fn current_after(c: &Constants<f64>, from: State<f64>, voltage: f64, after_s: f64) -> f64 {
    let after = advance(c, from, Condition::Voltage(voltage), after_s, false);
    after.end.current
}

/// ∫ i² dt over a step: Simpson's rule on the parabola through both ends with the step's mean.
pub fn square_integral(before_a: f64, step: &Advance<f64>, step_s: f64) -> f64 {
    let (a, b) = (before_a, step.end.current);
    let middle = (6.0 * step.mean_current - a - b) / 4.0;
    step_s * (a * a + 4.0 * middle * middle + b * b) / 6.0
}

/// Largest of a parabola through three points (time, value), the middle one the largest.
fn summit(points: [(f64, f64); 3]) -> (f64, f64) {
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

/// The same with three points of `value` near that summit, so that the first three may lie far apart.
pub fn near_summit(points: [(f64, f64); 3], value: impl Fn(f64) -> f64) -> (f64, f64) {
    let (first, last) = (points[0].0, points[2].0);
    let near = (last - first) / 16.0;
    let at = summit(points).0.clamp(first + near, last - near);
    summit([at - near, at, at + near].map(|time| (time, value(time))))
}
