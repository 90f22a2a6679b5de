//! Short-circuit brake: driven, opening, a short flight, the short with its bounce, shorted until the rotor stands.

use super::contact::{BOUNCE_OPEN_S, Closing, first_closing, settled_after};
use super::opening::find_opening;
use super::standstill::standstill;
use super::start;
use crate::events::phase::{EventKind, Exclusion, PhaseKind};
use crate::events::remarks::{Remark, Signal};
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::bands::{Band, Closed};
use crate::events::trace::view::View;

/// Rows of ringing looked for after the short.
const RINGING_ROWS: usize = 40;

/// Pushes the phases of a brake up to row `end`; false, with nothing pushed, when no short is seen.
pub(crate) fn push_phases(view: &View, builder: &mut TimelineBuilder, end: usize) -> bool {
    let first = builder.next_row();
    let Some(closing) = short(view, first, end) else {
        return false;
    };
    let begins = closing.first.map_or(first, |row| edge_begin(view, row));
    push_before_short(view, builder, begins.saturating_sub(1));
    for (number, &row) in closing.rows_before.iter().enumerate() {
        let kind = if number == 0 {
            EventKind::Short
        } else {
            EventKind::Bounce
        };
        builder.push_event(kind, sub_row(view, row));
    }
    let settled = match &view.v {
        Some(v) => settled_after(v, closing.settled, RINGING_ROWS, 8.0 * v.sigma),
        None => closing
            .rows_before
            .last()
            .map_or(closing.settled, |&row| row + 2),
    };
    let reason = if closing.bounce.is_some() {
        Exclusion::Bounce
    } else {
        Exclusion::Short
    };
    let flight = match builder.phases().last() {
        Some(phase) if phase.kind == PhaseKind::Open => Some((phase.first, phase.end)),
        _ => None,
    };
    builder.exclude(reason, settled.min(end));
    push_shorted(view, builder, flight, end);
    true
}

/// What comes before the short: a start, a driven stretch and the flight.
fn push_before_short(view: &View, builder: &mut TimelineBuilder, end: usize) {
    let first = builder.next_row();
    let rests = view.v.as_ref().is_some_and(|v| {
        let top = v.quantile(first, end, 0.97).unwrap_or(0.0);
        v.median(first, first + 20).is_some_and(|x| x < 0.2 * top)
    });
    if rests && start::push_phases(view, builder, end) {
        return;
    }
    match find_opening(view, first, end) {
        Some(found) => {
            builder.push_phase(PhaseKind::Driven, found.arc_from);
            builder.push_event(EventKind::SwitchOff, found.row as f64);
            builder.exclude(Exclusion::Arc, found.open_from);
            builder.push_event(EventKind::Arc, found.open_from.saturating_sub(3) as f64);
            builder.push_phase(PhaseKind::Open, end);
        }
        None => {
            let kind = if carries_current(view, first, end) {
                PhaseKind::Driven
            } else {
                PhaseKind::Open
            };
            builder.push_phase(kind, end);
        }
    }
}

/// True when the current before the short differs from its final zero: the source was still connected.
fn carries_current(view: &View, first: usize, end: usize) -> bool {
    let Some(i) = &view.i else { return false };
    let zero = i.median(i.len() - i.len() / 50 - 1, i.len()).unwrap_or(0.0);
    i.median(first, end)
        .is_some_and(|level| (level - zero).abs() > 3.0 * i.sigma)
}

/// Stretches in which the short is closed.
fn short(view: &View, first: usize, end: usize) -> Option<Closing> {
    let by_current = view.i.as_ref().and_then(|i| {
        let zero = i.median(end - (end - first) / 50 - 1, end)?;
        let braking = i.below(zero);
        let (_, peak) = braking.peak(first, end)?;
        let low = (0.08 * peak).max(5.0 * i.sigma);
        let high = 0.25 * peak;
        if high <= low {
            return None;
        }
        let stretches = braking.closed(Band { low, high }, first, end);
        // The decay itself falls below the band: that is no opening.
        let mut closing = first_closing(&stretches, view.step_s)?;
        closing.first?;
        closing.opened = None;
        Some(closing)
    });
    let by_voltage = view.v.as_ref().and_then(|v| {
        let level = v.median(first, first + ((end - first) / 100).clamp(3, 500))?;
        let around = by_current
            .as_ref()
            .map_or(end - (end - first) / 10, |m| m.settled);
        let low = v.median(around + 5, around + 5 + (end - first) / 20)?;
        let span = level - low;
        if span < 8.0 * v.sigma {
            return None;
        }
        let fallen = v.below(level);
        let band = Band {
            low: 0.4 * span,
            high: 0.75 * span,
        };
        let from = by_current
            .as_ref()
            .and_then(|m| m.first)
            .map_or(first, |row| {
                row.saturating_sub(view.rows_in(2e-3, 5)).max(first)
            });
        let stretches = fallen.closed(band, from, end);
        let stretches = braking_only(stretches, view, first, end);
        let stretches = without_spike(&stretches, view.step_s);
        first_closing(stretches, view.step_s).filter(|m| m.first.is_some())
    });
    match (by_voltage, by_current) {
        (Some(v), Some(i)) => Some(joined(v, i)),
        (v, i) => v.or(i),
    }
}

