//! Oscilloscope, probe, current sensor and meters: what their sheets state, and the errors one bench really has.

use crate::chance::Dice;
use crate::error::{DrawError, Part};
use crate::rig::{CurrentSensor, Line, Rig};

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
}

/// The instruments as their sheets state them. Limits are limits of error; relative ones are of reading.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Instruments {
    /// Bits of the converter over ten divisions.
    pub bits: u32,
    pub vertical_gain_limit: f64,
    /// Gain that each vertical range has for itself, on top. The sheet states one limit for both and nothing of ranges.
    pub range_gain_limit: f64,
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
            range_gain_limit: 0.0,
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
    pub fn validate(&self) -> Result<(), DrawError> {
        let part = Part("instruments");
        if !(6..=24).contains(&self.bits) {
            return part.fault("bits", f64::from(self.bits), "6 to 24");
        }
        part.not_negative(&[
            ("vertical_gain_limit", self.vertical_gain_limit),
            ("range_gain_limit", self.range_gain_limit),
            ("zero_limit_div", self.zero_limit_div),
            ("time_base_limit", self.time_base_limit),
            ("probe_gain_limit", self.probe_gain_limit),
            ("noise_div", self.noise_div),
            ("sensor_noise_a", self.sensor_noise_a),
            ("skew_limit_s", self.skew_limit_s),
        ])
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
            range_seed: dice.bits(),
        }
    }

    /// Read over true of one range of a channel, beside the channel's gain.
    pub(crate) fn range_gain(
        &self,
        errors: &InstrumentErrors,
        channel: &str,
        per_division: f64,
    ) -> f64 {
        let mut dice = Dice::new(errors.range_seed, &format!("{channel} {per_division}"));
        1.0 + self.law.draw(self.range_gain_limit, &mut dice)
    }

    /// Limit of a channel's gain as its sheet states it.
    pub(crate) fn stated_gain_limit(&self) -> f64 {
        libm::hypot(self.vertical_gain_limit, self.range_gain_limit)
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
    /// Seed of the gains of single ranges.
    pub range_seed: u64,
}

impl InstrumentErrors {
    pub fn voltage_gain(&self) -> f64 {
        self.scope_gain_v * self.probe_gain
    }

    pub fn current_gain(&self) -> f64 {
        self.scope_gain_i * self.sensor_gain
    }
}
