//! A capture in volts and amperes.

use crate::capture::TimeAxis;
use std::ops::Range;

/// One measured quantity over the rows of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Volts or amperes at the motor, scale and polarity applied; `NaN` where missing.
    pub values: Vec<f64>,
    /// Smallest step between codes seen, in the unit of `values`; `None` where the data look continuous.
    pub quantisation_step: Option<f64>,
    /// Rows where the value sits at the end of the converter's range or was marked overrange; may be empty where none is.
    pub clipped: Vec<bool>,
}

impl Trace {
    /// The flags of some rows, one a row; `None` where the trace does not have them all.
    pub fn clipped_in(&self, rows: Range<usize>) -> Option<Vec<bool>> {
        match self.clipped.is_empty() {
            true => (rows.end <= self.values.len()).then(|| vec![false; rows.len()]),
            false => self.clipped.get(rows).map(<[bool]>::to_vec),
        }
    }
}

/// A capture after scale, shunt, ratio and polarity were applied. Positive current flows into the motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    /// Times of the rows, s.
    pub time: TimeAxis,
    /// Voltage at the motor, V; `None` where it was not recorded.
    pub voltage_v: Option<Trace>,
    /// Current into the motor, A; `None` where it was not recorded.
    pub current_a: Option<Trace>,
}
