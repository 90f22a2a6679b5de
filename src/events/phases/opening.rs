//! A contact that opens: the current goes to zero, the terminals jump through arc and kick to the back-EMF.

use super::change_point::{ChangePoint, change_point};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;
use crate::stats::affine_view::AffineView;

/// Where the lead came off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Opening {
    /// First row that may belong to the arc.
    pub arc_from: usize,
    /// Row of the opening (the last one with current, or the edge of the voltage).
    pub row: usize,
    /// First row that is the back-EMF alone.
    pub open_from: usize,
}

/// Fewest rows on either side that make a level.
const LEVEL_ROWS: usize = 8;

/// Standard deviations of its noise from which a current shows row by row whether it flows.
const CLEAR: f64 = 8.0;

/// Looks for one opening in the rows `first .. end`; the terminals are open at the end of that range.
///
/// The current decides where it stands clear of its noise before the opening; else the likelihood of both channels, and a spike or a step of
/// the voltage near it. Between the earliest and the latest possible instant no row counts as driven or open. `None` when the range shows no
/// driven part.
pub(crate) fn find_opening(view: &View, first: usize, end: usize) -> Option<Opening> {
    let found = by_current(view, first, end)
        .or_else(|| change_point(view, first, end))
        .or_else(|| Some(at_row(voltage_spike(view.v.as_ref()?, first, end)?)))?;
    let Some(v) = &view.v else {
        return Some(Opening {
            arc_from: found.earliest.saturating_sub(2).max(first),
            row: found.row,
            open_from: (found.latest + 4).min(end),
        });
    };
    let row = near_spike(v, found, first, end).unwrap_or(found.row);
    let arc_from = arc_begin(v, row.min(found.row), first).min(found.earliest);
    let open_from = arc_end(v, row.max(found.row), end).max(found.latest + 1);
    Some(Opening {
        arc_from: arc_from.saturating_sub(2).max(first),
        row: row.min(found.row),
        open_from: (open_from + 3).min(end),
    })
}

fn at_row(row: usize) -> ChangePoint {
    ChangePoint {
        row,
        earliest: row,
        latest: row,
    }
}

/// The opening as a current shows it that stands clear of its noise to the last. Behind an inrush that alone does, the likelihood decides.
fn by_current(view: &View, first: usize, end: usize) -> Option<ChangePoint> {
    let i = view.i.as_ref()?;
    let (row, noise) = last_current(i, view.v.as_ref(), first, end)?;
    let from = row + 1 + LEVEL_ROWS / 2;
    let reach = ((end - row) / 20).clamp(LEVEL_ROWS, 200);
    // Means, since medians jump by a whole code.
    let left =
        i.mean(from, from + reach) - i.mean(end - ((end - row) / 4).max(LEVEL_ROWS / 2), end);
    if left.abs() > 0.7 * noise
        && let Some(later) = change_point(view, row, end)
    {
        return Some(later);
    }
    Some(at_row(row))
}

/// Last row at which current still flows, judged against the end of the range where none does; with the noise there.
fn last_current(i: &Series, v: Option<&Series>, first: usize, end: usize) -> Option<(usize, f64)> {
    let length = end.checked_sub(first)?;
    if length < 4 * LEVEL_ROWS {
        return None;
    }
    let tail = first + (length * 9 / 10).min(length - LEVEL_ROWS);
    let zero = i.median(tail, end)?;
    let head = (length / 200).clamp(LEVEL_ROWS, 200);
    let before = (i.median(first, first + head)? - zero).abs();
    // Coarse codes make the median deviation zero: the width of the distribution counts too.
    let width = i.quantile(tail, end, 0.975)? - i.quantile(tail, end, 0.025)?;
    let noise = i
        .spread(tail, end)
        .max(width / 4.0)
        .max(0.5 * i.step)
        .max(1e-3 * before);
    if before < CLEAR * noise {
        return None;
    }
    // Single codes of an idle converter may stand clear of a spread that is less than a code, never near the current that flowed. A current
    // alone may have lost its level to a capacitor.
    let limit = match v {
        Some(_) => (5.0 * noise).max(0.1 * before),
        None => 5.0 * noise,
    };
    let out = |k: usize| (i.at(k) - zero).abs() > limit;
    let row = (first + 1..end)
        .rev()
        .find(|&k| out(k) && (out(k - 1) || v.is_some_and(|v| edge(v, k))))?;
    // Current up to the very end: nothing opened in this range.
    (row + LEVEL_ROWS / 2 < end).then_some((row, noise))
}

/// True when the voltage jumps within two rows of `row`.
fn edge(v: &Series, row: usize) -> bool {
    let last = v.len() - 1;
    (row.saturating_sub(2)..(row + 2).min(last))
        .any(|k| (v.at(k + 1) - v.at(k)).abs() > 8.0 * v.sigma)
}

/// First fast excursion of the voltage by more than a quarter of its level.
fn voltage_spike(v: &Series, first: usize, end: usize) -> Option<usize> {
    let level = v
        .median(first, first + LEVEL_ROWS.max((end - first) / 20))?
        .abs();
    let limit = (0.25 * level).max(10.0 * v.sigma);
    (first + 2..end).find(|&k| (v.at(k) - v.at(k - 2)).abs() > limit)
}

/// A spike close to the rows at which the terminals may have opened.
fn near_spike(v: &Series, found: ChangePoint, first: usize, end: usize) -> Option<usize> {
    let reach = ((end - first) / 100).clamp(10, 200);
    let from = found
        .row
        .saturating_sub(reach)
        .min(found.earliest)
        .max(first);
    let to = (found.latest.max(found.row) + 10).min(end);
    voltage_spike(v, from, to).map(|k| k.saturating_sub(1))
}

/// First row of the disturbance that ends in `row`: goes back until the voltage was quiet for some rows.
fn arc_begin(v: &Series, row: usize, first: usize) -> usize {
    let reach = 400.min(row - first);
    let Some(level) = v.median(
        row - reach,
        row.saturating_sub(reach / 4).max(row - reach + 1),
    ) else {
        return row;
    };
    let band = (6.0 * v.spread(row - reach, row))
        .max(6.0 * v.sigma)
        .max(0.02 * level.abs());
    let mut begin = row;
    let mut k = row;
    while k > first && begin - k < LEVEL_ROWS {
        k -= 1;
        if (v.at(k) - level).abs() > band {
            begin = k;
        }
    }
    begin
}

/// First row after `row` from which the voltage lies on the line that it follows a little later.
fn arc_end(v: &Series, row: usize, end: usize) -> usize {
    let length = end - row.min(end);
    let reach = (length / 20).clamp(12, 400).min(length);
    let from = row + reach;
    let later = v.rows(from, (from + 3 * reach).min(end));
    if later.len() < LEVEL_ROWS {
        return row + 1;
    }
    let half = later.len() / 2;
    let mean = |rows: AffineView| rows.iter().sum::<f64>() / rows.len() as f64;
    let (early, late) = (
        mean(later.slice(0..half)),
        mean(later.slice(half..2 * half)),
    );
    let slope = (late - early) / half as f64;
    let middle = from as f64 + 0.5 * (half as f64 - 1.0);
    let off = |k: usize| v.at(k) - early - slope * (k as f64 - middle);
    let scatter = (from..from + later.len())
        .map(off)
        .fold(0.0, |most: f64, d| most.max(d.abs()));
    let margin = 3.0 * v.sigma + 2.0 * scatter;
    (row + 1..from.min(end))
        .rev()
        .find(|&k| off(k).abs() > margin)
        .map_or(row + 1, |k| k + 1)
}
