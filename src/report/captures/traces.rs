//! A record of any length averaged over a few hundred bins for display, its raw peaks kept as an envelope.

use crate::bench::{Trace, Waveform};
use crate::quantity::rounding::significant;
use crate::report::context::{Envelope, TraceView};

/// Points at which something happens around which the display stays fine; more than these are shown at the common width.
const MOST_CORNERS: usize = 8;

/// Rows at which the display's bins begin, and the end: `count` bins of equal width, and around each corner bins that grow
/// with the distance from it, from single samples.
pub fn edges(rows: (usize, usize), corners: &[usize], count: usize) -> Vec<usize> {
    let (first, end) = rows;
    let n = end.saturating_sub(first);
    if n == 0 {
        return Vec::new();
    }
    let count = count.clamp(1, n);
    let widest = (n / count).max(1);
    let mut edges: Vec<usize> = (0..=count).map(|k| first + k * n / count).collect();
    let corners: Vec<usize> = corners
        .iter()
        .copied()
        .filter(|c| (first..end).contains(c))
        .take(MOST_CORNERS)
        .collect();
    // A share of the bins goes to the corners, so that the count stays bounded for records of any length.
    let mut left = count / (corners.len().max(1));
    left = left.min(400);
    for corner in corners {
        for (sign, share) in [(1i64, 3), (-1, 1)] {
            let mut distance = 0usize;
            for _ in 0..left * share / 4 {
                distance += 1 + distance / 25;
                let width = 1 + distance / 25;
                let row = corner as i64 + sign * distance as i64;
                if width >= widest || row < first as i64 || row >= end as i64 {
                    break;
                }
                edges.push(row as usize);
            }
        }
        edges.push(corner);
    }
    edges.sort_unstable();
    edges.dedup();
    edges
}

/// Averages both channels over the bins.
pub fn view(waveform: &Waveform, edges: &[usize]) -> TraceView {
    let centre = |pair: &[usize]| {
        let (first, last) = (waveform.time.at(pair[0])?, waveform.time.at(pair[1] - 1)?);
        Some(significant(0.5 * (first + last), 9))
    };
    TraceView {
        time_s: edges
            .windows(2)
            .map(|pair| centre(pair).unwrap_or(f64::NAN))
            .collect(),
        voltage_v: waveform.voltage_v.as_ref().map(|t| envelope(t, edges)),
        current_a: waveform.current_a.as_ref().map(|t| envelope(t, edges)),
    }
}

fn envelope(trace: &Trace, edges: &[usize]) -> Envelope {
    let mut out = Envelope::default();
    for pair in edges.windows(2) {
        let (mut sum, mut count) = (0.0, 0usize);
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for &value in trace.values[pair[0]..pair[1]]
            .iter()
            .filter(|v| v.is_finite())
        {
            sum += value;
            count += 1;
            least = least.min(value);
            most = most.max(value);
        }
        let known = |x: f64| {
            if count > 0 {
                significant(x, 5)
            } else {
                f64::NAN
            }
        };
        out.mean.push(known(sum / count.max(1) as f64));
        out.least.push(known(least));
        out.most.push(known(most));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::TimeAxis;

    fn record(values: Vec<f64>) -> Waveform {
        let len = values.len();
        Waveform {
            time: TimeAxis::Uniform {
                start_s: 0.0,
                step_s: 1e-6,
                len,
            },
            voltage_v: Some(Trace {
                values,
                quantisation_step: None,
                clipped: vec![false; len],
            }),
            current_a: None,
        }
    }

    #[test]
    fn a_single_peak_in_a_long_record_survives_in_the_envelope() {
        let mut values = vec![1.0; 2_000_000];
        values[1_234_567] = 40.0;
        let view = view(&record(values), &edges((0, 2_000_000), &[500_000], 1000));
        let envelope = view.voltage_v.expect("a voltage");
        assert!(view.time_s.len() < 1500, "{}", view.time_s.len());
        assert_eq!(envelope.most.iter().copied().fold(0.0, f64::max), 40.0);
        assert!(envelope.mean.iter().all(|m| *m < 1.1));
    }

    #[test]
    fn bins_meet_without_holes_and_are_single_samples_at_a_corner() {
        let edges = edges((10, 100_010), &[5_000], 500);
        assert_eq!((edges[0], edges[edges.len() - 1]), (10, 100_010));
        assert!(edges.windows(2).all(|pair| pair[0] < pair[1]));
        assert!(edges.contains(&5_000) && edges.contains(&5_001) && edges.contains(&4_999));
    }

    #[test]
    fn missing_values_stay_missing() {
        let view = view(&record(vec![f64::NAN; 40]), &edges((0, 40), &[], 10));
        assert!(
            view.voltage_v
                .expect("a voltage")
                .mean
                .iter()
                .all(|m| m.is_nan())
        );
        assert!(edges((5, 5), &[], 10).is_empty());
    }
}
