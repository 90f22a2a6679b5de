//! A closed record as a linear regression: first guesses that no single feature of the record can spoil.
//!
//! While the contact drop is flat, friction dry and the rotor turning one way, the back-EMF is the charge that went into J/K², and
//!
//! ```text
//! v = R i + L di/dt + Q/C_m − (I_c/C_m) t + e₀        Q = ∫ i dt
//! ```
//!
//! is linear in R (Ω), L (H), 1/C_m (1/F), the fall by friction (V/s) and the back-EMF e₀ (V) with which the record begins, contact drop
//! included. Columns are scaled by their size, so that the unit of none of them matters. A method of moments over the whole
//! record: noise of the current makes R and L somewhat too small, which a first guess may be.

use super::bin::Bin;
use super::segments::{Segment, SegmentKind};
use crate::bench::Capture;
use nalgebra::{DMatrix, DVector};

/// Least bins of a closed stretch that is read.
const LEAST_BINS: usize = 12;

/// Smallest singular value over the largest below which columns say the same thing (of numbers of double precision with room for noise).
const SINGULAR: f64 = 1e-6;

/// What one closed stretch gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinearForm {
    /// R of the motor alone, Ω.
    pub resistance_ohm: f64,
    /// L, H.
    pub inductance_h: f64,
    /// 1/C_m, 1/F; absent for a held rotor.
    pub per_capacitance: Option<f64>,
    /// Root mean square of what the form leaves of the voltage, over that of the voltage.
    pub left_share: f64,
}

/// The points of a closed stretch: time, voltage over the loop, current and charge.
struct Point {
    time_s: f64,
    voltage_v: f64,
    current_a: f64,
    charge: f64,
}

/// The longest closed stretch of a capture.
pub fn longest_closed(segments: &[Segment]) -> Option<&Segment> {
    let closed = segments
        .iter()
        .filter(|s| s.kind == SegmentKind::Connected && s.bins.len() >= LEAST_BINS);
    closed.max_by_key(|s| s.bins.len())
}

/// Reads the bins of one closed stretch; none behind a bridge that coasts. `held`: the rotor stands still.
pub fn linear_form(capture: &Capture, bins: &[Bin], held: bool) -> Option<LinearForm> {
    let points = points(capture, bins);
    if points.len() < LEAST_BINS || capture.coasting.is_some() {
        return None;
    }
    let rows = points.len() - 2;
    let columns = if held { 3 } else { 5 };
    let mut matrix = DMatrix::zeros(rows, columns);
    let mut right = DVector::zeros(rows);
    let begin_s = points[0].time_s;
    for (k, around) in points.windows(3).enumerate() {
        let [before, here, after] = around else {
            continue;
        };
        let slope = (after.current_a - before.current_a) / (after.time_s - before.time_s);
        let all = [
            here.current_a,
            slope,
            if held { here.current_a.signum() } else { 1.0 },
            here.charge,
            here.time_s - begin_s,
        ];
        for (column, value) in all.iter().take(columns).enumerate() {
            matrix[(k, column)] = *value;
        }
        right[k] = here.voltage_v;
    }
    let solution = scaled_least_squares(&matrix, &right)?;
    let left = &right - &matrix * &solution;
    let size = right.norm().max((matrix.column(0) * solution[0]).norm());
    Some(LinearForm {
        resistance_ohm: solution[0] - outside_ohm(capture),
        inductance_h: solution[1],
        per_capacitance: (!held).then(|| solution[3]),
        left_share: left.norm() / size,
    })
}

/// Resistance in the loop beside the motor's, Ω.
fn outside_ohm(capture: &Capture) -> f64 {
    let inside = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
    let unrecorded = capture.waveform.voltage_v.is_none();
    let of_loop = capture.loop_resistance_ohm.filter(|_| unrecorded);
    inside + of_loop.map_or(0.0, |s| s.value)
}

fn points(capture: &Capture, bins: &[Bin]) -> Vec<Point> {
    let source = capture.source_v.map(|v| v.value);
    let mut charge = 0.0;
    let mut out = Vec::with_capacity(bins.len());
    for bin in bins {
        let voltage = Some(bin.voltage_v).filter(|v| v.is_finite()).or(source);
        let Some(voltage_v) = voltage.filter(|_| bin.current_a.is_finite() && bin.conducting)
        else {
            continue;
        };
        let gained = bin.current_a * bin.width_s;
        out.push(Point {
            time_s: bin.time_s,
            voltage_v,
            current_a: bin.current_a,
            charge: charge + 0.5 * gained,
        });
        charge += gained;
    }
    out
}

/// Least squares over columns divided by their norm; `None` where columns cannot be distinguished or are empty.
fn scaled_least_squares(matrix: &DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let norms: Vec<f64> = matrix.column_iter().map(|c| c.norm()).collect();
    if norms.iter().any(|n| !n.is_finite() || *n == 0.0) {
        return None;
    }
    let mut scaled = matrix.clone();
    for (k, norm) in norms.iter().enumerate() {
        scaled.column_mut(k).unscale_mut(*norm);
    }
    let parts = scaled.svd(true, true);
    let largest = parts.singular_values.max();
    if parts.singular_values.min() < SINGULAR * largest {
        return None;
    }
    let mut solution = parts.solve(right, 0.0).ok()?;
    for (value, norm) in solution.iter_mut().zip(&norms) {
        *value /= norm;
    }
    solution.iter().all(|v| v.is_finite()).then_some(solution)
}
