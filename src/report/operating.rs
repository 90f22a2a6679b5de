//! Torque, speed, current, power and efficiency at a terminal voltage, from the parameters of a motor file and from
//! motors drawn from its covariance; the winding keeps its temperature.

use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::draw::{ParameterSet, Population};
use crate::motor_file::{MotorFile, ParameterName as Name, Range};
use crate::quantity::rounding::significant;
use serde::Serialize;

/// Motors drawn for the bands: the ends of a 95 % interval are known to a tenth of its width.
const DRAWS: usize = 200;
/// Seed of the draws: the same motor file gives the same bands.
const SEED: u64 = 1;
/// What the data tell of a drawn motor, in this order.
const TOLD: [Name; 6] = [
    Name::TerminalResistance,
    Name::BackEmfConstant,
    Name::CoulombFrictionTorque,
    Name::ViscousFriction,
    Name::Windage,
    Name::BrushDrop,
];

/// What the torque-speed chart is worked out from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Operating {
    pub terminal_resistance_ohm: f64,
    pub back_emf_constant_v_s_per_rad: f64,
    pub coulomb_friction_nm: f64,
    pub viscous_friction_nm_s_per_rad: f64,
    pub windage_nm_s2_per_rad2: f64,
    pub brush_drop_v: f64,
    /// Scale of V_b·tanh(i/I_b).
    pub brush_scale_a: f64,
    pub armature_reaction_per_a: f64,
    /// Voltage shown first.
    pub voltage_v: f64,
    /// Largest current and speed seen in the captures.
    pub largest_current_a: Option<f64>,
    pub largest_speed_rad_s: Option<f64>,
    pub temperature_c: Option<f64>,
    /// Motors drawn from the covariance: R, K, T_c, B, C_w, V_b in SI units.
    pub draws: Vec<[f64; 6]>,
    #[serde(skip)]
    estimate: Motor,
    #[serde(skip)]
    drawn: Vec<Motor>,
}

/// A motor with what its steady states need.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Motor {
    terminal: TerminalParameters,
    back_emf_constant_v_s_per_rad: f64,
}

/// Without a back-EMF constant there is no torque and no speed, and so no chart.
pub fn operating(file: &MotorFile) -> Option<Operating> {
    // A friction or a drop that is not determined is left out of the curves.
    let set = TOLD[2..]
        .iter()
        .fold(ParameterSet::estimate(file), |set, name| {
            match set.value(*name) {
                Ok(_) => set,
                Err(_) => set.with(*name, 0.0),
            }
        });
    let estimate = Motor::of(&set)?;
    let [r, k, coulomb, viscous, windage, drop] = told(&set)?;
    if !(r > 0.0 && k > 0.0) {
        return None;
    }
    let largest = |range: Option<Range>| range.map(|range| range.largest_magnitude());
    let supply_v = file.motor.as_ref().and_then(|motor| motor.supply_v);
    let voltage_v = supply_v.or(largest(file.validity.back_emf_v))?;
    let draws: Vec<ParameterSet> = Population::new(file)
        .and_then(|population| population.draws(DRAWS, SEED))
        .unwrap_or_default();
    Some(Operating {
        terminal_resistance_ohm: r,
        back_emf_constant_v_s_per_rad: k,
        coulomb_friction_nm: coulomb,
        viscous_friction_nm_s_per_rad: viscous,
        windage_nm_s2_per_rad2: windage,
        brush_drop_v: drop,
        brush_scale_a: estimate.terminal.brush_scale_a,
        armature_reaction_per_a: estimate.terminal.armature_reaction_per_a,
        voltage_v: significant(voltage_v.abs(), 3),
        largest_current_a: largest(file.validity.current_a),
        largest_speed_rad_s: largest(file.validity.speed_rad_s),
        temperature_c: file
            .parameters
            .get(&Name::TerminalResistance)
            .and_then(|p| p.temperature_c),
        draws: draws
            .iter()
            .filter_map(told)
            .map(|draw| draw.map(|x| significant(x, 5)))
            .collect(),
        estimate,
        drawn: draws.iter().filter_map(Motor::of).collect(),
    })
}

/// [`TOLD`] of a motor.
fn told(set: &ParameterSet) -> Option<[f64; 6]> {
    let mut values = [0.0; 6];
    for (value, name) in values.iter_mut().zip(TOLD) {
        *value = set.value(name).ok()?;
    }
    Some(values)
}

/// A steady state as the chart shows it.
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

impl Motor {
    fn of(set: &ParameterSet) -> Option<Motor> {
        Some(Motor {
            terminal: set.steady().ok()?,
            back_emf_constant_v_s_per_rad: set.value(Name::BackEmfConstant).ok()?,
        })
    }

    fn running(&self, point: OperatingPoint) -> Running {
        let k = self.back_emf_constant_v_s_per_rad;
        Running {
            current_a: point.current_a,
            speed_rad_s: point.speed_rad_s(k),
            torque_nm: point.torque_nm(k),
            power_w: point.shaft_power_w(),
            efficiency: point.efficiency(),
        }
    }

    /// `count` + 1 states from no load to stall, evenly in current; `None` where the motor does not turn.
    fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<Running>> {
        if !(voltage_v > 0.0 && count > 0) {
            return None;
        }
        let free = self.terminal.no_load(voltage_v)?;
        let held = self.terminal.rotor_held(voltage_v);
        let between = (1..count).map(|k| {
            let share = k as f64 / count as f64;
            let current_a = free.current_a + (held.current_a - free.current_a) * share;
            self.terminal.at_current(voltage_v, current_a)
        });
        let points = std::iter::once(free).chain(between).chain([held]);
        Some(points.map(|point| self.running(point)).collect())
    }
}

impl Operating {
    /// `count` + 1 states from no load to stall, evenly in current; `None` where the motor does not turn.
    pub fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<Running>> {
        self.estimate.curve(voltage_v, count)
    }

    /// Where the drawn motors lie at each torque of the curve, at `level`; empty without draws. A draw that a torque stalls
    /// counts there with its stall current and no speed.
    pub fn spread(&self, voltage_v: f64, level: f64, points: usize) -> Vec<Spread> {
        let curves: Vec<Vec<Running>> = self
            .drawn
            .iter()
            .filter_map(|motor| motor.curve(voltage_v, 60))
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
            (Name::TerminalResistance, 2.0, 0.04),
            (Name::BackEmfConstant, 0.02, 4e-4),
            (Name::CoulombFrictionTorque, 3e-3, 6e-5),
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
