//! Torque, speed, current, power and efficiency at a terminal voltage, from the parameters of a motor file and from
//! motors drawn from its covariance.
//!
//! ```text
//! U = R i + V_b tanh(i/I_b) + (1 - a i) K ω        T = (1 - a i) K i - T_c - B ω - C_w ω²
//! ```
//! U terminal voltage in V, i current in A, ω speed in rad/s, T torque at the shaft in N·m; R, K, V_b, I_b, a, T_c, B, C_w as in
//! [`Operating`]. Steady states only; the winding keeps its temperature.

use super::context::Operating;
use crate::motor::TerminalParameters;
use crate::motor_file::draw::Population;
use crate::motor_file::{MotorFile, ParameterName};
use crate::quantity::rounding::significant;
use rand::SeedableRng;
use rand::rngs::StdRng;

/// Motors drawn for the bands: the ends of a 95 % interval are known to a tenth of its width.
const DRAWS: usize = 200;
/// Seed of the draws: the same motor file gives the same bands.
const SEED: u64 = 1;
/// What a draw holds, in this order.
const DRAWN: [ParameterName; 6] = [
    ParameterName::TerminalResistance,
    ParameterName::BackEmfConstant,
    ParameterName::CoulombFrictionTorque,
    ParameterName::ViscousFriction,
    ParameterName::Windage,
    ParameterName::BrushDrop,
];

/// Without a back-EMF constant there is no torque and no speed, and so no chart.
pub fn operating(file: &MotorFile) -> Option<Operating> {
    let value = |name| file.value(name);
    let friction = |name| file.value(name).unwrap_or(0.0);
    let k = value(ParameterName::BackEmfConstant).filter(|k| *k > 0.0)?;
    let terms = file.model.unwrap_or_default();
    let largest_current_a = file
        .validity
        .current_a
        .map(|r| r.lower.abs().max(r.upper.abs()));
    let emf = file
        .validity
        .back_emf_v
        .map(|r| r.lower.abs().max(r.upper.abs()));
    let voltage_v = file.motor.as_ref().and_then(|m| m.supply_v).or(emf)?;
    Some(Operating {
        terminal_resistance_ohm: value(ParameterName::TerminalResistance).filter(|r| *r > 0.0)?,
        back_emf_constant_v_s_per_rad: k,
        coulomb_friction_nm: friction(ParameterName::CoulombFrictionTorque),
        viscous_friction_nm_s_per_rad: friction(ParameterName::ViscousFriction),
        windage_nm_s2_per_rad2: friction(ParameterName::Windage),
        brush_drop_v: friction(ParameterName::BrushDrop),
        // A drop without a scale is a step on the scale of the captures.
        brush_scale_a: terms
            .brush_scale_a
            .map_or(1e-3 * largest_current_a.unwrap_or(1.0), |t| t.value),
        armature_reaction_per_a: terms.armature_reaction_per_a.map_or(0.0, |t| t.value),
        voltage_v: significant(voltage_v.abs(), 3),
        largest_current_a,
        largest_speed_rad_s: file
            .validity
            .speed_rad_s
            .map(|r| r.lower.abs().max(r.upper.abs())),
        temperature_c: file
            .parameters
            .get(&ParameterName::TerminalResistance)
            .and_then(|p| p.temperature_c),
        draws: draws(file),
    })
}

/// [`DRAWN`] of motors that the captures leave possible; none where the covariance allows no draw.
fn draws(file: &MotorFile) -> Vec<[f64; 6]> {
    let Ok(population) = Population::new(file, &DRAWN) else {
        return Vec::new();
    };
    let mut random = StdRng::seed_from_u64(SEED);
    (0..DRAWS)
        .map_while(|_| population.draw(&mut random).ok())
        .filter_map(|motor| <[f64; 6]>::try_from(motor).ok())
        .map(|motor| motor.map(|x| significant(x, 5)))
        .collect()
}

/// A steady state.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Running {
    pub current_a: f64,
    pub speed_rad_s: f64,
    pub torque_nm: f64,
    pub power_w: f64,
    pub efficiency: f64,
}

/// Lowest and highest of a quantity over the drawn motors at one torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    pub torque_nm: f64,
    pub speed_rad_s: (f64, f64),
    pub current_a: (f64, f64),
    pub power_w: (f64, f64),
    pub efficiency: (f64, f64),
}

