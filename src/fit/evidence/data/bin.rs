//! The mean of the samples in one stretch of time.

use crate::bench::{Trace, Waveform};

/// Mean of the samples in one stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Centre, s, on the capture's time axis.
    pub time_s: f64,
    /// Width, s.
    pub width_s: f64,
    /// Mean of the recorded voltage, V; NaN where it was not recorded.
    pub voltage_v: f64,
    /// Mean of the recorded current, A; NaN where it was not recorded.
    pub current_a: f64,
    /// Samples in the bin.
    pub samples: usize,
    /// False where a freewheeling diode has let the current die: the terminals then float on the back-EMF.
    pub conducting: bool,
}

/// The mean of these rows, half-open; `None` where the time axis does not say how wide they are.
pub fn bin(waveform: &Waveform, first: usize, end: usize) -> Option<Bin> {
    let mean = |values: Option<&[f64]>| {
        let (mut sum, mut count) = (0.0, 0usize);
        for &v in values.unwrap_or_default() {
            if v.is_finite() {
                sum += v;
                count += 1;
            }
        }
        if count > 0 {
            sum / count as f64
        } else {
            f64::NAN
        }
    };
    let slice = |t: &Option<Trace>| mean(t.as_ref().map(|t| &t.values[first..end]));
    let (start, last) = (waveform.time.at(first)?, waveform.time.at(end - 1)?);
    // A sample stands for the interval around it, so a bin of n samples is n steps wide.
    let step = if end < waveform.time.len() {
        waveform.time.at(end)? - last
    } else {
        last - waveform.time.at(end.checked_sub(2)?)?
    };
    Some(Bin {
        time_s: 0.5 * (start + last),
        width_s: last - start + step,
        voltage_v: slice(&waveform.voltage_v),
        current_a: slice(&waveform.current_a),
        samples: end - first,
        conducting: true,
    })
}
