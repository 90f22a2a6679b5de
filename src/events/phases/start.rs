//! Start from rest and voltage step onto a held rotor: rest, make with its bounce, driven.

use super::checks::current;
use super::contact::{Closing, closed_contact, first_closing, settled_after};
use super::opening::{Opening, find_opening};
use super::run_down;
use crate::events::phase::{EventKind, Exclusion, PhaseKind};
use crate::events::remarks::Remark;
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::view::View;

/// Rows and time of ringing looked for after a closing; lead inductance and winding capacitance ring for some µs (common
/// practice, no source).
const RINGING_ROWS: usize = 60;
const RINGING_S: f64 = 100e-6;

/// Pushes the phases of one or more starts from the builder's end to row `end`; voltage and current must be turned positive.
///
/// False, with nothing pushed, when the range shows no contact that closes.
pub(crate) fn push_phases(view: &View, builder: &mut TimelineBuilder, end: usize) -> bool {
    let first = builder.next_row();
    let (stretches, by_voltage) = match closed_contact(view, first, end) {
        Some(found) => found,
        None => return false,
    };
    let mut rest = stretches.as_slice();
    while let Some(closing) = first_closing(rest, view.step_s) {
        rest = &rest[closing.rows_before.len().max(1)..];
        // The next event begins a little before its closing.
        let until = rest
            .first()
            .and_then(|next| next.from)
            .map_or(end, |row| row.saturating_sub(1));
        push_one_start(view, builder, &closing, by_voltage, until);
    }
    builder.push_phase(PhaseKind::Driven, end);
    true
}

/// Pushes the phases of one start up to row `end`.
fn push_one_start(
    view: &View,
    builder: &mut TimelineBuilder,
    closing: &Closing,
    by_voltage: bool,
    end: usize,
) {
    let first = builder.next_row();
    let before = closing.first.unwrap_or(first);
    let turning = turning_before(view, first, before);
    if let Some(level) = turning {
        builder
            .remarks
            .push(Remark::TurningAtStart { level_v: level });
    }
    let idle = if turning.is_some() {
        PhaseKind::Open
    } else {
        PhaseKind::Rest
    };
    let edge = edge_begin(view, before, by_voltage);
    builder.push_phase(idle, edge.saturating_sub(1));
    for (number, &row) in closing.rows_before.iter().enumerate() {
        let kind = if number == 0 {
            EventKind::SwitchOn
        } else {
            EventKind::Bounce
        };
        builder.push_event(kind, sub_row(view, row, by_voltage));
    }
    let settled = match (&view.v, by_voltage) {
        (Some(v), true) => {
            let reach = view.rows_in(RINGING_S, 4).min(RINGING_ROWS);
            let top = v
                .median(closing.settled, closing.settled + reach)
                .unwrap_or(0.0);
            settled_after(
                v,
                closing.settled,
                reach,
                (0.03 * top.abs()).max(6.0 * v.sigma),
            )
        }
        _ => closing
            .rows_before
            .last()
            .map_or(closing.settled, |&row| row + 2),
    };
    let reason = if closing.bounce.is_some() {
        Exclusion::Bounce
    } else {
        Exclusion::SwitchOn
    };
    builder.exclude(reason, settled.min(end));
    let released = opens_again(view, closing, settled, end);
    match released {
        Some(opening) => run_down::push_after_opening(view, builder, opening, end),
        None => builder.push_phase(PhaseKind::Driven, end),
    }
    current::check(view, builder, closing, settled, end);
    if let (Some(i), true, Some(&row)) = (&view.i, by_voltage, closing.rows_before.last())
        && let Some(peak) = i.peak(row, end)
    {
        current::check_rise(view, builder, sub_row(view, row, by_voltage), peak);
    }
}

/// The open-terminal voltage before the make when it stands clear of zero: the rotor was turning.
fn turning_before(view: &View, first: usize, before: usize) -> Option<f64> {
    let v = view.v.as_ref()?;
    if before < first + 8 {
        return None;
    }
    let level = v.median(first, before)?;
    let top = v.quantile(first, v.len(), 0.97)?;
    // A tenth of a division of offset on a screen of eight: below 3 % of the supply it is the zero.
    (level.abs() > 0.05 * top.abs() && level.abs() > 6.0 * v.sigma).then_some(level)
}

