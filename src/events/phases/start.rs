//! Start from rest and voltage step onto a held rotor: rest, make with its bounce, driven.

use super::checks::{current, slow_rise};
use super::contact::{Make, first_make, settled_after};
use super::opening::{Release, release};
use super::run_down;
use crate::events::remarks::Remark;
use crate::events::timeline::{EventKind, Exclusion, PhaseKind};
use crate::events::timeline_builder::TimelineBuilder;
use crate::events::trace::bands::{Band, Closed};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Rows and time of ringing looked for after a make; lead inductance and winding capacitance ring for some µs (common
/// practice, no source).
const RINGING_ROWS: usize = 60;
const RINGING_S: f64 = 100e-6;

/// Pushes the phases of one or more starts from the builder's end to row `end`; voltage and current must be turned positive.
///
/// False, with nothing pushed, when the range shows no contact that closes.
pub(crate) fn push_phases(view: &View, builder: &mut TimelineBuilder, end: usize) -> bool {
    let first = builder.next_row();
    let (stretches, by_voltage) = match contact(view, first, end) {
        Some(found) => found,
        None => return false,
    };
    let mut rest = stretches.as_slice();
    while let Some(make) = first_make(rest, view.step_s) {
        rest = &rest[make.makes.len().max(1)..];
        // The next event begins a little before its make.
        let until = rest
            .first()
            .and_then(|next| next.from)
            .map_or(end, |row| row.saturating_sub(1));
        push_one_start(view, builder, &make, by_voltage, until);
    }
    builder.push_phase(PhaseKind::Driven, end);
    true
}

/// Stretches in which the contact is closed, and whether the voltage told it.
fn contact(view: &View, first: usize, end: usize) -> Option<(Vec<Closed>, bool)> {
    let by_current = view.i.as_ref().and_then(|i| {
        let zero = zero_before(i, first, end)?;
        let (_, peak) = i.peak(first, end)?;
        let low = zero + (0.08 * (peak - zero)).max(5.0 * noise_before(i, first, end));
        let high = zero + 0.4 * (peak - zero);
        let band = Band { low, high };
        (high > low).then(|| {
            let stretches = i.closed(band, first, end);
            interrupted(stretches, i, band)
        })
    });
    let by_voltage = view.v.as_ref().and_then(|v| {
        let zero = zero_before(v, first, end)?;
        let top = v.quantile(first, end, 0.97)?;
        // A supply in current limit sags to below half: the band lies low.
        let low = zero + 0.25 * (top - zero);
        let high = zero + 0.45 * (top - zero);
        (low - zero > 6.0 * v.sigma).then(|| v.closed(Band { low, high }, first, end))
    });
    match (by_voltage, by_current) {
        // Voltage there from the first row while the current begins at zero: the probe sits on the source's side of the
        // switch, or the source limits. The current then tells when the contact closed.
        (Some(v), Some(i)) if v.first().is_some_and(|s| s.from.is_none()) => i
            .first()
            .is_some_and(|s| s.from.is_some())
            .then_some((i, false)),
        (Some(v), Some(_)) if !v.is_empty() => Some((
            with_short_openings(confirmed(v, view), view, first, end),
            true,
        )),
        (Some(v), None) if v.first().is_some_and(|s| s.from.is_some()) => Some((v, true)),
        (_, Some(i)) if i.first().is_some_and(|s| s.from.is_some()) => Some((i, false)),
        _ => None,
    }
}

/// Level before the first event: the median of the first rows.
fn zero_before(x: &Series, first: usize, end: usize) -> Option<f64> {
    x.median(first, first + ((end - first) / 100).clamp(3, 500))
}

/// Noise of the first rows: ripple of the running motor must not enter.
fn noise_before(x: &Series, first: usize, end: usize) -> f64 {
    let head = first + ((end - first) / 100).clamp(8, 500);
    x.sigma.min(x.spread(first, head))
}

/// The stretches of a current joined where it only rippled across the band: an interrupted current falls faster than it
/// rises again, because the arc takes more voltage than the source gives.
fn interrupted(stretches: Vec<Closed>, i: &Series, band: Band) -> Vec<Closed> {
    let mut kept: Vec<Closed> = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        if let (Some(last), Some(from)) = (kept.last_mut(), stretch.from)
            && let Some(until) = last.until
        {
            let fall = (last.reached..until)
                .rev()
                .find(|&k| i.at(k) >= band.high)
                .map_or(0, |k| until - k);
            let rise = stretch.reached - from;
            if fall > 3.max(rise / 2) {
                last.until = stretch.until;
                continue;
            }
        }
        kept.push(stretch);
    }
    kept
}

/// Adds the openings too short for the voltage to show between two samples: the current falls from near its peak to nothing
/// and comes back.
fn with_short_openings(
    mut kept: Vec<Closed>,
    view: &View,
    first: usize,
    end: usize,
) -> Vec<Closed> {
    let Some(i) = &view.i else { return kept };
    let (Some(zero), Some((_, peak))) = (zero_before(i, first, end), i.peak(first, end)) else {
        return kept;
    };
    let band = Band {
        low: zero + (0.15 * (peak - zero)).max(5.0 * i.sigma),
        high: zero + 0.5 * (peak - zero),
    };
    for pair in i.closed(band, first, end).windows(2) {
        let (Some(opened), Some(from)) = (pair[0].until, pair[1].from) else {
            continue;
        };
        let fell_at_once = i
            .rows(opened.saturating_sub(3), opened)
            .iter()
            .any(|x| x >= band.high);
        let host = kept
            .iter()
            .position(|s| s.reached + 2 < opened && s.until.is_none_or(|u| u > from + 2));
        let Some(host) = host.filter(|_| fell_at_once) else {
            continue;
        };
        let until = kept[host].until.replace(opened);
        let reached = pair[1].reached;
        kept.insert(
            host + 1,
            Closed {
                from: Some(from),
                reached,
                until,
            },
        );
    }
    kept
}