impl Operating {
    /// The same motor with the numbers of a draw.
    fn drawn(&self, draw: &[f64; 6]) -> Operating {
        let [r, k, coulomb, viscous, windage, drop] = *draw;
        Operating {
            terminal_resistance_ohm: r,
            back_emf_constant_v_s_per_rad: k,
            coulomb_friction_nm: coulomb,
            viscous_friction_nm_s_per_rad: viscous,
            windage_nm_s2_per_rad2: windage,
            brush_drop_v: drop,
            draws: Vec::new(),
            ..*self
        }
    }

    /// The same motor as the terminals see it, inductance and inertia left out.
    fn machine(&self) -> TerminalParameters {
        let k = self.back_emf_constant_v_s_per_rad;
        TerminalParameters {
            windage_a_per_v2: self.windage_nm_s2_per_rad2 / (k * k * k),
            brush_drop_v: self.brush_drop_v,
            brush_scale_a: self.brush_scale_a,
            armature_reaction_per_a: self.armature_reaction_per_a,
            ..TerminalParameters::plain(
                self.terminal_resistance_ohm,
                0.0,
                0.0,
                self.coulomb_friction_nm / k,
                self.viscous_friction_nm_s_per_rad / (k * k),
            )
        }
    }

    /// State at a voltage and a current, both above zero.
    pub fn at_current(&self, voltage_v: f64, current_a: f64) -> Running {
        let linkage =
            (1.0 - self.armature_reaction_per_a * current_a) * self.back_emf_constant_v_s_per_rad;
        let drop = self.terminal_resistance_ohm * current_a
            + self.brush_drop_v * (current_a / self.brush_scale_a).tanh();
        let speed_rad_s = (voltage_v - drop) / linkage;
        let moving = speed_rad_s.max(0.0);
        let drag = self.coulomb_friction_nm
            + moving * (self.viscous_friction_nm_s_per_rad + self.windage_nm_s2_per_rad2 * moving);
        let torque_nm = linkage * current_a - drag;
        let power_w = torque_nm * speed_rad_s;
        Running {
            current_a,
            speed_rad_s,
            torque_nm,
            power_w,
            efficiency: if voltage_v * current_a > 0.0 {
                power_w / (voltage_v * current_a)
            } else {
                0.0
            },
        }
    }

    /// `count` + 1 states from no load to stall, evenly in current; `None` where the motor does not turn.
    pub fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<Running>> {
        if !(voltage_v > 0.0 && count > 0) {
            return None;
        }
        let machine = self.machine();
        let (free, stall) = (
            machine.running_freely(voltage_v)?.current_a,
            machine.stalled(voltage_v).current_a,
        );
        let mut states: Vec<Running> = (0..=count)
            .map(|k| {
                let share = k as f64 / count as f64;
                self.at_current(voltage_v, free + (stall - free) * share)
            })
            .collect();
        // What the roots leave over at the ends is rounding.
        if let Some(first) = states.first_mut() {
            (first.torque_nm, first.power_w, first.efficiency) = (0.0, 0.0, 0.0);
        }
        if let Some(last) = states.last_mut() {
            (last.speed_rad_s, last.power_w, last.efficiency) = (0.0, 0.0, 0.0);
        }
        Some(states)
    }

    /// Where the drawn motors lie at each torque of the curve, at `level`; empty without draws. A draw that a torque stalls
    /// counts there with its stall current and no speed.
    pub fn spread(&self, voltage_v: f64, level: f64, points: usize) -> Vec<Spread> {
        let curves: Vec<Vec<Running>> = self
            .draws
            .iter()
            .filter_map(|draw| self.drawn(draw).curve(voltage_v, 60))
            .collect();
        let Some(most_nm) = self
            .curve(voltage_v, 1)
            .and_then(|curve| Some(curve.last()?.torque_nm))
        else {
            return Vec::new();
        };
        if curves.len() < 20 {
            return Vec::new();
        }
        (0..=points)
            .map(|k| {
                let torque_nm = most_nm * k as f64 / points as f64;
                let states: Vec<Running> = curves
                    .iter()
                    .map(|curve| at_torque(curve, torque_nm))
                    .collect();
                let ends = |of: fn(&Running) -> f64| {
                    let mut values: Vec<f64> = states.iter().map(of).collect();
                    values.sort_by(f64::total_cmp);
                    (
                        quantile(&values, 0.5 - 0.5 * level),
                        quantile(&values, 0.5 + 0.5 * level),
                    )
                };
                Spread {
                    torque_nm,
                    speed_rad_s: ends(|s| s.speed_rad_s),
                    current_a: ends(|s| s.current_a),
                    power_w: ends(|s| s.power_w),
                    efficiency: ends(|s| s.efficiency),
                }
            })
            .collect()
    }
}

