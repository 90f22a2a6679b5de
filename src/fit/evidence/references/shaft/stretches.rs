//! Stretches of a capture and the angle that its speed channel shows over each.

use super::pulses::{is_uneven, rising_edges};
use crate::bench::{SpeedChannel, SpeedSignal};
use crate::capture::TimeAxis;
use crate::fit::data::{Segment, SegmentKind};
use crate::fit::wording::RemarkKind;
use std::f64::consts::PI;
use std::ops::Range;

/// Most and fewest stretches of a capture.
const MOST: usize = 24;
const LEAST: usize = 6;

/// Share of the largest speed below which friction follows other laws than the model's; the same share as for voltages and currents.
const SLOWEST: f64 = 0.15;

/// How far the model's angle departs over one stretch, relative to the angle and to that at full speed (common practice, no source).
const MODEL_SHARE: f64 = 4e-3;
const FULL_SPEED_SHARE: f64 = 1e-3;

/// The same relative to the change of speed from one stretch to the next: current and torque are uneven over a turn, and a start or a brake lasts a
/// few turns (common practice, no source; set by drawn benches whose brake lasts so long).
const CHANGE_SHARE: f64 = 0.04;

/// Share of a delay's effect while the speed changes that another shape of the filter may make (common practice, no source).
const SHAPE_SHARE: f64 = 0.2;

/// Largest departure of a pulse from its even place, relative to their spacing (common practice, no source).
const SPACING_SHARE: f64 = 0.02;

/// The angle over one stretch.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    pub first_s: f64,
    pub last_s: f64,
    pub turned_rad: f64,
    pub sd_rad: f64,
}

/// What a channel shows of stretches that the segments cover without a break, and what is doubtful about it.
pub fn stretches(
    channel: &SpeedChannel,
    time: &TimeAxis,
    segments: &[Segment],
) -> (Vec<Stretch>, Option<RemarkKind>) {
    let runs = runs(segments);
    let (mut out, doubt) = match channel.signal {
        SpeedSignal::Pulses => of_pulses(channel, time, &runs),
        _ => (of_samples(channel, time, &runs), None),
    };
    let speed = |s: &Stretch| s.turned_rad.abs() / (s.last_s - s.first_s);
    let fastest = out.iter().map(speed).fold(0.0, f64::max);
    out.retain(|s| speed(s) > SLOWEST * fastest || is_rest(segments, s));
    let delay_s = channel.delay_s.map_or(0.0, |d| d.value);
    let speeds: Vec<f64> = out.iter().map(speed).collect();
    for (k, s) in out.iter_mut().enumerate() {
        let beside = [k.checked_sub(1), Some(k + 1)];
        let changes = beside.into_iter().flatten().filter_map(|j| speeds.get(j));
        let change = changes.map(|v| (v - speeds[k]).abs()).fold(0.0, f64::max);
        s.sd_rad = s
            .sd_rad
            .hypot(MODEL_SHARE * s.turned_rad)
            .hypot(FULL_SPEED_SHARE * fastest * (s.last_s - s.first_s))
            .hypot(CHANGE_SHARE * change * (s.last_s - s.first_s))
            .hypot(SHAPE_SHARE * delay_s * change);
    }
    (out, doubt)
}

/// Times over which the model runs on without a break.
fn runs(segments: &[Segment]) -> Vec<Range<f64>> {
    let mut out: Vec<Range<f64>> = Vec::new();
    let mut going_on = false;
    for segment in segments {
        let ends = segment.bins.first().zip(segment.bins.last());
        match ends.filter(|_| segment.kind != SegmentKind::Lost) {
            None => going_on = false,
            Some((first, last)) => {
                let range = first.time_s - 0.5 * first.width_s..last.time_s + 0.5 * last.width_s;
                match out.last_mut().filter(|_| going_on) {
                    Some(run) => run.end = range.end,
                    None => out.push(range),
                }
                going_on = true;
            }
        }
    }
    out
}

fn is_rest(segments: &[Segment], stretch: &Stretch) -> bool {
    let rests = segments.iter().filter(|s| s.kind == SegmentKind::Rest);
    let mut ranges = rests.flat_map(|s| runs(std::slice::from_ref(s)));
    ranges.any(|r| r.start <= stretch.first_s && stretch.last_s <= r.end)
}

/// Even stretches of a speed (means) or a position (differences), on the average half a turn or more each.
fn of_samples(channel: &SpeedChannel, time: &TimeAxis, runs: &[Range<f64>]) -> Vec<Stretch> {
    let total: f64 = runs.iter().map(|r| r.end - r.start).sum();
    let half_turns = turned(channel, time) / PI;
    let most = half_turns.clamp(LEAST as f64, MOST as f64);
    let rows = |from_s: f64, to_s: f64| row_at(time, from_s)..row_at(time, to_s);
    let delay_s = channel.delay_s.map_or(0.0, |d| d.value);
    let mut out = Vec::new();
    for run in runs {
        let count = ((run.end - run.start) / total * most).round().max(1.0) as usize;
        let width = (run.end - run.start - delay_s) / count as f64;
        for k in 0..count {
            let from = run.start + delay_s + k as f64 * width;
            let rows = rows(from, from + width);
            out.extend(match channel.signal {
                SpeedSignal::Speed => mean(channel, time, rows),
                _ => difference(channel, time, rows),
            });
        }
    }
    out
}

