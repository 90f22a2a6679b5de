//! Whether the current of a start or of a locked step can be used: its rise sampled finely enough and shown by a fast probe, its supply not
//! limiting.
//!
//! Behind a closing contact the current of a winding begins with its full slope, `i ∝ 1 − e^(−t/τ)`, and reaches a tenth of its rise
//! after 0.105/1.00 = 0.105 of the time in which it reaches 63 %. A probe or filter with a time constant `τ_p` of its own begins flat: that share is
//! 0.17 for `τ_p = τ/10`, 0.21 for `τ/5`, 0.25 for `τ` (two lags in series). Iron losses and a falling back-EMF lower the share
//! or leave it; saturation raises it a little.

use crate::bench::CaptureWarning;
use crate::events::phases::contact::Closing;
use crate::events::remarks::Remark;
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Remarks on a start or a locked step whose last closing was settled at row `settled`.
pub(crate) fn check(
    view: &View,
    builder: &mut TimelineBuilder,
    closing: &Closing,
    settled: usize,
    end: usize,
) {
    let Some(i) = &view.i else { return };
    let from = closing.rows_before.last().copied().unwrap_or(settled);
    let zero = i.median(
        closing.first.unwrap_or(0).saturating_sub(200),
        closing.first.unwrap_or(0).max(1),
    );
    let zero = zero.unwrap_or(0.0);
    let Some((peak_row, peak)) = i.peak(from, end) else {
        return;
    };
    undersampled(view, builder, i, zero, from, peak);
    current_limited(view, builder, settled, peak_row, end);
}

/// The rise from 10 % to 63 % of the peak must span some rows, or the inductance is not seen.
fn undersampled(
    view: &View,
    builder: &mut TimelineBuilder,
    i: &Series,
    zero: f64,
    from: usize,
    peak: f64,
) {
    let reach = |part: f64| (from..i.len()).find(|&k| i.at(k) - zero > part * (peak - zero));
    let (Some(low), Some(high)) = (reach(0.1), reach(0.63)) else {
        return;
    };
    let rows = high - low + 1;
    if rows >= 3 || view.step_s <= 0.0 {
        return;
    }
    builder
        .capture_warnings
        .push(CaptureWarning::RiseBetweenSamples);
    builder.remarks.push(Remark::RiseBetweenSamples {
        rows,
        step_s: view.step_s,
    });
}

/// A supply in current limit: the current stays while the voltage, pulled down, comes back.
fn current_limited(
    view: &View,
    builder: &mut TimelineBuilder,
    settled: usize,
    peak_row: usize,
    end: usize,
) {
    let (Some(v), Some(i)) = (&view.v, &view.i) else {
        return;
    };
    let Some(top) = v.quantile(settled, end, 0.9) else {
        return;
    };
    // Block means over the stretch in which the voltage is pulled down.
    let size = ((end - settled) / 200).max(1);
    let mean = |x: &Series, k: usize| {
        let rows = x.rows(k, k + size);
        rows.iter().sum::<f64>() / rows.len().max(1) as f64
    };
    let blocks: Vec<(usize, f64, f64)> = (settled..end.saturating_sub(size))
        .step_by(size)
        .map(|k| (k, mean(v, k), mean(i, k)))
        .skip_while(|b| b.0 < peak_row && b.1 > 0.85 * top)
        .take_while(|b| b.1 < 0.93 * top)
        .collect();
    if blocks.len() < 4 {
        return;
    }
    let lowest = blocks.iter().fold(f64::INFINITY, |a, b| a.min(b.1));
    let half = blocks.len() / 2;
    let middle =
        |part: &[(usize, f64, f64)]| part.iter().map(|b| b.2).sum::<f64>() / part.len() as f64;
    let (early, late) = (middle(&blocks[..half]), middle(&blocks[half..]));
    if lowest < 0.8 * top && (early - late).abs() < 0.2 * early.max(late) {
        builder.remarks.push(Remark::CurrentLimited {
            plateau_a: 0.5 * (early + late),
            duration_s: blocks.len() as f64 * size as f64 * view.step_s,
            lowest_v: lowest,
            supply_v: top,
        });
    }
}

/// Share of the time to 63 % that the first tenth may take.
const LARGEST_SHARE: f64 = 0.19;
/// Rows from the make to 63 % below which the share is not resolved.
const LEAST_ROWS: f64 = 12.0;
/// What the instant of the make may be off by, rows.
const ROW_ERROR: f64 = 0.7;

/// Tells a rise that begins flat. `make`: row of the last closing, fractional; the current must begin near zero there.
pub(crate) fn check_rise(
    view: &View,
    builder: &mut TimelineBuilder,
    closing: f64,
    peak: (usize, f64),
) {
    let (Some(v), Some(i)) = (&view.v, &view.i) else {
        return;
    };
    let row = closing.floor() as usize;
    let Some(begin) = i.median(row.saturating_sub(4), row + 1) else {
        return;
    };
    let height = peak.1 - begin;
    if begin.abs() > 0.1 * peak.1 || 0.1 * height < 5.0 * i.sigma {
        return;
    }
    let reach = |part: f64| crossing(i, row, peak.0, begin + part * height).map(|at| at - closing);
    let (Some(tenth), Some(most)) = (reach(0.1), reach(0.632)) else {
        return;
    };
    if most < LEAST_ROWS || !steps(v, row, most) {
        return;
    }
    let share = tenth / most;
    if share <= LARGEST_SHARE + ROW_ERROR / most {
        return;
    }
    builder.remarks.push(Remark::SlowRise {
        tenth_s: tenth * view.step_s,
        rise_s: most * view.step_s,
        share,
    });
}

/// Fractional row at which the current, needles left aside, first reaches `level`.
fn crossing(i: &Series, from: usize, until: usize, level: f64) -> Option<f64> {
    let at = (from + 1..=until.min(i.len() - 1)).find(|&k| i.median3(k) >= level)?;
    let (before, after) = (i.median3(at - 1), i.median3(at));
    let part = if after > before {
        ((level - before) / (after - before)).clamp(0.0, 1.0)
    } else {
        1.0
    };
    Some(at as f64 - 1.0 + part)
}

/// True when the voltage is a step: at its level within a tenth of the rise. Behind a voltage that grows slowly every
/// current begins flat.
fn steps(v: &Series, row: usize, rise_rows: f64) -> bool {
    let at = |part: f64| row + 1 + (part * rise_rows) as usize;
    let early = v.mean(at(0.0), at(0.1) + 1);
    let later = v.mean(at(0.3), at(0.7) + 1);
    early > 0.85 * later
}
