//! What happens at the terminals and when, and the rows at which it is noted.

use crate::motor::Loop;

/// What happens at the terminals at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Action {
    /// A contact or transistor closes this loop.
    Close(Loop),
    /// A contact opens: arc, spark, then open terminals.
    Break,
    /// The current goes over to a diode in this loop, whose source is minus the forward drop, until it has stopped.
    Freewheel(Loop),
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Event {
    pub at_s: f64,
    pub action: Action,
}

/// Rows of a capture: shown time starts at `start_s`, true time runs by `1 + time_base`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rows {
    pub start_s: f64,
    pub step_s: f64,
    pub count: usize,
    pub time_base: f64,
}

impl Rows {
    pub fn true_time(&self, row: usize) -> f64 {
        (self.start_s + row as f64 * self.step_s) * (1.0 + self.time_base)
    }
}

/// True quantities at the rows.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tape {
    /// At the voltage channel, a shunt inside included.
    pub voltage_v: Vec<f64>,
    /// As the sensor sees it: after its bandwidth and the skew.
    pub current_a: Vec<f64>,
    pub speed_rad_s: Vec<f64>,
    pub peak_a: f64,
    /// When the contact truly let go for the last time, and when the current had stopped.
    pub current_stopped_s: Option<f64>,
    /// Instant at which the rotor came to rest.
    pub rest_s: Option<f64>,
}
