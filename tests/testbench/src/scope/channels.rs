//! Both channels of a capture as the scope shows them: range, gain, zero, pick-up, noise, codes.

use super::instruments::{InstrumentErrors, Instruments};
use super::screen::Vertical;
use crate::bench::Waveform;
use crate::chance::Dice;
use crate::record::{Recording, ShotKind};
use crate::rig::Rig;
use crate::scenario::Scenario;
use std::f64::consts::TAU;

/// Averaging over the sampling interval gives four bits more.
fn shown_bits(instruments: &Instruments) -> u32 {
    if instruments.high_resolution {
        instruments.bits + 4
    } else {
        instruments.bits
    }
}

/// What the person makes fit on the screen: the voltage to be expected, kicks left to run off, and the current seen.
fn ranges(kind: ShotKind, rig: &Rig, recording: &Recording) -> ((f64, f64), (f64, f64)) {
    let supply = rig.supply_v;
    let voltage = match kind {
        ShotKind::TurnOffUnclamped => (-9.0 * supply, 6.0 * supply),
        ShotKind::TurnOff | ShotKind::Pwm | ShotKind::PwmLocked => {
            (-1.5 * rig.diode.forward_v, 1.03 * supply)
        }
        _ => (0.0, 1.03 * supply),
    };
    let (low, high) = recording
        .tape
        .current_a
        .iter()
        .fold((0.0_f64, 0.0_f64), |(low, high), &value| {
            (low.min(value), high.max(value))
        });
    let current = if high > low {
        (1.03 * low, 1.03 * high)
    } else {
        (0.0, 0.1 * rig.supply_v)
    };
    (voltage, current)
}

/// Both channels of one capture.
pub(crate) struct Screens<'a> {
    pub instruments: &'a Instruments,
    pub errors: &'a InstrumentErrors,
    pub voltage_vertical: Vertical,
    pub current_vertical: Vertical,
    pub zeros: (f64, f64),
    pub range_gains: [f64; 2],
}

impl<'a> Screens<'a> {
    /// Sets both verticals as a person would for what `recording` holds; the zeros are drawn with that.
    pub fn set(
        kind: ShotKind,
        scenario: &'a Scenario,
        errors: &'a InstrumentErrors,
        recording: &Recording,
        dice: &mut Dice,
    ) -> Self {
        let instruments = &scenario.instruments;
        let bits = shown_bits(instruments);
        let (voltage, current) = ranges(kind, &scenario.rig, recording);
        let voltage_vertical = Vertical::fit(voltage.0, voltage.1, bits);
        let current_vertical = Vertical::fit(current.0, current.1, bits);
        let zeros = instruments.zeros(
            errors,
            voltage_vertical.per_division,
            current_vertical.per_division,
            dice,
        );
        let range_gain = |channel: &str, vertical: &Vertical| {
            instruments.range_gain(errors, channel, vertical.per_division)
        };
        let range_gains = [
            range_gain("voltage", &voltage_vertical),
            range_gain("current", &current_vertical),
        ];
        Screens {
            instruments,
            errors,
            voltage_vertical,
            current_vertical,
            zeros,
            range_gains,
        }
    }

    pub fn show(&self, recording: &Recording, dice: &mut Dice) -> Waveform {
        let quieter = if self.instruments.high_resolution {
            0.35
        } else {
            1.0
        };
        let gain_v = self.errors.voltage_gain() * self.range_gains[0];
        let hum_phase = dice.uniform(0.0, TAU);
        let voltage: Vec<f64> = recording
            .tape
            .voltage_v
            .iter()
            .enumerate()
            .map(|(row, value)| {
                let hum = self.instruments.hum.map_or(0.0, |hum| {
                    let angle = TAU * hum.frequency_hz * recording.rows.true_time(row) + hum_phase;
                    hum.amplitude_v * libm::sin(angle)
                });
                (value + hum) * gain_v + self.zeros.0
            })
            .collect();
        let gain_i = self.errors.current_gain() * self.range_gains[1];
        let current: Vec<f64> = recording
            .tape
            .current_a
            .iter()
            .map(|value| value * gain_i + self.zeros.1)
            .collect();
        let noise_v = quieter * self.instruments.noise_div * self.voltage_vertical.per_division;
        let noise_i = quieter
            * libm::hypot(
                self.instruments.noise_div * self.current_vertical.per_division,
                self.instruments.sensor_noise_a,
            );
        Waveform {
            start_s: recording.rows.start_s,
            step_s: recording.rows.step_s,
            voltage_v: Some(self.voltage_vertical.trace(&voltage, noise_v, dice)),
            current_a: self.current_vertical.trace(&current, noise_i, dice),
        }
    }
}