/// Drops the moments at low voltage in which no braking current flows: arc, kick and ringing.
fn braking_only(mut stretches: Vec<Closed>, view: &View, first: usize, end: usize) -> Vec<Closed> {
    let Some(i) = &view.i else { return stretches };
    let zero = i.median(end - (end - first) / 50 - 1, end).unwrap_or(0.0);
    let strongest = i.quantile(first, end, 0.01).unwrap_or(zero);
    let limit = zero - (0.04 * (zero - strongest)).max(5.0 * i.sigma);
    stretches.retain(|s| match (s.from, s.until) {
        (Some(from), Some(until)) => {
            // Left over from the stretch before, a decaying current is no new one.
            let before = i.at(from);
            until - from >= 40
                || i.rows(from + 1, until + 1)
                    .iter()
                    .any(|x| x < limit && x < before - 5.0 * i.sigma)
        }
        _ => true,
    });
    stretches
}

/// Drops the kick of the release, which also pulls the voltage down but for a moment only: it is much shorter than the
/// flight that follows it.
fn without_spike(stretches: &[Closed], step_s: f64) -> &[Closed] {
    match stretches {
        [spike, next, ..] => {
            let (Some(until), Some(from)) = (spike.until, next.from) else {
                return stretches;
            };
            let closed = (until - spike.reached).max(1) as f64;
            let open = (from - until) as f64;
            if open > 20.0 * closed && open * step_s > 0.2 * BOUNCE_OPEN_S {
                &stretches[1..]
            } else {
                stretches
            }
        }
        _ => stretches,
    }
}

/// One closing as both channels tell it: the voltage is the faster witness, the last closing of either counts.
fn joined(v: Closing, i: Closing) -> Closing {
    let mut rows_before = v.rows_before.clone();
    if let (Some(&last), Some(&other)) = (v.rows_before.last(), i.rows_before.last())
        && i.settled > v.settled
        && other > last + 10
        && i.rows_before.len() > v.rows_before.len()
    {
        rows_before.push(other);
    }
    let settled = if rows_before.len() > v.rows_before.len() {
        i.settled
    } else {
        v.settled
    };
    Closing {
        first: v.first,
        bounce: v.bounce.or(i.bounce),
        rows_before,
        settled,
        opened: None,
    }
}

/// First row of the edge after `row`.
fn edge_begin(view: &View, row: usize) -> usize {
    let Some(v) = &view.v else {
        let Some(i) = &view.i else { return row };
        let level = i
            .median(row.saturating_sub(100), row.saturating_sub(3).max(1))
            .unwrap_or(0.0);
        let mut edge = row;
        while edge > 0 && i.at(edge) < level - 3.0 * i.sigma {
            edge -= 1;
        }
        return edge + 1;
    };
    let level = v.median(row.saturating_sub(20), row.max(1)).unwrap_or(0.0);
    let mut edge = row;
    while edge > 0 && row - edge < 5 && v.at(edge) < level - 6.0 * v.sigma - 0.05 * level.abs() {
        edge -= 1;
    }
    edge + 1
}

/// Instant of the short between two rows.
fn sub_row(view: &View, row: usize) -> f64 {
    let Some(v) = &view.v else { return row as f64 };
    let Some(next) = v.x().get(row + 1) else {
        return row as f64;
    };
    let (high, low) = (v.at(row), v.median(row + 2, row + 10).unwrap_or(next));
    let middle = 0.5 * (high + low);
    if next < high && middle < high {
        row as f64 + ((high - middle) / (high - next)).clamp(0.0, 1.0)
    } else {
        row as f64
    }
}

/// Pushes the shorted phase up to standstill and what follows.
fn push_shorted(
    view: &View,
    builder: &mut TimelineBuilder,
    flight: Option<(usize, usize)>,
    end: usize,
) {
    let first = builder.next_row();
    let Some(i) = &view.i else {
        builder.push_phase(PhaseKind::Shorted, end);
        builder.remarks.push(Remark::BrakeWithoutCurrent);
        return;
    };
    let peak = (first..end)
        .min_by(|&a, &b| i.at(a).total_cmp(&i.at(b)))
        .unwrap_or(first);
    let zero = flight.and_then(|(from, to)| (to > from + 20).then(|| i.mean(from, to)));
    match standstill(i, peak, end, 1.0, zero) {
        Some(stop) => {
            builder.push_phase(PhaseKind::Shorted, stop.clear_until);
            builder.push_event(EventKind::Standstill, stop.row as f64);
            builder.exclude(Exclusion::Standstill, stop.quiet_from);
            builder.push_phase(PhaseKind::Rest, end);
        }
        None => {
            builder.push_phase(PhaseKind::Shorted, end);
            if let Some(last) = i.median(end.saturating_sub(50), end) {
                builder.remarks.push(Remark::EndsBeforeStandstill {
                    signal: Signal::Current,
                    from: i.at(peak),
                    to: last,
                });
            }
        }
    }
}
