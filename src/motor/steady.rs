//! Steady states on a voltage: rotor held, and running freely.
//!
//! ```text
//! V = R i + V_b tanh(i/I_b) + (1 − a i) e        (1 − a i) i = I_c + G_v e + W e²
//! ```
//! The model of [`TerminalParameters`] with both rates zero; e = K ω.

use super::TerminalParameters;

/// A steady state as the terminals see it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    pub current_a: f64,
    /// K ω, V.
    pub back_emf_v: f64,
    /// Torque left for the shaft over K, A.
    pub torque_current_a: f64,
}

impl TerminalParameters {
    /// Rotor held on `voltage_v` (positive, V). The winding keeps its temperature.
    pub fn stalled(&self, voltage_v: f64) -> Steady {
        let most = voltage_v / self.terminal_resistance_ohm;
        let current_a = root(0.0, most, |i| self.drop_v(i) - voltage_v);
        Steady {
            current_a,
            back_emf_v: 0.0,
            torque_current_a: self.shaft_a(current_a, 0.0),
        }
    }

    /// Running freely on `voltage_v` (positive, V); `None` where friction holds the rotor.
    pub fn running_freely(&self, voltage_v: f64) -> Option<Steady> {
        let stalled = self.stalled(voltage_v);
        if stalled.torque_current_a.is_nan() || stalled.torque_current_a <= 0.0 {
            return None;
        }
        let emf = |i: f64| (voltage_v - self.drop_v(i)) / (1.0 - self.armature_reaction_per_a * i);
        let current_a = root(0.0, stalled.current_a, |i| self.shaft_a(i, emf(i)));
        Some(Steady {
            current_a,
            back_emf_v: emf(current_a),
            torque_current_a: 0.0,
        })
    }

    /// What a current drops over winding and brushes, V.
    fn drop_v(&self, current_a: f64) -> f64 {
        self.terminal_resistance_ohm * current_a
            + self.brush_drop_v * (current_a / self.brush_scale_a).tanh()
    }

    /// Torque at the shaft over K, A.
    fn shaft_a(&self, current_a: f64, back_emf_v: f64) -> f64 {
        (1.0 - self.armature_reaction_per_a * current_a) * current_a
            - self.friction_current_a
            - self.viscous_conductance_s * back_emf_v
            - self.windage_a_per_v2 * back_emf_v * back_emf_v
    }
}

/// Root of a function that is negative at `low` and positive at `high`, by the Illinois form of false position (M. Dowell,
/// P. Jarratt, BIT 11 (1971) 168-174); one end where it changes no sign.
fn root(low: f64, high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut at_a, mut at_b) = (of(a), of(b));
    if at_a >= 0.0 {
        return a;
    }
    if at_b <= 0.0 {
        return b;
    }
    for _ in 0..100 {
        let c = b - at_b * (b - a) / (at_b - at_a);
        let at_c = of(c);
        if at_c == 0.0 || (b - a).abs() <= 4.0 * f64::EPSILON * b.abs() {
            return c;
        }
        if (at_c > 0.0) == (at_b > 0.0) {
            at_a *= 0.5;
        } else {
            (a, at_a) = (b, at_b);
        }
        if (c - b).abs() <= 2.0 * f64::EPSILON * c.abs() {
            return c;
        }
        (b, at_b) = (c, at_c);
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn val_rated_machine_at_stall() {
        // Modelica Standard Library, example DCPM_withLosses, machine 1: 100 V over 0.05 Ω, stall current 2000 A.
        let machine = TerminalParameters::plain(0.05, 1e-3, 1.0, 0.0, 0.0);
        let stalled = machine.stalled(100.0);
        assert_relative_eq!(stalled.current_a, 2000.0, max_relative = 1e-12);
        let free = machine.running_freely(100.0).expect("turns");
        assert_relative_eq!(free.back_emf_v, 100.0, max_relative = 1e-12);
    }

    #[test]
    fn val_control_tutorial_speed_gain() {
        // Control Tutorials (Michigan, Carnegie Mellon, Detroit Mercy), DC motor speed: K 0.01, R 1, b 0.1; 1 V ends at
        // 0.0999000999 rad/s.
        let k = 0.01;
        let motor = TerminalParameters::plain(1.0, 0.5, 0.01 / (k * k), 0.0, 0.1 / (k * k));
        let free = motor.running_freely(1.0).expect("turns");
        assert_relative_eq!(free.back_emf_v / k, 0.099_900_099_9, max_relative = 1e-9);
    }

    #[test]
    fn both_equations_hold_with_every_term() {
        let motor = TerminalParameters {
            windage_a_per_v2: 4e-4,
            brush_drop_v: 0.8,
            brush_scale_a: 0.05,
            armature_reaction_per_a: 0.02,
            ..TerminalParameters::plain(2.0, 1e-3, 2e-3, 0.12, 2e-3)
        };
        let v = 12.0;
        let free = motor.running_freely(v).expect("turns");
        let (i, e) = (free.current_a, free.back_emf_v);
        let drop = 0.8 * (i / 0.05).tanh();
        assert_relative_eq!(2.0 * i + drop + (1.0 - 0.02 * i) * e, v, epsilon = 1e-10);
        let drag = 0.12 + 2e-3 * e + 4e-4 * e * e;
        assert_relative_eq!((1.0 - 0.02 * i) * i, drag, epsilon = 1e-10);
        let stalled = motor.stalled(v);
        let i = stalled.current_a;
        assert_relative_eq!(2.0 * i + 0.8 * (i / 0.05).tanh(), v, epsilon = 1e-10);
        assert_relative_eq!(
            stalled.torque_current_a,
            (1.0 - 0.02 * i) * i - 0.12,
            epsilon = 1e-10
        );
    }

    #[test]
    fn friction_above_the_stall_torque_holds_the_rotor() {
        let motor = TerminalParameters::plain(2.0, 1e-3, 2e-3, 0.6, 0.0);
        assert_eq!(motor.running_freely(1.0), None);
        assert!(motor.running_freely(1.3).is_some());
    }
}
