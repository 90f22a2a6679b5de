//! Torque, speed, current, power and efficiency of one motor from no load to stall, and where those of many motors lie.

use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::ParameterName as Name;
use crate::motor_file::draw::ParameterSet;

/// Curves of fewer motors make no band.
const FEWEST: usize = 20;

/// A motor with what its steady states need.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motor {
    pub terminal: TerminalParameters,
    pub back_emf_constant_v_s_per_rad: f64,
}

/// A steady state as the chart shows it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Running {
    /// Current.
    pub current_a: f64,
    /// Speed.
    pub speed_rad_s: f64,
    /// Torque at the shaft.
    pub torque_nm: f64,
    /// Shaft power.
    pub power_w: f64,
    /// Shaft power over electrical power.
    pub efficiency: f64,
}

/// Lowest and highest of a quantity over the drawn motors at one torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Torque at the shaft.
    pub torque_nm: f64,
    /// Speed.
    pub speed_rad_s: (f64, f64),
    /// Current.
    pub current_a: (f64, f64),
    /// Shaft power.
    pub power_w: (f64, f64),
    /// Shaft power over electrical power.
    pub efficiency: (f64, f64),
}

impl Motor {
    pub fn of(set: &ParameterSet) -> Option<Motor> {
        Some(Motor {
            terminal: set.steady().ok()?,
            back_emf_constant_v_s_per_rad: set.value(Name::BackEmfConstant).ok()?,
        })
    }

    /// A steady state as the chart shows it.
    pub fn running(&self, point: OperatingPoint) -> Running {
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
    pub fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<Running>> {
        self.curve_at(voltage_v, (1..count).map(|k| k as f64 / count as f64))
    }

    /// No load, states at these shares of the way in current from there to stall, stall.
    pub fn curve_at(
        &self,
        voltage_v: f64,
        shares: impl Iterator<Item = f64>,
    ) -> Option<Vec<Running>> {
        if voltage_v.is_nan() || voltage_v <= 0.0 {
            return None;
        }
        let free = self.terminal.no_load(voltage_v)?;
        let held = self.terminal.rotor_held(voltage_v);
        let between = shares.map(|share| {
            let current_a = free.current_a + (held.current_a - free.current_a) * share;
            self.terminal.at_current(voltage_v, current_a)
        });
        let points = std::iter::once(free).chain(between).chain([held]);
        Some(points.map(|point| self.running(point)).collect())
    }
}

/// Where the motors of these curves lie at a torque, at `level`. A motor that the torque stalls counts there with its stall current
/// and no speed. `None` of too few motors.
pub fn spread(curves: &[Vec<Running>], torque_nm: f64, level: f64) -> Option<Spread> {
    let states: Vec<Running> = curves
        .iter()
        .map(|curve| at_torque(curve, torque_nm))
        .collect();
    let ends = |of: fn(&Running) -> f64| bounds(states.iter().map(of), level);
    (states.len() >= FEWEST).then(|| Spread {
        torque_nm,
        speed_rad_s: ends(|s| s.speed_rad_s),
        current_a: ends(|s| s.current_a),
        power_w: ends(|s| s.power_w),
        efficiency: ends(|s| s.efficiency),
    })
}

/// Where so many of the values lie.
pub fn bounds(values: impl Iterator<Item = f64>, level: f64) -> (f64, f64) {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    (
        quantile(&values, 0.5 - 0.5 * level),
        quantile(&values, 0.5 + 0.5 * level),
    )
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
