//! Rows that share their time with others, kept and placed between that time and the next.

use super::even::{Resolution, fit_even};
use super::judged::{Context, Judged, TimeFault};
use super::steps::Steps;
use super::times::Times;
use crate::capture::record::TimeAxis;
use crate::capture::wording::WarningKind;

/// Fewest rows from which pairs are no coincidence.
const FEWEST_ROWS: usize = 8;

/// Even times that all occur twice: the least and the largest sample of each interval (peak detection), or two samples a printed
/// time. `None` where they do not.
pub(super) fn pairs(times: &[f64], context: Context) -> Option<Judged> {
    let twice = times.len() >= FEWEST_ROWS
        && times.len().is_multiple_of(2)
        && times.chunks(2).all(|pair| pair[0] == pair[1]);
    if !twice {
        return None;
    }
    let single: Vec<f64> = times.iter().step_by(2).copied().collect();
    let largest = times.iter().fold(0.0, |a: f64, t| a.max(t.abs()));
    let half = Resolution::of(largest, context.digits).half;
    let (start, step) = fit_even(Times::new(&[], &single), half, context.preferred)?;
    let step_s = (context.to_si)(step) - (context.to_si)(0.0);
    Some(Judged {
        axis: TimeAxis::Uniform {
            start_s: (context.to_si)(start),
            step_s: 0.5 * step_s,
            len: times.len(),
        },
        kept: None,
        faults: vec![TimeFault::new(0, WarningKind::TimeInPairs { step_s })],
    })
}

/// Places rows with equal times evenly between that time and the next; behind the last by the typical distance of times.
/// `None` where they cannot be distinguished so.
pub(super) fn spread(times: &[f64], steps: &Steps, context: Context) -> Option<Judged> {
    let mut placed = Vec::with_capacity(times.len());
    let mut first = 0;
    let mut length = steps.typical.abs();
    while first < times.len() {
        let time = times[first];
        let behind = times[first..].iter().position(|t| *t != time);
        let end = behind.map_or(times.len(), |count| first + count);
        if let Some(next) = times.get(end) {
            length = next - time;
        }
        let count = (end - first) as f64;
        placed.extend((0..end - first).map(|k| (context.to_si)(time + length * k as f64 / count)));
        first = end;
    }
    if placed.windows(2).any(|w| w[1] <= w[0]) {
        return None;
    }
    let row = steps.repeated.first().map_or(0, |k| k + 1);
    let kind = WarningKind::TimeShared {
        rows: steps.repeated.len(),
        time_s: (context.to_si)(times[row]),
    };
    Some(Judged {
        axis: TimeAxis::Listed(placed),
        kept: None,
        faults: vec![TimeFault::new(row, kind)],
    })
}
