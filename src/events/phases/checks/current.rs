//! Whether the current of a start or of a locked step can be used: its rise sampled finely enough, its supply not limiting.

use crate::bench::CaptureWarning;
use crate::events::phases::contact::Closing;
use crate::events::remarks::Remark;
use crate::events::timeline_builder::TimelineBuilder;
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
