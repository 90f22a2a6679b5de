//! Operating points: steady states at a terminal voltage, with the rotor held, running freely, under a load, or drawing a
//! given current.
//!
//! ```text
//! V = R i + V_b tanh(i/I_b) + (1 − a i) e        (1 − a i) i = I_c + G_v e + W e² + T/K
//! ```
//! The model of [`TerminalParameters`] with both rates zero; e = K ω, T the torque at the shaft. Voltage and current are positive,
//! the winding keeps its temperature. What needs no speed needs no K: torques stand here as currents T/K.

use super::{State, TerminalParameters};

/// Current scale of a contact drop that is a step, A.
const STEP_A: f64 = 1e-12;

/// A steady state as the terminals see it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingPoint {
    /// Terminal voltage.
    pub voltage_v: f64,
    /// Current.
    pub current_a: f64,
    /// K ω, V.
    pub back_emf_v: f64,
    /// Torque at the shaft, friction taken off, over K, A.
    pub torque_current_a: f64,
}

impl OperatingPoint {
    /// ω = e/K.
    pub fn speed_rad_s(&self, back_emf_constant_v_s_per_rad: f64) -> f64 {
        self.back_emf_v / back_emf_constant_v_s_per_rad
    }

    /// Torque at the shaft.
    pub fn torque_nm(&self, back_emf_constant_v_s_per_rad: f64) -> f64 {
        back_emf_constant_v_s_per_rad * self.torque_current_a
    }

    /// T ω, whatever K is.
    pub fn shaft_power_w(&self) -> f64 {
        self.torque_current_a * self.back_emf_v
    }

    /// Shaft power over electrical power; 0 without any.
    pub fn efficiency(&self) -> f64 {
        let electrical_w = self.voltage_v * self.current_a;
        if electrical_w > 0.0 {
            self.shaft_power_w() / electrical_w
        } else {
            0.0
        }
    }
}

impl From<OperatingPoint> for State<f64> {
    fn from(point: OperatingPoint) -> Self {
        State::at(point.current_a, point.back_emf_v)
    }
}

impl TerminalParameters {
    /// Rotor held on `voltage_v`.
    pub fn rotor_held(&self, voltage_v: f64) -> OperatingPoint {
        let most = voltage_v / self.terminal_resistance_ohm;
        let current_a = root(0.0, most, |i| self.held_voltage_v(i) - voltage_v);
        OperatingPoint {
            voltage_v,
            current_a,
            back_emf_v: 0.0,
            torque_current_a: self.shaft_a(current_a, 0.0),
        }
    }

    /// Running freely on `voltage_v`; `None` where friction holds the rotor.
    pub fn no_load(&self, voltage_v: f64) -> Option<OperatingPoint> {
        self.under_load(voltage_v, 0.0)
    }

    /// Turning a load of `load_a` = T/K; `None` where friction and load hold the rotor.
    pub fn under_load(&self, voltage_v: f64, load_a: f64) -> Option<OperatingPoint> {
        let held = self.rotor_held(voltage_v);
        let spare = held.torque_current_a - load_a;
        if spare.is_nan() || spare <= 0.0 {
            return None;
        }
        let current_a = root(0.0, held.current_a, |i| {
            self.shaft_a(i, self.back_emf_v(voltage_v, i)) - load_a
        });
        Some(OperatingPoint {
            voltage_v,
            current_a,
            back_emf_v: self.back_emf_v(voltage_v, current_a),
            torque_current_a: load_a,
        })
    }

    /// Drawing `current_a`, under whatever load makes it do so.
    pub fn at_current(&self, voltage_v: f64, current_a: f64) -> OperatingPoint {
        let back_emf_v = self.back_emf_v(voltage_v, current_a);
        OperatingPoint {
            voltage_v,
            current_a,
            back_emf_v,
            torque_current_a: self.shaft_a(current_a, back_emf_v),
        }
    }

    /// Turning at a speed whose back-EMF without armature reaction is `back_emf_v`, under whatever load lets it; driven where its torque is
    /// negative.
    pub fn at_back_emf(&self, voltage_v: f64, back_emf_v: f64) -> OperatingPoint {
        let surplus = |i: f64| {
            self.held_voltage_v(i) + (1.0 - self.armature_reaction_per_a * i.abs()) * back_emf_v
                - voltage_v
        };
        let spare_v = voltage_v - back_emf_v;
        let most_a = 2.0 * spare_v / self.terminal_resistance_ohm;
        let current_a = if spare_v > 0.0 {
            root(0.0, most_a, surplus)
        } else {
            -root(0.0, -most_a, |i| -surplus(-i))
        };
        OperatingPoint {
            voltage_v,
            current_a,
            back_emf_v,
            torque_current_a: self.shaft_a(current_a, back_emf_v),
        }
    }

