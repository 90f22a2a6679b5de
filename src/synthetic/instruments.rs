//! Oscilloscope, probe, current sensor and meters: what their sheets state, and the errors one bench really has.

use super::SyntheticError;
use super::chance::Dice;
use super::rig::{CurrentSensor, Line, Rig};
use crate::bench::{ChannelChain, Instrument};

/// Divisions of the screen from bottom to top; the converter's codes cover them exactly.
pub const DIVISIONS: f64 = 10.0;

/// How an error lies inside its stated limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum ErrorLaw {
    /// Normal, the limit being two standard deviations, cut off at the limit.
    TruncatedNormal,
    /// Any value inside the limit alike.
    Rectangular,
}

impl ErrorLaw {
    fn draw(self, limit: f64, dice: &mut Dice) -> f64 {
        match self {
            ErrorLaw::Rectangular => dice.uniform(-limit, limit),
            ErrorLaw::TruncatedNormal => loop {
                let value = 0.5 * limit * dice.normal();
                if value.abs() <= limit {
                    return value;
                }
            },
        }
    }

    /// Standard uncertainty a bench sheet states for `limit`.
    pub fn standard_uncertainty(self, limit: f64) -> f64 {
        match self {
            ErrorLaw::TruncatedNormal => 0.5 * limit,
            ErrorLaw::Rectangular => limit / 3.0_f64.sqrt(),
        }
    }
}

/// The instruments as their sheets state them. Limits are limits of error; relative ones are of reading.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Instruments {
    /// Bits of the converter over ten divisions.
    pub bits: u32,
    pub vertical_gain_limit: f64,
    /// Zero of a scope channel, in divisions.
    pub zero_limit_div: f64,
    /// True where one zero error, in divisions, holds for all captures of a channel; else each capture has its own.
    pub zero_shared: bool,
    pub time_base_limit: f64,
    pub probe_gain_limit: f64,
    /// Noise of the scope's front end, divisions rms.
    pub noise_div: f64,
    /// Noise of the current sensor, A rms.
    pub sensor_noise_a: f64,
    /// Largest delay of the current channel against the voltage channel, either way, s.
    pub skew_limit_s: f64,
    /// Pick-up in the voltage channel.
    pub hum: Option<Line>,
    /// Mean over the sampling interval with four more bits, instead of a sample.
    pub high_resolution: bool,
    /// Tachometer, relative limit; its last digit is 1 rpm. Absent where there is none.
    pub tachometer_limit: Option<f64>,
    /// Ohmmeter, relative limit. Absent where there is none.
    pub ohmmeter_limit: Option<f64>,
    /// Leads of the ohmmeter.
    pub ohmmeter_leads_ohm: f64,
    pub law: ErrorLaw,
    /// True where the errors are known to be none: the bench then names no instruments.
    pub perfect: bool,
}

impl Instruments {
    /// Perfect but for white noise: no gain, zero, time or skew error, 24 bits.
    pub fn clean(&self) -> Instruments {
        Instruments {
            bits: 24,
            vertical_gain_limit: 0.0,
            zero_limit_div: 0.0,
            time_base_limit: 0.0,
            probe_gain_limit: 0.0,
            skew_limit_s: 0.0,
            hum: None,
            high_resolution: false,
            perfect: true,
            ..self.clone()
        }
    }

    /// Checks that the numbers describe instruments.
    ///
    /// # Errors
    /// Names the first field that does not.
    pub fn validate(&self) -> Result<(), SyntheticError> {
        if !(6..=24).contains(&self.bits) {
            let bits = f64::from(self.bits);
            return Err(SyntheticError::instruments("bits", bits, "6 to 24"));
        }
        for (field, value) in [
            ("vertical_gain_limit", self.vertical_gain_limit),
            ("zero_limit_div", self.zero_limit_div),
            ("time_base_limit", self.time_base_limit),
            ("probe_gain_limit", self.probe_gain_limit),
            ("noise_div", self.noise_div),
            ("sensor_noise_a", self.sensor_noise_a),
            ("skew_limit_s", self.skew_limit_s),
        ] {
            if !(value >= 0.0 && value.is_finite()) {
                return Err(SyntheticError::instruments(
                    field,
                    value,
                    "zero or a positive number",
                ));
            }
        }
        Ok(())
    }