/// First row of the edge that crosses the band after `row`.
fn edge_begin(view: &View, row: usize, by_voltage: bool) -> usize {
    let x = if by_voltage { &view.v } else { &view.i };
    let Some(x) = x else { return row };
    let Some(zero) = x.median(row.saturating_sub(200), row.saturating_sub(3).max(1)) else {
        return row;
    };
    let reach = if by_voltage { 5 } else { 2000 };
    let mut edge = row;
    while edge > 0 && row - edge < reach && x.at(edge) > zero + 3.0 * x.sigma {
        edge -= 1;
    }
    edge + 1
}

/// Instant of a make between the last open row and the next, by where the voltage crosses the middle; by the straight
/// continuation of the rise when only the current is known.
fn sub_row(view: &View, row: usize, by_voltage: bool) -> f64 {
    if by_voltage {
        let Some(v) = &view.v else { return row as f64 };
        let Some(next) = v.x().get(row + 1) else {
            return row as f64;
        };
        let top = v.median(row + 1, row + 12).unwrap_or(next);
        let (low, middle) = (v.at(row), 0.5 * top);
        return if next > low && middle > low {
            row as f64 + ((middle - low) / (next - low)).clamp(0.0, 1.0)
        } else {
            row as f64
        };
    }
    let Some(i) = &view.i else { return row as f64 };
    let edge = edge_begin(view, row, false).saturating_sub(1);
    let zero = i
        .median(edge.saturating_sub(200), edge.max(1))
        .unwrap_or(0.0);
    // Line through the first quarter of the rise.
    let (low, high) = (i.at(row), i.at((row + 1).min(i.len() - 1)));
    let slope = if row > edge + 2 {
        (low - zero) / (row - edge) as f64
    } else {
        high - low
    };
    if slope > 0.0 {
        (row as f64 - (low - zero) / slope).max(edge.saturating_sub(1) as f64)
    } else {
        row as f64
    }
}

/// The opening that ends the driven stretch, when the terminals are left open at `end`.
fn opens_again(view: &View, closing: &Closing, settled: usize, end: usize) -> Option<Opening> {
    let length = end.checked_sub(settled)?;
    if length < 40 {
        return None;
    }
    let tail = end - (length / 20).max(8);
    let quiet = view.i.as_ref().is_none_or(|i| {
        let first = closing.first.unwrap_or(0);
        let zero = i
            .median(first.saturating_sub(500), first.max(1))
            .unwrap_or(0.0);
        let last = i.median(tail, end).unwrap_or(zero);
        // Without a voltage only a current that does not ripple any more has ended.
        let ended = view.v.is_some() || i.spread(tail, end) < 3.0 * i.sigma;
        ended && (last - zero).abs() < 4.0 * i.sigma
    });
    let left = match &view.v {
        Some(v) => {
            let top = v.quantile(settled, end, 0.9)?;
            v.median(tail, end).is_some_and(|last| last < 0.85 * top)
        }
        None => closing.opened.is_some(),
    };
    let closes_again = end < view.rows.min(view.len());
    if closes_again && let Some(opened) = closing.opened.filter(|&row| row + 8 < end) {
        // Only the rows around the opening tell it, the end of the range is short.
        let from = opened.saturating_sub(3 * (end - opened)).max(settled);
        return find_opening(view, settled, end).or_else(|| find_opening(view, from, end));
    }
    if !(quiet && left) {
        return None;
    }
    find_opening(view, settled, end).filter(|found| view.v.is_some() || interrupts(view, found))
}

/// True when the current falls to nothing within a few rows, as an opened contact does and a start that fades out does not.
fn interrupts(view: &View, found: &Opening) -> bool {
    view.i.as_ref().is_some_and(|i| {
        let before = i.mean(found.row.saturating_sub(8), found.row);
        let after = i.mean(found.row + 4, found.row + 12);
        before - after > 4.0 * i.sigma
    })
}

/// Rows of the first driven stretch after its bounce, and the last row before its closing; `None` when no contact closes.
pub(crate) fn driven_range(view: &View) -> Option<(usize, usize, usize)> {
    let end = view.len();
    let (stretches, by_voltage) = closed_contact(view, 0, end)?;
    let closing = first_closing(&stretches, view.step_s)?;
    let before = closing.first.unwrap_or(0);
    // A current that decays below the band has not opened its contact.
    let until = if by_voltage {
        closing.opened.unwrap_or(end)
    } else {
        end
    };
    (until > closing.settled + 8).then_some((closing.settled, until, before))
}