/// State at a torque between two of a curve, whose torque rises.
fn at_torque(curve: &[Running], torque_nm: f64) -> Running {
    let after = curve.partition_point(|s| s.torque_nm < torque_nm);
    let (Some(low), high) = (curve.get(after.saturating_sub(1)), curve.get(after)) else {
        return Running::default();
    };
    let Some(high) = high else {
        return *low;
    };
    let width = high.torque_nm - low.torque_nm;
    let part = if width > 0.0 {
        (torque_nm - low.torque_nm) / width
    } else {
        0.0
    };
    let mix = |a: f64, b: f64| a + part * (b - a);
    Running {
        current_a: mix(low.current_a, high.current_a),
        speed_rad_s: mix(low.speed_rad_s, high.speed_rad_s),
        torque_nm,
        power_w: mix(low.power_w, high.power_w),
        efficiency: mix(low.efficiency, high.efficiency),
    }
}

/// Quantile of sorted values, linear between neighbours.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share.clamp(0.0, 1.0) * (sorted.len().saturating_sub(1)) as f64;
    let (low, part) = (place.floor() as usize, place.fract());
    match (sorted.get(low), sorted.get(low + 1)) {
        (Some(a), Some(b)) => a + part * (b - a),
        (Some(a), None) => *a,
        _ => f64::NAN,
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::motor_file::{Parameter, table::tests::empty};
    use approx::assert_relative_eq;

    pub(crate) fn example() -> MotorFile {
        let mut file = empty();
        for (name, value, uncertainty) in [
            (ParameterName::TerminalResistance, 2.0, 0.04),
            (ParameterName::BackEmfConstant, 0.02, 4e-4),
            (ParameterName::CoulombFrictionTorque, 3e-3, 6e-5),
        ] {
            let interval = (value - 2.0 * uncertainty, value + 2.0 * uncertainty);
            let parameter = Parameter::measured(name, value, uncertainty, interval, 0.95);
            file.parameters.insert(name, parameter);
        }
        file.motor = Some(crate::motor_file::MotorFacts {
            name: "example".into(),
            commutator_segments: None,
            brushes: None,
            magnets: None,
            supply_v: Some(12.0),
        });
        file
    }

    #[test]
    fn val_power_and_efficiency_of_the_textbook_motor() {
        // With Coulomb friction alone: P_max = (V − I₀R)²/(4R) and η_max = (1 − √(I₀/I_s))² (exact; any drives text).
        let motor = operating(&example()).expect("a chart");
        let (v, r, idle) = (12.0, 2.0, 0.15);
        let curve = motor.curve(v, 4000).expect("turns");
        let most = |of: fn(&Running) -> f64| curve.iter().map(of).fold(0.0, f64::max);
        assert_relative_eq!(
            most(|s| s.power_w),
            (v - idle * r).powi(2) / (4.0 * r),
            max_relative = 1e-6
        );
        assert_relative_eq!(
            most(|s| s.efficiency),
            (1.0 - (idle * r / v).sqrt()).powi(2),
            max_relative = 1e-6
        );
    }

    #[test]
    fn the_band_at_no_load_has_the_width_that_the_constant_gives_it() {
        let motor = operating(&example()).expect("a chart");
        let spread = motor.spread(12.0, 0.95, 20);
        let idle = &spread[0];
        // ω₀ = (V − R I₀)/K: 2 % of K and a little of R and friction.
        let middle = motor.curve(12.0, 10).expect("turns")[0].speed_rad_s;
        let half = 0.5 * (idle.speed_rad_s.1 - idle.speed_rad_s.0) / middle;
        assert!((0.031..0.048).contains(&half), "{half}");
        assert!(idle.speed_rad_s.0 < middle && middle < idle.speed_rad_s.1);
        assert!(spread.windows(2).all(|w| w[1].torque_nm > w[0].torque_nm));
    }

    #[test]
    fn a_motor_that_friction_holds_has_no_curve() {
        let motor = operating(&example()).expect("a chart");
        assert_eq!(motor.curve(0.1, 10), None);
        assert!(motor.spread(0.1, 0.95, 10).is_empty());
    }
}