    /// The loaded point between no load and standstill where `of`, which has one peak there, is greatest, by golden section; `None`
    /// where friction holds the rotor. The value is right to about the square of the remaining width, 1e-14.
    pub fn greatest(
        &self,
        voltage_v: f64,
        of: impl Fn(&OperatingPoint) -> f64,
    ) -> Option<OperatingPoint> {
        const GOLDEN: f64 = 0.618_033_988_749_894_8;
        let at = |current_a: f64| {
            let point = self.at_current(voltage_v, current_a);
            (of(&point), point)
        };
        let mut low = self.no_load(voltage_v)?.current_a;
        let mut high = self.rotor_held(voltage_v).current_a;
        let (mut left_a, mut right_a) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (mut left, mut right) = (at(left_a), at(right_a));
        // Leaves 10⁻⁵ of the range: the greatest value is then known to the square of that.
        for _ in 0..24 {
            if left.0 > right.0 {
                (high, right_a, right) = (right_a, left_a, left);
                left_a = high - GOLDEN * (high - low);
                left = at(left_a);
            } else {
                (low, left_a, left) = (left_a, right_a, right);
                right_a = low + GOLDEN * (high - low);
                right = at(right_a);
            }
        }
        Some(if left.0 > right.0 { left.1 } else { right.1 })
    }

    /// The same motor with the whole contact drop at any current.
    pub fn with_whole_drop(&self) -> TerminalParameters {
        TerminalParameters {
            brush_scale_a: STEP_A,
            ..*self
        }
    }

    /// Stall torque over K, A, where the tangent of torque against speed at no load meets standstill, as catalogues
    /// extrapolate it; `None` where friction holds the rotor. The line has the whole contact drop, as the loaded motor has.
    ///
    /// ```text
    /// dT/de /K = −(1 − a i)(1 − 2 a i)/(R − a e) − G_v − 2 W e
    /// ```
    pub fn extrapolated_stall_a(&self, voltage_v: f64) -> Option<f64> {
        let free = self.with_whole_drop().no_load(voltage_v)?;
        let (i, e) = (free.current_a, free.back_emf_v);
        let a = self.armature_reaction_per_a;
        let fall = (1.0 - a * i) * (1.0 - 2.0 * a * i) / (self.terminal_resistance_ohm - a * e)
            + self.viscous_conductance_s
            + 2.0 * self.windage_a_per_v2 * e;
        Some(e * fall)
    }

    /// Voltage at which a held rotor draws `current_a`: what it drops over winding and brushes.
    pub fn held_voltage_v(&self, current_a: f64) -> f64 {
        self.terminal_resistance_ohm * current_a
            + self.brush_drop_v * (current_a / self.brush_scale_a).tanh()
    }

    /// Back-EMF that the voltage balance leaves, V.
    fn back_emf_v(&self, voltage_v: f64, current_a: f64) -> f64 {
        (voltage_v - self.held_voltage_v(current_a))
            / (1.0 - self.armature_reaction_per_a * current_a)
    }

