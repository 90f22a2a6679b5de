//! A waveform as the event finders see it: holes bridged, voltage and current positive while the source drives.

use super::quantile::quantile;
use super::series::Series;
use crate::bench::{Trace, Waveform};
use crate::capture::TimeAxis;

/// Prepared traces of one waveform.
pub(crate) struct View<'a> {
    pub time: &'a TimeAxis,
    pub rows: usize,
    /// Sampling interval in s: the median step where times are listed, 0 where time is absent.
    pub step_s: f64,
    /// Values as recorded, holes and polarity as they stand.
    pub raw_v: Option<&'a [f64]>,
    pub raw_i: Option<&'a [f64]>,
    pub v: Option<Series<'a>>,
    pub i: Option<Series<'a>>,
}

impl<'a> View<'a> {
    pub fn new(waveform: &'a Waveform) -> View<'a> {
        let values = |trace: &'a Option<Trace>| trace.as_ref().map(|t| t.values.as_slice());
        View {
            time: &waveform.time,
            rows: waveform.time.len(),
            step_s: sampling_interval(&waveform.time),
            raw_v: values(&waveform.voltage_v),
            raw_i: values(&waveform.current_a),
            v: waveform.voltage_v.as_ref().and_then(Series::new),
            i: waveform.current_a.as_ref().and_then(Series::new),
        }
    }

    /// Rows that every present trace covers.
    pub fn len(&self) -> usize {
        [self.v.as_ref(), self.i.as_ref()]
            .into_iter()
            .flatten()
            .map(Series::len)
            .min()
            .unwrap_or(0)
            .min(self.rows)
    }

    /// The voltage with its sign turned.
    pub fn turn_voltage(&mut self) {
        self.v = self.v.take().map(Series::negated);
    }

    /// The current with its sign turned.
    pub fn turn_current(&mut self) {
        self.i = self.i.take().map(Series::negated);
    }

    /// Time in s at a fractional row; `None` where time is absent.
    pub fn time_at(&self, row: f64) -> Option<f64> {
        let last = self.rows.checked_sub(1)?;
        let below = (row.max(0.0).floor() as usize).min(last);
        let above = (below + 1).min(last);
        let (t0, t1) = (self.time.at(below)?, self.time.at(above)?);
        Some(t0 + (row - below as f64).clamp(0.0, 1.0) * (t1 - t0))
    }

    /// Rows that make up `seconds`, at least `least`; `least` where time is absent.
    pub fn rows_in(&self, seconds: f64, least: usize) -> usize {
        if self.step_s > 0.0 {
            ((seconds / self.step_s).round() as usize).max(least)
        } else {
            least
        }
    }
}

/// Median step of the time axis in s; 0 where time is absent or has fewer than two rows.
pub(crate) fn sampling_interval(time: &TimeAxis) -> f64 {
    match time {
        TimeAxis::Uniform { step_s, .. } => step_s.abs(),
        TimeAxis::Listed(times) => {
            let stride = (times.len() / 50_000).max(1);
            let steps: Vec<f64> = times
                .windows(2)
                .step_by(stride)
                .map(|w| w[1] - w[0])
                .collect();
            quantile(&steps, 0.5).unwrap_or(0.0)
        }
        TimeAxis::Absent { .. } => 0.0,
    }
}
