//! Steady states of the motor: no load, a given load, stall, and the loads of greatest power and efficiency.
//!
//! ```text
//! V = R i + K ω + V_b         K i = T_c + B ω + C_w ω² + T_load
//! ```
//! V terminal voltage, i current, ω speed, T_load shaft torque; R, K, V_b, T_c, B, C_w as in [`Constants`].
//! Armature reaction and saturation are left out: they act at currents near stall, and sheets ignore them.

/// Constants of a motor at one temperature, SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Constants {
    pub terminal_resistance_ohm: f64,
    pub armature_inductance_h: f64,
    pub back_emf_constant_v_s_per_rad: f64,
    pub coulomb_friction_nm: f64,
    pub viscous_friction_nm_s_per_rad: f64,
    pub windage_nm_s2_per_rad2: f64,
    pub rotor_inertia_kg_m2: f64,
    pub brush_drop_v: f64,
}

/// A steady state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Running {
    pub speed_rad_s: f64,
    pub current_a: f64,
    /// At the shaft, friction taken off.
    pub torque_nm: f64,
}

impl Constants {
    /// Current at a speed.
    fn current_a(&self, voltage_v: f64, speed_rad_s: f64) -> f64 {
        (voltage_v - self.brush_drop_v - self.back_emf_constant_v_s_per_rad * speed_rad_s)
            / self.terminal_resistance_ohm
    }

    /// Steady state at a speed, whatever load that needs.
    pub fn at_speed(&self, voltage_v: f64, speed_rad_s: f64) -> Running {
        let current_a = self.current_a(voltage_v, speed_rad_s);
        let drag = self.coulomb_friction_nm
            + speed_rad_s
                * (self.viscous_friction_nm_s_per_rad + self.windage_nm_s2_per_rad2 * speed_rad_s);
        Running {
            speed_rad_s,
            current_a,
            torque_nm: self.back_emf_constant_v_s_per_rad * current_a - drag,
        }
    }

    /// Steady state under a load; `None` when friction and load hold the rotor.
    ///
    /// Root of C_w ω² + (B + K²/R) ω − (K (V − V_b)/R − T_c − T_load) = 0, in the form without cancellation.
    pub fn at_load(&self, voltage_v: f64, load_nm: f64) -> Option<Running> {
        let push = self.at_speed(voltage_v, 0.0).torque_nm - load_nm;
        if push.is_nan() || push <= 0.0 {
            return None;
        }
        let slope = self.slope();
        let root = (slope * slope + 4.0 * self.windage_nm_s2_per_rad2 * push).sqrt();
        Some(self.at_speed(voltage_v, 2.0 * push / (slope + root)))
    }

    /// B + K²/R: fall of torque with speed, windage left out.
    fn slope(&self) -> f64 {
        let k = self.back_emf_constant_v_s_per_rad;
        self.viscous_friction_nm_s_per_rad + k * k / self.terminal_resistance_ohm
    }

    /// Rotor held: the shaft torque, friction taken off.
    pub fn stall(&self, voltage_v: f64) -> Running {
        self.at_speed(voltage_v, 0.0)
    }

    /// Stall as a straight line through the no-load state gives it (tangent of torque against speed there). Only
    /// windage makes it differ from [`Constants::stall`].
    pub fn stall_extrapolated(&self, voltage_v: f64) -> Option<Running> {
        let idle = self.at_load(voltage_v, 0.0)?;
        let tangent = self.slope() + 2.0 * self.windage_nm_s2_per_rad2 * idle.speed_rad_s;
        Some(Running {
            torque_nm: idle.speed_rad_s * tangent,
            ..self.stall(voltage_v)
        })
    }

    /// Greatest shaft power, W.
    pub fn maximum_power_w(&self, voltage_v: f64) -> Option<f64> {
        self.greatest(voltage_v, |at| at.torque_nm * at.speed_rad_s)
    }

    /// Greatest ratio of shaft power to electrical power.
    pub fn maximum_efficiency(&self, voltage_v: f64) -> Option<f64> {
        self.greatest(voltage_v, |at| {
            at.torque_nm * at.speed_rad_s / (voltage_v * at.current_a)
        })
    }

