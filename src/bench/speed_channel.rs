//! A channel that shows how fast or how far the shaft turns.

use super::setup::Stated;

/// What such a channel records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SpeedSignal {
    /// A speed, or the volts of a tachogenerator.
    Speed,
    /// The counts of an encoder, or an angle.
    Position,
    /// The level of an optical or magnetic pickup.
    Pulses,
}

impl SpeedSignal {
    /// As sheets name it.
    pub fn name(self) -> &'static str {
        match self {
            SpeedSignal::Speed => "speed",
            SpeedSignal::Position => "position",
            SpeedSignal::Pulses => "pulses",
        }
    }
}

/// A channel of one capture beside voltage and current.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedChannel {
    /// Name in the sheet.
    pub name: String,
    /// What it records.
    pub signal: SpeedSignal,
    /// One value a row: rad/s or rad of the motor's shaft, `NaN` where missing; of pulses the level as recorded.
    pub values: Vec<f64>,
    /// Smallest step of `values`, likewise.
    pub step: f64,
    /// Angle of the motor's shaft from one pulse to the next, rad.
    pub pulse_rad: f64,
    /// Pulses in a turn, whose spacing may be uneven.
    pub pulses_per_turn: u32,
    /// Relative standard uncertainty of a tachogenerator's constant, of the hardware behind it, and of a gear between shaft and
    /// sensor.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the zero, rad/s.
    pub zero_uncertainty: f64,
    /// How late the channel shows the shaft, s.
    pub delay_s: Option<Stated>,
}
