//! Run-down: driven, opening with arc and kick, open terminals until the rotor stands.

use super::opening::{Opening, find_opening};
use super::standstill::standstill;
use crate::bench::CaptureWarning;
use crate::events::phase::{EventKind, Exclusion, PhaseKind};
use crate::events::remarks::{Remark, Signal};
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Pushes the phases of a run-down from the builder's end to row `end`.
pub(crate) fn push_phases(view: &View, builder: &mut TimelineBuilder, end: usize) {
    match find_opening(view, builder.next_row(), end) {
        Some(found) => push_after_opening(view, builder, found, end),
        None => {
            builder.remarks.push(Remark::NoSwitchOff);
            push_open(view, builder, end);
        }
    }
}

/// Pushes driven, arc and open phases around a known opening.
pub(crate) fn push_after_opening(
    view: &View,
    builder: &mut TimelineBuilder,
    found: Opening,
    end: usize,
) {
    builder.push_phase(PhaseKind::Driven, found.arc_from);
    builder.push_event(EventKind::SwitchOff, found.row as f64);
    builder.exclude(Exclusion::Arc, found.open_from);
    builder.push_event(EventKind::Arc, found.open_from.saturating_sub(3) as f64);
    push_open(view, builder, end);
}

/// Pushes open terminals up to standstill and what follows.
fn push_open(view: &View, builder: &mut TimelineBuilder, end: usize) {
    let first = builder.next_row();
    let Some(v) = &view.v else {
        builder.push_phase(PhaseKind::Open, end);
        return;
    };
    if let Some((before_v, lowest_v)) = crosses_zero(v, first, end) {
        builder.capture_warnings.push(CaptureWarning::AcCoupled);
        builder
            .remarks
            .push(Remark::AcCoupled { before_v, lowest_v });
        builder.exclude(Exclusion::AcCoupled, end);
        return;
    }
    match standstill(v, first, end, 3.0, None) {
        Some(stop) => {
            builder.push_phase(PhaseKind::Open, stop.clear_until);
            builder.push_event(EventKind::Standstill, stop.row as f64);
            builder.exclude(Exclusion::Standstill, stop.quiet_from);
            builder.push_phase(PhaseKind::Rest, end);
        }
        None => {
            builder.push_phase(PhaseKind::Open, end);
            if let (Some(from), Some(to)) = (
                v.median(first, first + 50),
                v.median(end.saturating_sub(50), end),
            ) {
                builder.remarks.push(Remark::EndsBeforeStandstill {
                    signal: Signal::Voltage,
                    from,
                    to,
                });
            }
        }
    }
}

/// AC coupling: the voltage of a motor that only slows never changes sign, but by the zero of its channel. A coupling capacitor has taken the driven level away
/// before, or brings the voltage back towards zero in the end; a shifted zero does neither. The level before the opening and the lowest after it where the
/// open phase is unusable.
fn crosses_zero(v: &Series, first: usize, end: usize) -> Option<(f64, f64)> {
    let size = ((end - first) / 50).max(1);
    let means = v.rows(first, end).means(size);
    let before = if first >= 8 {
        v.median(0, first.saturating_sub(10).max(1)).unwrap_or(0.0)
    } else {
        means.first().copied().unwrap_or(0.0)
    };
    let lowest = means.iter().fold(f64::INFINITY, |a, &m| a.min(m));
    let highest = means.iter().fold(before.abs(), |a, &m| a.max(m));
    let noise = 6.0 * v.sigma / (size as f64).sqrt() + v.step;
    if lowest > -noise || lowest > -0.08 * highest.max(-lowest) {
        return None;
    }
    let last = means.last().copied().unwrap_or(lowest);
    let returns = last - lowest > noise.max(-0.1 * lowest);
    (returns || before < -3.0 * lowest).then_some((before, lowest))
}