    /// Greatest value of a function with one peak between stall and no load, by golden section. The value is right to
    /// about the square of the remaining width, 1e-14.
    fn greatest(&self, voltage_v: f64, of: impl Fn(Running) -> f64) -> Option<f64> {
        const GOLDEN: f64 = 0.618_033_988_749_894_8;
        let value = |speed: f64| of(self.at_speed(voltage_v, speed));
        let (mut low, mut high) = (0.0, self.at_load(voltage_v, 0.0)?.speed_rad_s);
        let (mut left, mut right) = (high - GOLDEN * high, GOLDEN * high);
        let (mut at_left, mut at_right) = (value(left), value(right));
        for _ in 0..36 {
            if at_left > at_right {
                (high, right, at_right) = (right, left, at_left);
                left = high - GOLDEN * (high - low);
                at_left = value(left);
            } else {
                (low, left, at_left) = (left, right, at_right);
                right = low + GOLDEN * (high - low);
                at_right = value(right);
            }
        }
        Some(at_left.max(at_right))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Only resistance and back-EMF.
    fn bare(r: f64, k: f64) -> Constants {
        Constants {
            terminal_resistance_ohm: r,
            armature_inductance_h: 1e-3,
            back_emf_constant_v_s_per_rad: k,
            coulomb_friction_nm: 0.0,
            viscous_friction_nm_s_per_rad: 0.0,
            windage_nm_s2_per_rad2: 0.0,
            rotor_inertia_kg_m2: 1e-6,
            brush_drop_v: 0.0,
        }
    }

    #[test]
    fn val_rated_point_of_the_lossless_machine() {
        // Modelica Standard Library, example DCPM_withLosses, machine 1: 100 V, 100 A, 0.05 Ω, 1425 r/min, inner
        // voltage 95.0 V, 63.66 N·m, 9500 W; stall current 2000 A.
        let machine = bare(0.05, 95.0 / (1425.0 * std::f64::consts::PI / 30.0));
        let rated = machine.at_load(100.0, 63.661_977).expect("turns");
        assert_relative_eq!(rated.current_a, 100.0, max_relative = 1e-6);
        assert_relative_eq!(rated.speed_rad_s, 149.225_651, max_relative = 1e-6);
        assert_relative_eq!(machine.stall(100.0).current_a, 2000.0, max_relative = 1e-12);
    }

    #[test]
    fn val_control_tutorial_speed_gain() {
        // Control Tutorials (Michigan, Carnegie Mellon, Detroit Mercy), DC motor speed: K 0.01, R 1, b 0.1; 1 V ends at
        // 0.0999000999 rad/s.
        let motor = Constants {
            viscous_friction_nm_s_per_rad: 0.1,
            ..bare(1.0, 0.01)
        };
        let idle = motor.at_load(1.0, 0.0).expect("turns");
        assert_relative_eq!(idle.speed_rad_s, 0.099_900_099_9, max_relative = 1e-9);
    }

    #[test]
    fn val_power_and_efficiency_of_the_textbook_motor() {
        // With Coulomb friction alone: P_max = (V − I₀R)²/(4R) and η_max = (1 − √(I₀/I_s))² (exact; any drives text).
        let (v, r, k) = (12.0, 2.0, 0.02);
        let idle_current = 0.15;
        let motor = Constants {
            coulomb_friction_nm: k * idle_current,
            ..bare(r, k)
        };
        let power = (v - idle_current * r).powi(2) / (4.0 * r);
        let efficiency = (1.0 - (idle_current * r / v).sqrt()).powi(2);
        assert_relative_eq!(
            motor.maximum_power_w(v).expect("turns"),
            power,
            max_relative = 1e-10
        );
        assert_relative_eq!(
            motor.maximum_efficiency(v).expect("turns"),
            efficiency,
            max_relative = 1e-10
        );
    }

    #[test]
    fn steady_states_obey_both_equations() {
        let motor = Constants {
            coulomb_friction_nm: 1e-3,
            viscous_friction_nm_s_per_rad: 2e-6,
            windage_nm_s2_per_rad2: 5e-9,
            brush_drop_v: 0.7,
            ..bare(3.0, 0.02)
        };
        let at = motor.at_load(24.0, 0.01).expect("turns");
        assert_relative_eq!(at.torque_nm, 0.01, max_relative = 1e-12);
        assert_relative_eq!(
            24.0,
            3.0 * at.current_a + 0.02 * at.speed_rad_s + 0.7,
            max_relative = 1e-12
        );
        // Windage bends the line, so its tangent at no load meets zero speed higher up.
        let (straight, true_stall) = (
            motor.stall_extrapolated(24.0).expect("turns").torque_nm,
            motor.stall(24.0).torque_nm,
        );
        assert!(straight > 1.001 * true_stall, "{straight} {true_stall}");
        let without = Constants {
            windage_nm_s2_per_rad2: 0.0,
            ..motor
        };
        assert_relative_eq!(
            without.stall_extrapolated(24.0).expect("turns").torque_nm,
            without.stall(24.0).torque_nm,
            max_relative = 1e-12
        );
        assert_eq!(motor.at_load(0.5, 0.0), None);
    }
}
