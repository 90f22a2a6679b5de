//! Ripple and noise of single samples over the rows of a segment.

use crate::bench::Waveform;
use crate::stats::robust::noise_from_differences;
use std::borrow::Cow;
use std::ops::Range;

/// Ripple of the current over the last quarter of a driven segment: the scatter about its straight line less the converter's
/// noise, A.
pub fn current_ripple(waveform: &Waveform, rows: &Range<usize>) -> f64 {
    let Some(trace) = &waveform.current_a else {
        return 0.0;
    };
    let values = finite(&trace.values[rows.end - rows.len() / 4..rows.end]);
    let n = values.len() as f64;
    if n < 16.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    let centre = 0.5 * (n - 1.0);
    let (mut sxy, mut sxx, mut syy) = (0.0, 0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let x = k as f64 - centre;
        sxy += x * (v - mean);
        sxx += x * x;
        syy += (v - mean) * (v - mean);
    }
    let scatter = (syy - sxy * sxy / sxx) / n;
    let noise = values
        .windows(2)
        .map(|w| (w[1] - w[0]).powi(2))
        .sum::<f64>()
        / (2.0 * n);
    (scatter - noise).max(0.0).sqrt()
}

/// Row in which a current begins that has rested since the first of some rows, for `rest_rows` at least. Rest is what the first of them show:
/// nothing beyond a twentieth of what follows.
pub fn first_current(waveform: &Waveform, rows: &Range<usize>, rest_rows: usize) -> Option<usize> {
    const QUIET: f64 = 0.05;
    let values = waveform.current_a.as_ref()?.values.get(rows.clone())?;
    let size = |values: &[f64]| values.iter().fold(0.0_f64, |most, i| most.max(i.abs()));
    let (rest, all) = (size(values.get(..rest_rows)?), size(values));
    let limit = (QUIET * all).max(2.0 * rest);
    let first = values.iter().position(|i| i.abs() > limit)?;
    (rest < QUIET * all).then_some(rows.start + first)
}

/// The finite values; a long record is copied only where it has holes.
fn finite(values: &[f64]) -> Cow<'_, [f64]> {
    if values.iter().all(|v| v.is_finite()) {
        Cow::Borrowed(values)
    } else {
        values.iter().copied().filter(|v| v.is_finite()).collect()
    }
}

/// Noise of one sample of the voltage over some rows, a converter's step included, V.
pub fn sample_noise_v(waveform: &Waveform, rows: &Range<usize>) -> f64 {
    let Some(trace) = &waveform.voltage_v else {
        return 0.0;
    };
    let values = finite(&trace.values[rows.clone()]);
    let rounding = trace.quantisation_step.unwrap_or(0.0) / 12f64.sqrt();
    noise_from_differences(&values)
        .unwrap_or(0.0)
        .hypot(rounding)
}
