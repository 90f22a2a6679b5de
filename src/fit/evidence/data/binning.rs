//! Where the bins of a segment begin and end: of equal width, of whole turns, or growing with the time since an event.

use super::bin::{Bin, bin};
use crate::bench::Waveform;
use std::ops::Range;

/// About `count` bins of equal width.
pub fn uniform(waveform: &Waveform, rows: &Range<usize>, count: usize) -> Vec<Bin> {
    let n = rows.len();
    let count = count.min(n).max(1);
    (0..count)
        .filter_map(|k| {
            bin(
                waveform,
                rows.start + k * n / count,
                rows.start + (k + 1) * n / count,
            )
        })
        .collect()
}

/// Fewest turns that make bins of whole turns worth while.
const FEWEST_TURNS: f64 = 12.0;

/// Bins of whole turns of a motor that runs steadily; its back-EMF is taken for the terminal voltage, which is near enough
/// for a stretch of few turns and averages out over many.
pub fn steady_turns(
    waveform: &Waveform,
    rows: &Range<usize>,
    turn_v_s: f64,
    most: usize,
) -> Option<Vec<Bin>> {
    let trace = waveform.voltage_v.as_ref()?;
    let values = &trace.values[rows.clone()];
    let seen = values.iter().filter(|v| v.is_finite());
    let (sum, count) = seen.fold((0.0, 0.0), |(s, n), v| (s + v.abs(), n + 1.0));
    let span = waveform.time.at(rows.end - 1)? - waveform.time.at(rows.start)?;
    let turns = span * sum / count / turn_v_s;
    if turns.is_nan() || turns < FEWEST_TURNS {
        return None;
    }
    let each = (turns / most as f64).ceil();
    Some(uniform(waveform, rows, (turns / each) as usize))
}

/// Bins of whole turns of an open, slowing motor: edges at equal steps of `∫ e dt`. Whatever is left at the end is one more.
pub fn open_turns(
    waveform: &Waveform,
    rows: &Range<usize>,
    turn_v_s: f64,
    most: usize,
) -> Option<Vec<Bin>> {
    let trace = waveform.voltage_v.as_ref()?;
    let step = |k: usize| Some(waveform.time.at(k + 1)? - waveform.time.at(k)?);
    // Volt-seconds from a row to the next.
    let passing = |k: usize| {
        let e = trace.values[k].abs();
        if e.is_finite() && k + 1 < rows.end {
            Some(e * step(k)?)
        } else {
            Some(0.0)
        }
    };
    let mut total = 0.0;
    for k in rows.clone() {
        total += passing(k)?;
    }
    let turns = total / turn_v_s;
    if turns < FEWEST_TURNS {
        return None;
    }
    let each = (turns / most as f64).ceil() * turn_v_s;
    let mut edges = vec![rows.start];
    let mut passed = 0.0;
    for k in rows.clone() {
        if passed >= each * edges.len() as f64 {
            edges.push(k);
        }
        passed += passing(k)?;
    }
    edges.push(rows.end);
    edges.dedup();
    Some(
        edges
            .windows(2)
            .filter_map(|w| bin(waveform, w[0], w[1]))
            .collect(),
    )
}

/// Single samples first, then bins that grow with the time since the beginning of the segment.
pub fn growing(waveform: &Waveform, rows: &Range<usize>) -> Vec<Bin> {
    let n = rows.len();
    let widest = (n / 150).max(1);
    let mut bins = Vec::new();
    let mut at = 0;
    while at < n {
        let width = (1 + at / 40).min(widest).min(n - at);
        bins.extend(bin(waveform, rows.start + at, rows.start + at + width));
        at += width;
    }
    bins
}

/// Marks the bins of a switched segment in which the current has died: a plateau at its lower end, where a triangle would
/// spend no more time than anywhere else.
pub fn mark_dead_current(bins: &mut [Bin]) {
    let mut currents: Vec<f64> = bins
        .iter()
        .map(|b| b.current_a)
        .filter(|i| i.is_finite())
        .collect();
    if currents.len() < 40 {
        return;
    }
    currents.sort_by(f64::total_cmp);
    let floor = currents[currents.len() / 20];
    let range = currents[currents.len() - 1] - floor;
    let on_plateau = |i: f64| (i - floor).abs() < 0.03 * range;
    let share = currents.iter().filter(|i| on_plateau(**i)).count() as f64 / currents.len() as f64;
    // Within 6 % of its range a triangle spends 6 % of its time.
    if share < 0.15 {
        return;
    }
    let dead: Vec<bool> = bins.iter().map(|b| on_plateau(b.current_a)).collect();
    for k in 0..bins.len() {
        let around = &dead[k.saturating_sub(1)..(k + 2).min(dead.len())];
        bins[k].conducting = !around.iter().all(|d| *d);
    }
}