/// True when the current grows while the contact is closed.
fn rises(i: &Series, from: usize, until: usize) -> bool {
    let highest = i
        .rows(from + 1, until + 1)
        .iter()
        .fold(f64::NEG_INFINITY, f64::max);
    highest > i.at(from) + 5.0 * i.sigma
}

/// The stretches of the voltage without what the current contradicts: a sagging source, the ringing of a kick.
fn confirmed(by_voltage: Vec<Closed>, view: &View) -> Vec<Closed> {
    let Some(i) = &view.i else {
        return by_voltage;
    };
    let mut kept: Vec<Closed> = Vec::with_capacity(by_voltage.len());
    for stretch in by_voltage {
        if let (Some(from), Some(until)) = (stretch.from, stretch.until)
            && until - from < 40
            && !rises(i, from, until)
        {
            continue;
        }
        if let (Some(last), Some(from)) = (kept.last_mut(), stretch.from)
            && let Some(until) = last.until
        {
            let before = i.median3(until.saturating_sub(2));
            let lowest = i
                .rows(until.saturating_sub(1), from + 3)
                .iter()
                .fold(f64::INFINITY, f64::min);
            if lowest > 0.7 * before && before > 6.0 * i.sigma {
                last.until = stretch.until;
                continue;
            }
        }
        kept.push(stretch);
    }
    kept
}

/// Pushes the phases of one start up to row `end`.
fn push_one_start(
    view: &View,
    builder: &mut TimelineBuilder,
    make: &Make,
    by_voltage: bool,
    end: usize,
) {
    let first = builder.next_row();
    let before = make.first.unwrap_or(first);
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
    for (number, &row) in make.makes.iter().enumerate() {
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
            let top = v.median(make.settled, make.settled + reach).unwrap_or(0.0);
            settled_after(
                v,
                make.settled,
                reach,
                (0.03 * top.abs()).max(6.0 * v.sigma),
            )
        }
        _ => make.makes.last().map_or(make.settled, |&row| row + 2),
    };
    let reason = if make.bounce.is_some() {
        Exclusion::Bounce
    } else {
        Exclusion::SwitchOn
    };
    builder.exclude(reason, settled.min(end));
    let released = opens_again(view, make, settled, end);
    match released {
        Some(release) => run_down::push_after_opening(view, builder, release, end),
        None => builder.push_phase(PhaseKind::Driven, end),
    }
    current::check(view, builder, make, settled, end);
    if let (Some(i), true, Some(&row)) = (&view.i, by_voltage, make.makes.last())
        && let Some(peak) = i.peak(row, end)
    {
        slow_rise::check(view, builder, sub_row(view, row, by_voltage), peak);
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
fn opens_again(view: &View, make: &Make, settled: usize, end: usize) -> Option<Release> {
    let length = end.checked_sub(settled)?;
    if length < 40 {
        return None;
    }
    let tail = end - (length / 20).max(8);
    let quiet = view.i.as_ref().is_none_or(|i| {
        let first = make.first.unwrap_or(0);
        let zero = i
            .median(first.saturating_sub(500), first.max(1))
            .unwrap_or(0.0);
        let last = i.median(tail, end).unwrap_or(zero);
        (last - zero).abs() < 4.0 * i.sigma
    });
    let left = match &view.v {
        Some(v) => {
            let top = v.quantile(settled, end, 0.9)?;
            v.median(tail, end).is_some_and(|last| last < 0.85 * top)
        }
        None => make.opened.is_some(),
    };
    let closes_again = end < view.rows.min(view.len());
    if closes_again && let Some(opened) = make.opened.filter(|&row| row + 8 < end) {
        // Only the rows around the opening tell it, the end of the range is short.
        let from = opened.saturating_sub(3 * (end - opened)).max(settled);
        return release(view, settled, end).or_else(|| release(view, from, end));
    }
    if !(quiet && left) {
        return None;
    }
    release(view, settled, end).filter(|found| view.v.is_some() || interrupts(view, found))
}

/// True when the current falls to nothing within a few rows, as an opened contact does and a start that fades out does not.
fn interrupts(view: &View, found: &Release) -> bool {
    view.i.as_ref().is_some_and(|i| {
        let before = i.mean(found.row.saturating_sub(8), found.row);
        let after = i.mean(found.row + 4, found.row + 12);
        before - after > 4.0 * i.sigma
    })
}

/// Rows of the first driven stretch after its bounce, and the last row before its make; `None` when no contact closes.
pub(crate) fn driven_range(view: &View) -> Option<(usize, usize, usize)> {
    let end = view.len();
    let (stretches, by_voltage) = contact(view, 0, end)?;
    let make = first_make(&stretches, view.step_s)?;
    let before = make.first.unwrap_or(0);
    // A current that decays below the band has not opened its contact.
    let until = if by_voltage {
        make.opened.unwrap_or(end)
    } else {
        end
    };
    (until > make.settled + 8).then_some((make.settled, until, before))
}
