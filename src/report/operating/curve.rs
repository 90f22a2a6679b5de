//! Torque, speed, current, power and efficiency of one motor from no load to stall, and where those of many motors lie.

use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::ParameterName as Name;
use crate::motor_file::draw::ParameterSet;
use serde::Serialize;

/// Curves of fewer motors make no band.
const FEWEST: usize = 20;

/// A motor with what its steady states need.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motor {
    pub terminal: TerminalParameters,
    pub back_emf_constant_v_s_per_rad: f64,
}

/// One entry a quantity: a steady state, its bounds, or a column of either.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct State<T = f64> {
    /// Torque at the shaft.
    #[serde(rename = "torque")]
    pub torque_nm: T,
    /// Speed.
    #[serde(rename = "speed")]
    pub speed_rad_s: T,
    /// Current.
    #[serde(rename = "current")]
    pub current_a: T,
    /// Shaft power.
    #[serde(rename = "power")]
    pub power_w: T,
    /// Shaft power over electrical power.
    pub efficiency: T,
}

impl<T> State<T> {
    /// The same of each quantity.
    pub fn map<U>(self, of: impl Fn(T) -> U) -> State<U> {
        State {
            torque_nm: of(self.torque_nm),
            speed_rad_s: of(self.speed_rad_s),
            current_a: of(self.current_a),
            power_w: of(self.power_w),
            efficiency: of(self.efficiency),
        }
    }

    /// A column a quantity.
    pub fn columns(states: impl IntoIterator<Item = State<T>>) -> State<Vec<T>>
    where
        T: Copy,
    {
        let states: Vec<State<T>> = states.into_iter().collect();
        let column = |of: fn(&State<T>) -> T| states.iter().map(of).collect();
        State {
            torque_nm: column(|s| s.torque_nm),
            speed_rad_s: column(|s| s.speed_rad_s),
            current_a: column(|s| s.current_a),
            power_w: column(|s| s.power_w),
            efficiency: column(|s| s.efficiency),
        }
    }
}

impl Motor {
    pub fn of(set: &ParameterSet) -> Option<Motor> {
        Some(Motor {
            terminal: set.steady().ok()?,
            back_emf_constant_v_s_per_rad: set.value(Name::BackEmfConstant).ok()?,
        })
    }

    /// A steady state as the chart shows it.
    pub fn running(&self, point: OperatingPoint) -> State {
        let k = self.back_emf_constant_v_s_per_rad;
        State {
            torque_nm: point.torque_nm(k),
            speed_rad_s: point.speed_rad_s(k),
            current_a: point.current_a,
            power_w: point.shaft_power_w(),
            efficiency: point.efficiency(),
        }
    }

    /// `count` + 1 states from no load to stall, evenly in current; `None` where the motor does not turn.
    pub fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<State>> {
        self.curve_at(voltage_v, (1..count).map(|k| k as f64 / count as f64))
    }

    /// No load, states at these shares of the way in current from there to stall, stall.
    pub fn curve_at(
        &self,
        voltage_v: f64,
        shares: impl Iterator<Item = f64>,
    ) -> Option<Vec<State>> {
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
pub fn spread(curves: &[Vec<State>], torque_nm: f64, level: f64) -> Option<State<(f64, f64)>> {
    let states = curves.iter().map(|curve| at_torque(curve, torque_nm));
    let spread = bounds(states, level);
    (curves.len() >= FEWEST).then_some(State {
        torque_nm: (torque_nm, torque_nm),
        ..spread
    })
}

/// Where so many of each quantity lie.
pub fn bounds(states: impl IntoIterator<Item = State>, level: f64) -> State<(f64, f64)> {
    State::columns(states).map(|mut values| {
        values.sort_by(f64::total_cmp);
        (
            quantile(&values, 0.5 - 0.5 * level),
            quantile(&values, 0.5 + 0.5 * level),
        )
    })
}

/// State at a torque between two of a curve, whose torque rises.
fn at_torque(curve: &[State], torque_nm: f64) -> State {
    let after = curve.partition_point(|s| s.torque_nm < torque_nm);
    let (Some(low), high) = (curve.get(after.saturating_sub(1)), curve.get(after)) else {
        return State::default();
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
    State::columns([*low, *high]).map(|ends| ends[0] + part * (ends[1] - ends[0]))
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