/// Angle by which the shaft turns in the whole record, rad.
fn turned(channel: &SpeedChannel, time: &TimeAxis) -> f64 {
    let finite = || channel.values.iter().copied().filter(|v| v.is_finite());
    if channel.signal == SpeedSignal::Position {
        let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        return (high - low).max(0.0);
    }
    let span_s = time.at(time.len().saturating_sub(1)).zip(time.at(0));
    let mean = finite().map(f64::abs).sum::<f64>() / finite().count().max(1) as f64;
    span_s.map_or(0.0, |(last, first)| mean * (last - first))
}

/// First row at or behind an instant.
fn row_at(time: &TimeAxis, at_s: f64) -> usize {
    let (mut low, mut high) = (0, time.len());
    while low < high {
        let middle = usize::midpoint(low, high);
        if time.at(middle).is_some_and(|t| t < at_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    low
}

fn mean(channel: &SpeedChannel, time: &TimeAxis, rows: Range<usize>) -> Option<Stretch> {
    let values = channel.values.get(rows.clone())?;
    let (first, last) = (time.at(rows.start)?, time.at(rows.end.checked_sub(1)?)?);
    if values.len() < 4 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let step_s = (last - first) / (values.len() - 1) as f64;
    let duration_s = last - first + step_s;
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    Some(Stretch {
        first_s: first - 0.5 * step_s,
        last_s: last + 0.5 * step_s,
        turned_rad: mean * duration_s,
        // Steps of the converter are not averaged away while the speed stands still.
        sd_rad: channel.step * duration_s / 12f64.sqrt(),
    })
}

fn difference(channel: &SpeedChannel, time: &TimeAxis, rows: Range<usize>) -> Option<Stretch> {
    let last = rows.end.min(channel.values.len().checked_sub(1)?);
    if last < rows.start + 2 {
        return None;
    }
    let turned_rad = channel.values[last] - channel.values[rows.start];
    turned_rad.is_finite().then_some(())?;
    Some(Stretch {
        first_s: time.at(rows.start)?,
        last_s: time.at(last)?,
        turned_rad,
        sd_rad: channel.step.max(f64::MIN_POSITIVE) * (2.0 / 12.0f64).sqrt(),
    })
}

/// Whole pulses; of several in a turn whole turns where there are enough.
fn of_pulses(
    channel: &SpeedChannel,
    time: &TimeAxis,
    runs: &[Range<f64>],
) -> (Vec<Stretch>, Option<RemarkKind>) {
    let edges = rising_edges(&channel.values, time);
    let intervals: Vec<f64> = edges.windows(2).map(|w| w[1] - w[0]).collect();
    let step_s = match (time.at(0), time.at(time.len().saturating_sub(1))) {
        (Some(first), Some(last)) => (last - first) / (time.len().max(2) - 1) as f64,
        _ => return (Vec::new(), None),
    };
    let uneven = (0..intervals.len())
        .filter(|&k| is_uneven(&intervals, k))
        .count();
    let channel_name = || channel.name.clone();
    let used = 2 * uneven <= intervals.len();
    let doubt = if intervals.is_empty() {
        let channel = channel_name();
        Some(RemarkKind::NoPulses { channel })
    } else {
        (uneven > 0).then(|| RemarkKind::UnevenPulses {
            channel: channel_name(),
            uneven,
            intervals: intervals.len(),
            used,
        })
    };
    // With more uneven than even ones nothing can be told from it.
    if !used {
        return (Vec::new(), doubt);
    }
    let turn = channel.pulses_per_turn as usize;
    let mut each = intervals.len().div_ceil(MOST).max(1);
    if intervals.len() >= 6 * turn {
        each = each.div_ceil(turn) * turn;
    }
    let mut out = Vec::new();
    let mut from = 0;
    while from + each < edges.len() {
        let (first_s, last_s) = (edges[from], edges[from + each]);
        let covered = runs.iter().any(|r| r.start <= first_s && last_s <= r.end);
        if covered && (from..from + each).all(|k| !is_uneven(&intervals, k)) {
            let turned_rad = channel.pulse_rad * each as f64;
            let timing = step_s * (2.0 / 12.0f64).sqrt() * turned_rad / (last_s - first_s);
            let spacing = if each.is_multiple_of(turn) {
                0.0
            } else {
                SPACING_SHARE * channel.pulse_rad
            };
            out.push(Stretch {
                first_s,
                last_s,
                turned_rad,
                sd_rad: timing.hypot(spacing),
            });
        }
        from += each;
    }
    (out, doubt)
}