    pub(crate) fn draw(&self, rig: &Rig, dice: &mut Dice) -> InstrumentErrors {
        let law = self.law;
        let mut gain = |limit: f64| 1.0 + law.draw(limit, dice);
        let (scope_gain_v, scope_gain_i) = (
            gain(self.vertical_gain_limit),
            gain(self.vertical_gain_limit),
        );
        let probe_gain = gain(self.probe_gain_limit);
        let (sensor_limit, sensor_zero_limit) = match (rig.sensor, self.perfect) {
            (_, true) => (0.0, 0.0),
            (CurrentSensor::Shunt { tolerance, .. }, _) => (tolerance, 0.0),
            (
                CurrentSensor::Clamp {
                    gain_limit,
                    zero_limit_a,
                    ..
                },
                _,
            ) => (gain_limit, zero_limit_a),
        };
        let sensor_gain = gain(sensor_limit);
        InstrumentErrors {
            scope_gain_v,
            scope_gain_i,
            probe_gain,
            sensor_gain,
            time_base: law.draw(self.time_base_limit, dice),
            skew_s: law.draw(self.skew_limit_s, dice),
            zero_v_div: law.draw(self.zero_limit_div, dice),
            zero_i_div: law.draw(self.zero_limit_div, dice),
            sensor_zero_a: law.draw(sensor_zero_limit, dice),
        }
    }

    /// Zero errors of one capture, V or A: of the voltage channel and of the current channel.
    pub(crate) fn zeros(
        &self,
        errors: &InstrumentErrors,
        volts_per_div: f64,
        amperes_per_div: f64,
        dice: &mut Dice,
    ) -> (f64, f64) {
        let (v_div, i_div) = if self.zero_shared {
            (errors.zero_v_div, errors.zero_i_div)
        } else {
            (
                self.law.draw(self.zero_limit_div, dice),
                self.law.draw(self.zero_limit_div, dice),
            )
        };
        (
            v_div * volts_per_div,
            i_div * amperes_per_div + errors.sensor_zero_a,
        )
    }

    /// The instruments as a bench sheet lists them: scope, probe, current sensor. None where they are perfect.
    pub(crate) fn sheet(&self, rig: &Rig) -> Vec<Instrument> {
        if self.perfect {
            return Vec::new();
        }
        let of = |limit| self.law.standard_uncertainty(limit);
        let (sensor_name, tolerance, bandwidth_hz) = match rig.sensor {
            CurrentSensor::Shunt { tolerance, .. } => ("shunt", tolerance, None),
            CurrentSensor::Clamp {
                gain_limit,
                bandwidth_hz,
                ..
            } => ("clamp", gain_limit, Some(bandwidth_hz)),
        };
        let instrument = |name: &str, gain: f64| Instrument {
            name: name.to_owned(),
            gain_relative_uncertainty: gain,
            bandwidth_hz: None,
            skew_s: None,
            time_base_relative_uncertainty: None,
            gain_per_channel: false,
        };
        vec![
            Instrument {
                time_base_relative_uncertainty: Some(of(self.time_base_limit)),
                gain_per_channel: true,
                ..instrument("scope", of(self.vertical_gain_limit))
            },
            instrument("probe", of(self.probe_gain_limit)),
            Instrument {
                bandwidth_hz,
                ..instrument(sensor_name, of(tolerance))
            },
        ]
    }

    /// The chains of the voltage and the current channel for one capture.
    pub(crate) fn chains(
        &self,
        rig: &Rig,
        volts_per_div: f64,
        amperes_per_div: f64,
    ) -> (ChannelChain, ChannelChain) {
        let of = |limit| self.law.standard_uncertainty(limit);
        let (mut voltage_zero, mut current_zero) = (
            of(self.zero_limit_div) * volts_per_div,
            of(self.zero_limit_div) * amperes_per_div,
        );
        if let CurrentSensor::Clamp { zero_limit_a, .. } = rig.sensor {
            current_zero = libm::hypot(current_zero, of(zero_limit_a));
        }
        if self.perfect {
            // Known zeros, yet no division by zero for whoever weights with them.
            (voltage_zero, current_zero) = (1e-6 * volts_per_div, 1e-6 * amperes_per_div);
        }
        let chain = |instruments: &[usize], column: &str, zero_uncertainty| ChannelChain {
            instruments: if self.perfect {
                Vec::new()
            } else {
                instruments.to_vec()
            },
            column: column.to_owned(),
            zero_uncertainty,
        };
        (
            chain(&[0, 1], "CH1", voltage_zero),
            chain(&[0, 2], "CH2", current_zero),
        )
    }
}

/// The errors of the instruments on one bench. A gain is what was read over what was there.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct InstrumentErrors {
    pub scope_gain_v: f64,
    pub scope_gain_i: f64,
    pub probe_gain: f64,
    /// For a shunt: its resistance over the nominal one.
    pub sensor_gain: f64,
    /// True time over shown time, minus 1.
    pub time_base: f64,
    /// Delay of the current channel against the voltage channel, s.
    pub skew_s: f64,
    pub zero_v_div: f64,
    pub zero_i_div: f64,
    pub sensor_zero_a: f64,
}

impl InstrumentErrors {
    pub fn voltage_gain(&self) -> f64 {
        self.scope_gain_v * self.probe_gain
    }

    pub fn current_gain(&self) -> f64 {
        self.scope_gain_i * self.sensor_gain
    }
}
