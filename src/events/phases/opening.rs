//! A contact that opens: the current goes to zero, the terminals jump through arc and kick to the back-EMF.

use crate::events::trace::series::Series;
use crate::events::trace::view::View;

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

/// Looks for one opening in the rows `first .. end`; the terminals are open at the end of that range.
///
/// The current decides where it stands clear of its noise before the opening; a kick or a step of the voltage otherwise.
/// `None` when the range shows no driven part.
pub(crate) fn find_opening(view: &View, first: usize, end: usize) -> Option<Opening> {
    let by_current = view
        .i
        .as_ref()
        .and_then(|i| last_current(i, view.v.as_ref(), first, end));
    let row = match (&view.v, by_current) {
        (Some(v), None) => voltage_spike(v, first, end).or_else(|| level_left(v, first, end))?,
        (Some(v), Some(row)) => near_spike(v, row, first, end).unwrap_or(row),
        (None, Some(row)) => row,
        (None, None) => return None,
    };
    let row_i = by_current.unwrap_or(row);
    let (arc_from, open_from) = match &view.v {
        Some(v) => (
            arc_begin(v, row.min(row_i), first),
            arc_end(v, row.max(row_i), end),
        ),
        None => (row_i, row_i + 1),
    };
    Some(Opening {
        arc_from: arc_from.saturating_sub(2).max(first),
        row: row.min(row_i),
        open_from: (open_from + 3).min(end),
    })
}

/// Last row at which current still flows, judged against the end of the range where none does.
fn last_current(i: &Series, v: Option<&Series>, first: usize, end: usize) -> Option<usize> {
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
    // The level must be known better than the ripple on it: compare means, not rows.
    if before < 2.5 * noise {
        return None;
    }
    let limit = (5.0 * noise)
        .min(before.max(2.5 * noise) * 0.6)
        .max(2.2 * noise);
    let out = |k: usize| (i.at(k) - zero).abs() > limit;
    // With a limit near the noise one row outside proves little: ask for four of eight.
    let sure = limit >= 4.5 * noise;
    let row = (first + 1..end).rev().find(|&k| {
        if sure {
            out(k) && (out(k - 1) || v.is_some_and(|v| edge(v, k)))
        } else {
            out(k)
                && (k.saturating_sub(7).max(first)..=k)
                    .filter(|&j| out(j))
                    .count()
                    >= 4
        }
    })?;
    // Current up to the very end: nothing opened in this range.
    (row + LEVEL_ROWS / 2 < end).then_some(row)
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

/// A kick close to the row where the current vanished.
fn near_spike(v: &Series, row: usize, first: usize, end: usize) -> Option<usize> {
    let reach = ((end - first) / 100).clamp(10, 200);
    let from = row.saturating_sub(reach).max(first);
    voltage_spike(v, from, (row + 10).min(end)).map(|k| k.saturating_sub(1))
}

/// Row where the voltage leaves the level of its first rows for good (no kick was caught between two samples).
///
/// Means of a few rows are compared with the level of the first rows and their own scatter there.
fn level_left(v: &Series, first: usize, end: usize) -> Option<usize> {
    let count = end.checked_sub(first)? / LEVEL_ROWS;
    let head = (count / 50).clamp(4, 100);
    if count < 4 * head {
        return None;
    }
    let means = v.rows(first, first + count * LEVEL_ROWS).means(LEVEL_ROWS);
    let level = means[..head].iter().sum::<f64>() / head as f64;
    let scatter = (means[..head]
        .iter()
        .map(|m| (m - level).powi(2))
        .sum::<f64>()
        / head as f64)
        .sqrt();
    let band = (6.0 * scatter)
        .max(2.0 * v.sigma / (LEVEL_ROWS as f64).sqrt())
        .max(0.3 * v.step)
        .max(1e-3 * level.abs());
    let outside = |m: &f64| (m - level).abs() > band;
    // A window of blocks ahead, kept as a running count.
    let mut outside_ahead = means[..head].iter().filter(|m| outside(m)).count();
    for k in 0..count - head {
        if outside(&means[k]) && outside_ahead * 10 >= head * 8 {
            // A range that leaves its level at once has no level: the record begins with the terminals open.
            return (k > head / 2).then_some(first + k * LEVEL_ROWS);
        }
        outside_ahead += usize::from(outside(&means[k + head]));
        outside_ahead -= usize::from(outside(&means[k]));
    }
    None
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

/// First row after `row` from which the voltage stays within what it does a little later.
fn arc_end(v: &Series, row: usize, end: usize) -> usize {
    let length = end - row.min(end);
    let reach = (length / 20).clamp(12, 400).min(length);
    let from = row + reach;
    let to = (from + 3 * reach).min(end);
    let rows = v.rows(from, to);
    if rows.len() < LEVEL_ROWS {
        return row + 1;
    }
    let (low, high) = rows
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
            (l.min(x), h.max(x))
        });
    let margin = 3.0 * v.sigma + 0.35 * (high - low);
    (row + 1..from.min(end))
        .rev()
        .find(|&k| v.at(k) < low - margin || v.at(k) > high + margin)
        .map_or(row + 1, |k| k + 1)
}
