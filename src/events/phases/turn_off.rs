//! Turn-off: driven, opening, arc and kick or a clamped decay, until the current is gone.

use crate::events::phase::{EventKind, Exclusion, PhaseKind};
use crate::events::remarks::Remark;
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::view::View;

/// Pushes the phases of a turn-off from the builder's end to row `end`; false, with nothing pushed, when the current never falls.
///
/// While a diode or a suppressor holds the terminals and the voltage was measured, the decay is a driven stretch whose
/// known voltage is the clamp's; it becomes a phase of its own. A free kick is cut.
pub(crate) fn push_phases(view: &View, builder: &mut TimelineBuilder, end: usize) -> bool {
    let first = builder.next_row();
    let head = ((end - first) / 100).clamp(8, 500);
    let Some((off, gone)) = fall(view, first, end, head) else {
        return false;
    };
    builder.push_phase(PhaseKind::Driven, off.saturating_sub(3).max(first));
    builder.push_event(EventKind::SwitchOff, off as f64);
    match clamped(view, off, gone) {
        Some((from, to, level)) => {
            builder.exclude(Exclusion::Arc, from);
            builder.push_phase(PhaseKind::Driven, to);
            builder.push_event(EventKind::Clamp, from as f64);
            builder.remarks.push(Remark::ClampedDecay {
                rows: to - from,
                level_v: level,
            });
        }
        None => builder.push_event(EventKind::Arc, gone as f64),
    }
    let quiet = quiet_after(view, gone, end);
    builder.exclude(Exclusion::Arc, quiet);
    builder.push_phase(after(view, quiet, end), end);
    true
}

/// Row where voltage or current leaves its level, and row where the current is gone.
fn fall(view: &View, first: usize, end: usize, head: usize) -> Option<(usize, usize)> {
    let by_voltage = view.v.as_ref().and_then(|v| {
        let level = v.median(first, first + head)?;
        let band = (8.0 * v.spread(first, first + head))
            .max(6.0 * v.sigma)
            .max(0.05 * level.abs());
        // Ringing at the first parting of the contacts belongs to the arc, so one row outside is enough.
        (first + head / 2..end).find(|&k| (v.at(k) - level).abs() > band)
    });
    let Some(i) = &view.i else {
        let off = by_voltage?;
        return Some((off, off));
    };
    let level = i.median(first, first + head)?;
    let zero = i.median(end - (end - first) / 20 - 1, end)?;
    let drop = level - zero;
    if drop < 8.0 * i.sigma {
        return None;
    }
    let gone = (first..end).find(|&k| i.median3(k) - zero < (0.01 * drop).max(2.0 * i.sigma))?;
    let left = (first..gone)
        .rev()
        .find(|&k| level - i.median3(k) < (0.03 * drop).max(5.0 * i.sigma))?;
    Some((by_voltage.map_or(left, |v| v.min(left)), gone))
}

/// The stretch of the decay in which a clamp holds the voltage still: first row, end, level in V.
fn clamped(view: &View, off: usize, gone: usize) -> Option<(usize, usize, f64)> {
    let v = view.v.as_ref()?;
    let raw = view.raw_v?;
    let length = gone.checked_sub(off)?;
    if length < 20 {
        return None;
    }
    let (from, to) = (off + length / 10 + 2, gone - length / 20);
    let usable = |k: usize| {
        raw.get(k).is_some_and(|x| x.is_finite()) && !v.clipped.get(k).is_some_and(|&c| c)
    };
    if !(from..to).all(usable) {
        return None;
    }
    let level = v.median(from, to)?;
    let before = v.median(off.saturating_sub(50), off.saturating_sub(4).max(1))?;
    let (low, high) = (v.quantile(from, to, 0.05)?, v.quantile(from, to, 0.95)?);
    // A diode with its resistance moves by a fraction of a volt, an arc or a ringing kick by tens of percent.
    let still = high - low
        < (0.15 * level.abs())
            .max(0.06 * before.abs())
            .max(8.0 * v.sigma);
    let reversed = level < 0.3 * before;
    (still && reversed).then_some((from, to, level))
}

/// First row from which both traces are as quiet as at their end.
fn quiet_after(view: &View, gone: usize, end: usize) -> usize {
    let tail = end - (end - gone) / 5;
    let mut quiet = gone + 2;
    if let Some(v) = &view.v {
        let level = v.median(tail, end).unwrap_or(0.0);
        let band = (8.0 * v.spread(tail, end)).max(6.0 * v.sigma);
        quiet = quiet.max(
            (gone..tail)
                .rev()
                .find(|&k| (v.at(k) - level).abs() > band)
                .map_or(gone, |k| k + 3),
        );
    }
    quiet.min(end)
}

/// Open terminals of a turning rotor, or rest.
fn after(view: &View, first: usize, end: usize) -> PhaseKind {
    let turning = view.v.as_ref().is_some_and(|v| {
        let top = v.median(0, 50).unwrap_or(0.0);
        v.median(first, end)
            .is_some_and(|e| e.abs() > 0.05 * top.abs() && e.abs() > 6.0 * v.sigma)
    });
    if turning {
        PhaseKind::Open
    } else {
        PhaseKind::Rest
    }
}
