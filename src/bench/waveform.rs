//! A capture in volts and amperes.

use crate::capture::TimeAxis;

/// One measured quantity over the rows of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Volts or amperes at the motor, scale and polarity applied; `NaN` where missing.
    pub values: Vec<f64>,
    /// Smallest step between codes seen, in the unit of `values`; `None` where the data look continuous.
    pub quantisation_step: Option<f64>,
    /// Rows where the value sits at the end of the converter's range or was marked overrange.
    pub clipped: Vec<bool>,
}

/// A capture after scale, shunt, ratio and polarity were applied. Positive current flows into the motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    pub time: TimeAxis,
    pub voltage_v: Option<Trace>,
    pub current_a: Option<Trace>,
}
