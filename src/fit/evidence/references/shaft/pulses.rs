//! Instants of the pulses of a pickup.

use crate::capture::TimeAxis;

/// Part of the swing that a level must cross beyond the middle before the next edge counts.
const HYSTERESIS: f64 = 0.15;

/// An interval that differs from both its neighbours by this factor has a pulse too many or too few in it.
const UNEVEN: f64 = 1.6;

/// Times of the rising edges, s; none where the levels show no pulses.
pub fn rising_edges(values: &[f64], time: &TimeAxis) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    if sorted.len() < 8 {
        return Vec::new();
    }
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[(share * (sorted.len() - 1) as f64) as usize];
    let (low, high, usual) = (at(0.001), at(0.999), at(0.5));
    let middle = 0.5 * (low + high);
    let band = HYSTERESIS * (high - low);
    // Noise alone has no two levels: half of the samples lie far from one of its ends.
    let scatter = (at(0.75) - usual).max(usual - at(0.25));
    if band <= 0.0 || (usual - middle).abs() < band && scatter < band {
        return Vec::new();
    }
    let mut edges = Vec::new();
    let mut is_high: Option<bool> = None;
    let mut before: Option<(f64, f64)> = None;
    for (row, &value) in values.iter().enumerate() {
        let (Some(t), true) = (time.at(row), value.is_finite()) else {
            continue;
        };
        if value > middle + band && is_high != Some(true) {
            if let (Some(false), Some((t0, v0))) = (is_high, before) {
                let part = ((middle - v0) / (value - v0)).clamp(0.0, 1.0);
                edges.push(t0 + part * (t - t0));
            }
            is_high = Some(true);
        } else if value < middle - band {
            is_high = Some(false);
        }
        before = Some((t, value));
    }
    edges
}

/// Whether an interval between edges has a pulse too many or too few, judged by its neighbours.
pub fn is_uneven(intervals: &[f64], k: usize) -> bool {
    let here = intervals[k];
    let beside = [k.checked_sub(1), Some(k + 1)];
    let mut beside = beside
        .into_iter()
        .flatten()
        .filter_map(|k| intervals.get(k));
    let apart = |other: &f64| here > UNEVEN * other || UNEVEN * here < *other;
    intervals.len() > 1 && beside.all(apart)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(period: usize, width: usize, rows: usize) -> (Vec<f64>, TimeAxis) {
        let values = (0..rows).map(|k| if k % period < width { 3.0 } else { 0.1 });
        let time = TimeAxis::Uniform {
            start_s: 0.0,
            step_s: 1e-3,
            len: rows,
        };
        (values.collect(), time)
    }

    #[test]
    fn each_pulse_has_one_edge() {
        let (values, time) = square(20, 3, 200);
        let edges = rising_edges(&values, &time);
        assert_eq!(edges.len(), 9);
        assert!(edges.windows(2).all(|w| (w[1] - w[0] - 0.02).abs() < 1e-12));
    }

    #[test]
    fn a_missed_pulse_shows_and_slowing_does_not() {
        assert!(is_uneven(&[1.0, 1.0, 2.0, 1.0], 2));
        assert!((0..4).all(|k| !is_uneven(&[1.0, 1.2, 1.5, 2.1], k)));
    }

    #[test]
    fn a_level_that_stays_has_no_pulses() {
        let time = square(2, 1, 500).1;
        assert!(rising_edges(&[0.1; 500], &time).is_empty());
    }
}
