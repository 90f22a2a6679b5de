//! Rows that no fit may use: missing cells, clipped values, gaps in time.

use crate::capture::TimeAxis;
use crate::events::phase::{Exclusion, Phase, PhaseKind};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;
use crate::stats::simd;

/// Rows left out on either side of a bad stretch.
const MARGIN: usize = 2;

/// Cuts bad rows out of the phases that a fit would use; rows already cut stay as they are.
pub(crate) fn apply(view: &View, phases: &mut Vec<Phase>) {
    let mut bad: Vec<(usize, usize, Exclusion)> = Vec::new();
    // A channel without any number has no series: it counts as absent, not as a hole over the whole record.
    for (values, series) in [(view.raw_v, &view.v), (view.raw_i, &view.i)] {
        // No copy was needed where no row is missing, and flags may be empty where none is set.
        let bad_rows = |s: &&Series| s.had_holes() || !s.clipped.is_empty() || s.len() < view.rows;
        if let (Some(values), Some(series)) = (values, series.as_ref().filter(bad_rows)) {
            stretches(values, &series.clipped, view.rows, &mut bad);
        }
    }
    if let TimeAxis::Listed(times) = view.time {
        let limit = 1.6 * view.step_s;
        for (row, pair) in times.windows(2).enumerate() {
            if pair[1] - pair[0] > limit {
                bad.push((row, row + 2, Exclusion::Gap));
            }
        }
    }
    if bad.is_empty() {
        return;
    }
    bad.sort_by_key(|b| b.0);
    *phases = split(phases, &bad);
}

/// Cuts rows out of the phases, whatever these are.
pub(crate) fn cut(phases: &mut Vec<Phase>, (first, end): (usize, usize), why: Exclusion) {
    *phases = split(phases, &[(first, end, why)]);
}

/// Bad stretches of one trace with their margins.
fn stretches(
    values: &[f64],
    clipped: &[bool],
    rows: usize,
    bad: &mut Vec<(usize, usize, Exclusion)>,
) {
    let reason = |k: usize| {
        if clipped.get(k).is_some_and(|&c| c) {
            Some(Exclusion::Clipped)
        } else if values.get(k).is_none_or(|v| !v.is_finite()) {
            Some(Exclusion::Missing)
        } else {
            None
        }
    };
    /// Rows looked at at once for whether one is bad.
    const BLOCK: usize = 512;
    let plain = |row: usize| {
        let block = row..(row + BLOCK).min(rows);
        values
            .get(block.clone())
            .is_some_and(|v| simd::count(v, |[v]| !v.is_finite()) == 0)
            && !clipped.get(block).unwrap_or_default().contains(&true)
    };
    let mut row = 0;
    while row < rows {
        if row.is_multiple_of(BLOCK) && plain(row) {
            row = (row + BLOCK).min(rows);
            continue;
        }
        let Some(why) = reason(row) else {
            row += 1;
            continue;
        };
        let first = row;
        while row < rows && reason(row) == Some(why) {
            row += 1;
        }
        bad.push((first.saturating_sub(MARGIN), (row + MARGIN).min(rows), why));
    }
}

/// The phases with the bad stretches taken out.
fn split(phases: &[Phase], bad: &[(usize, usize, Exclusion)]) -> Vec<Phase> {
    let mut result: Vec<Phase> = Vec::with_capacity(phases.len() + 2 * bad.len());
    let mut push = |kind: PhaseKind, first: usize, end: usize| {
        if end <= first {
            return;
        }
        match result.last_mut() {
            Some(last) if last.kind == kind && last.end == first => last.end = end,
            _ => result.push(Phase { kind, first, end }),
        }
    };
    let mut next = 0;
    for phase in phases {
        if matches!(phase.kind, PhaseKind::Excluded(_)) {
            push(phase.kind, phase.first, phase.end);
            continue;
        }
        let mut at = phase.first;
        while next < bad.len() && bad[next].1 <= at {
            next += 1;
        }
        for &(first, end, why) in bad[next..].iter().take_while(|b| b.0 < phase.end) {
            let (first, end) = (first.max(at), end.min(phase.end));
            if end <= first {
                continue;
            }
            push(phase.kind, at, first);
            push(PhaseKind::Excluded(why), first, end);
            at = end;
        }
        push(phase.kind, at, phase.end);
    }
    result
}