    /// Torque at the shaft over K, A.
    fn shaft_a(&self, current_a: f64, back_emf_v: f64) -> f64 {
        (1.0 - self.armature_reaction_per_a * current_a.abs()) * current_a
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

    /// Every term of the model.
    fn complete() -> TerminalParameters {
        TerminalParameters {
            windage_a_per_v2: 4e-4,
            brush_drop_v: 0.8,
            brush_scale_a: 0.05,
            armature_reaction_per_a: 0.02,
            ..TerminalParameters::plain(2.0, 1e-3, 2e-3, 0.12, 2e-3)
        }
    }

    #[test]
    fn a_point_at_a_speed_is_the_one_under_its_load() {
        let motor = complete();
        for load_a in [0.0, 0.3, 1.5, 4.0] {
            let loaded = motor.under_load(12.0, load_a).expect("turns");
            let turning = motor.at_back_emf(12.0, loaded.back_emf_v);
            assert_relative_eq!(turning.current_a, loaded.current_a, max_relative = 1e-9);
            let apart = (turning.torque_current_a - load_a).abs();
            assert!(apart < 1e-9, "{load_a} {apart}");
        }
        // Driven above the voltage it generates.
        assert!(motor.at_back_emf(12.0, 14.0).current_a < 0.0);
    }

    #[test]
    fn val_rated_point_of_the_lossless_machine() {
        // Modelica Standard Library, example DCPM_withLosses, machine 1: 100 V, 100 A, 0.05 Ω, 1425 r/min, inner voltage 95.0 V,
        // 63.66 N·m, 9500 W; stall current 2000 A.
        let k = 95.0 / (1425.0 * std::f64::consts::PI / 30.0);
        let machine = TerminalParameters::plain(0.05, 1e-3, 1.0, 0.0, 0.0);
        let held = machine.rotor_held(100.0);
        assert_relative_eq!(held.current_a, 2000.0, max_relative = 1e-12);
        let free = machine.no_load(100.0).expect("turns");
        assert_relative_eq!(free.back_emf_v, 100.0, max_relative = 1e-12);
        let rated = machine.under_load(100.0, 63.661_977 / k).expect("turns");
        assert_relative_eq!(rated.current_a, 100.0, max_relative = 1e-6);
        assert_relative_eq!(rated.speed_rad_s(k), 149.225_651, max_relative = 1e-6);
        assert_relative_eq!(rated.torque_nm(k), 63.661_977, max_relative = 1e-12);
        assert_relative_eq!(rated.shaft_power_w(), 9500.0, max_relative = 1e-6);
    }

    #[test]
    fn val_control_tutorial_speed_gain() {
        // Control Tutorials (Michigan, Carnegie Mellon, Detroit Mercy), DC motor speed: K 0.01, R 1, b 0.1; 1 V ends at
        // 0.0999000999 rad/s.
        let k = 0.01;
        let motor = TerminalParameters::plain(1.0, 0.5, 0.01 / (k * k), 0.0, 0.1 / (k * k));
        let free = motor.no_load(1.0).expect("turns");
        assert_relative_eq!(free.speed_rad_s(k), 0.099_900_099_9, max_relative = 1e-9);
    }

    #[test]
    fn val_power_and_efficiency_of_the_textbook_motor() {
        // With Coulomb friction alone: P_max = (V − I₀R)²/(4R) and η_max = (1 − √(I₀/I_s))² (exact; any drives text).
        let (v, r, idle_a) = (12.0, 2.0, 0.15);
        let motor = TerminalParameters::plain(r, 1e-3, 1e-2, idle_a, 0.0);
        let most = |of: fn(&OperatingPoint) -> f64| of(&motor.greatest(v, of).expect("turns"));
        assert_relative_eq!(
            most(OperatingPoint::shaft_power_w),
            (v - idle_a * r).powi(2) / (4.0 * r),
            max_relative = 1e-10
        );
        assert_relative_eq!(
            most(OperatingPoint::efficiency),
            (1.0 - (idle_a * r / v).sqrt()).powi(2),
            max_relative = 1e-10
        );
    }

    #[test]
    fn both_equations_hold_with_every_term() {
        let (motor, v, load) = (complete(), 12.0, 0.7);
        let drop = |i: f64| 2.0 * i + 0.8 * (i / 0.05).tanh();
        let held = motor.rotor_held(v);
        assert_relative_eq!(drop(held.current_a), v, epsilon = 1e-10);
        let free = motor.no_load(v).expect("turns");
        let loaded = motor.under_load(v, load).expect("turns");
        for point in [held, free, loaded, motor.at_current(v, 1.3)] {
            let (i, e) = (point.current_a, point.back_emf_v);
            assert_relative_eq!(drop(i) + (1.0 - 0.02 * i) * e, v, epsilon = 1e-10);
            let drag = 0.12 + 2e-3 * e + 4e-4 * e * e;
            assert_relative_eq!(
                (1.0 - 0.02 * i) * i,
                drag + point.torque_current_a,
                epsilon = 1e-10
            );
        }
        assert_eq!(free.torque_current_a, 0.0);
        assert_eq!(loaded.torque_current_a, load);
    }

    /// Slope of torque against speed at no load by difference; without windage and reaction the line is straight and ends at the
    /// true stall.
    #[test]
    fn the_extrapolated_stall_lies_on_the_tangent_at_no_load() {
        let motor = complete().with_whole_drop();
        let v = 12.0;
        let free = motor.no_load(v).expect("turns");
        let near = motor.at_current(v, free.current_a + 1e-6);
        let slope = near.torque_current_a / (free.back_emf_v - near.back_emf_v);
        let found = motor.extrapolated_stall_a(v).expect("turns");
        assert_relative_eq!(found, slope * free.back_emf_v, max_relative = 1e-5);
        assert!(found > 1.001 * motor.rotor_held(v).torque_current_a);
        let straight = TerminalParameters {
            windage_a_per_v2: 0.0,
            armature_reaction_per_a: 0.0,
            ..motor
        };
        assert_relative_eq!(
            straight.extrapolated_stall_a(v).expect("turns"),
            straight.rotor_held(v).torque_current_a,
            max_relative = 1e-12
        );
    }

    #[test]
    fn friction_above_the_stall_torque_holds_the_rotor() {
        let motor = TerminalParameters::plain(2.0, 1e-3, 2e-3, 0.6, 0.0);
        assert_eq!(motor.no_load(1.0), None);
        assert!(motor.no_load(1.3).is_some());
        assert_eq!(motor.under_load(1.3, 0.1), None);
    }
}
