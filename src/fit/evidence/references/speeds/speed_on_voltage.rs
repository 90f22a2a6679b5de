//! A speed read at a stated terminal voltage: the back-EMF there follows from the model.
//!
//! ```text
//! V = R i + V_b tanh(i/I_b) + (1 − a i) e        (1 − a i) i = I_c + G_v e + W e²
//! ```
//! With a stated current the first line alone gives e, under any load; without one the motor runs freely and both hold.

use crate::fit::unknowns::{Entry, Layout, STEADY_KINDS, motor};
use nalgebra::DVector;

/// The state in which a speed was read.
#[derive(Clone, Debug)]
pub struct OnVoltage {
    /// Terminal voltage, V.
    pub voltage_v: f64,
    /// Current, A; absent for a motor that runs freely.
    pub current_a: Option<f64>,
    /// Gain errors of the channel that recorded the voltage; none of a meter's.
    gain: Vec<(Entry, f64)>,
    /// Places of [`STEADY_KINDS`] in the parameter vector.
    entries: [Entry; STEADY_KINDS.len()],
}

impl OnVoltage {
    /// `None` where the layout has no motor yet.
    pub fn new(layout: &Layout, voltage_v: f64, current_a: Option<f64>) -> Option<Self> {
        let found: Vec<Entry> = STEADY_KINDS
            .iter()
            .map(|kind| layout.find(kind))
            .collect::<Option<_>>()?;
        Some(OnVoltage {
            voltage_v: voltage_v.abs(),
            current_a: current_a.map(f64::abs),
            gain: Vec::new(),
            entries: found.try_into().ok()?,
        })
    }

    /// The same for a voltage that a channel with these gain errors recorded.
    pub fn recorded_with(mut self, gain: &[(Entry, f64)]) -> Self {
        self.gain = gain.to_vec();
        self
    }

    /// The back-EMF, V, and its derivative in each entry; `None` where the rotor would stand still.
    pub fn back_emf(&self, x: &DVector<f64>) -> Option<(f64, Vec<(Entry, f64)>)> {
        let p = motor(self.entries.map(|k| x[k]));
        let gain = 1.0
            + self
                .gain
                .iter()
                .map(|&(k, factor)| factor * x[k])
                .sum::<f64>();
        let voltage_v = self.voltage_v / gain;
        let (drop, reaction) = (p.brush_drop_v, p.armature_reaction_per_a);
        let r = p.terminal_resistance_ohm;
        let contact = |i: f64| (i / p.brush_scale_a).tanh();
        let (i, e) = match self.current_a {
            Some(i) => {
                let left = voltage_v - r * i - drop * contact(i);
                (i, left / (1.0 - reaction * i))
            }
            None => {
                let steady = p.no_load(voltage_v)?;
                (steady.current_a, steady.back_emf_v)
            }
        };
        if e <= 0.0 || !e.is_finite() {
            return None;
        }
        let t = contact(i);
        let slope = 1.0 - t * t;
        // Derivatives of both lines, left side less right, by each entry; then by i and e.
        let by_scale = -drop * slope * i / p.brush_scale_a;
        let voltage = [r * i, 0.0, 0.0, 0.0, t, by_scale, -i * e];
        let torque = [0.0, -1.0, -e, -e * e, 0.0, 0.0, -i * i];
        let voltage_by_i = r + drop * slope / p.brush_scale_a - reaction * e;
        let voltage_by_e = 1.0 - reaction * i;
        let torque_by_i = 1.0 - 2.0 * reaction * i;
        let torque_by_e = -p.viscous_conductance_s - 2.0 * p.windage_a_per_v2 * e;
        let moved = |voltage: f64, torque: f64| match self.current_a {
            Some(_) => -voltage / voltage_by_e,
            None => {
                let determinant = voltage_by_i * torque_by_e - voltage_by_e * torque_by_i;
                (voltage * torque_by_i - torque * voltage_by_i) / determinant
            }
        };
        let by_motor =
            (0..self.entries.len()).map(|k| (self.entries[k], moved(voltage[k], torque[k])));
        let by_gain = voltage_v / gain * moved(1.0, 0.0);
        let by_channel = self.gain.iter().map(|&(k, factor)| (k, factor * by_gain));
        let gradient = by_motor.chain(by_channel).collect();
        Some((e, gradient))
    }

    /// Volts of back-EMF that an ampere more or less of the stated current stands for, Ω, at about this resistance.
    pub fn per_ampere(&self, resistance_ohm: f64) -> f64 {
        if self.current_a.is_some() {
            resistance_ohm
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::unknowns::Parameter;
    use approx::assert_relative_eq;

    fn layout() -> Layout {
        let mut layout = Layout::default();
        for (kind, at) in
            STEADY_KINDS
                .iter()
                .zip([3.2f64.ln(), 0.13, 3.4e-3, 2e-5, 0.8, 0.06f64.ln(), 0.003])
        {
            layout.add(Parameter::free(kind.clone(), at));
        }
        layout
    }

    /// The gradient against central differences, and the two lines themselves.
    #[test]
    fn the_back_emf_satisfies_both_lines_and_has_their_derivatives() {
        let layout = layout();
        let x = layout.start();
        for current_a in [None, Some(1.5)] {
            let on = OnVoltage::new(&layout, 24.0, current_a).unwrap();
            let (e, gradient) = on.back_emf(&x).unwrap();
            let torque = |i: f64| (1.0 - 0.003 * i) * i;
            let needed = 0.13 + 3.4e-3 * e + 2e-5 * e * e;
            // A current near the friction's, by the voltage line.
            let i = current_a.unwrap_or_else(|| {
                let mut i = needed;
                for _ in 0..20 {
                    i = needed / (1.0 - 0.003 * i);
                }
                i
            });
            if current_a.is_none() {
                assert_relative_eq!(torque(i), needed, max_relative = 1e-9);
            }
            let volts = 3.2 * i + 0.8 * (i / 0.06).tanh() + (1.0 - 0.003 * i) * e;
            assert_relative_eq!(volts, 24.0, max_relative = 1e-9);
            for (entry, by) in gradient {
                let h = 1e-5 * x[entry].abs();
                let moved = |h: f64| {
                    let mut x = x.clone();
                    x[entry] += h;
                    on.back_emf(&x).unwrap().0
                };
                let difference = (moved(h) - moved(-h)) / (2.0 * h);
                assert_relative_eq!(by, difference, max_relative = 1e-5, epsilon = 1e-7);
            }
        }
    }

    #[test]
    fn a_held_rotor_has_no_back_emf() {
        let layout = layout();
        assert!(
            OnVoltage::new(&layout, 0.9, None)
                .unwrap()
                .back_emf(&layout.start())
                .is_none()
        );
    }
}
