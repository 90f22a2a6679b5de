//! The torque-speed chart over a grid of voltages, as the page takes it: the reader sets a voltage, the page interpolates between those
//! of the grid and knows no physics.

use super::curve::{Motor, State, bounds, spread};
use crate::motor::OperatingPoint;
use crate::quantity::rounding::significant;
use serde::Serialize;

/// Voltages of the grid above the one shown first, and below it.
const ABOVE: i32 = 7;
const BELOW: i32 = 20;
/// Ratio of neighbouring voltages of the grid, counted from where the motor begins to turn: cubic interpolation is then right to 1e-4.
const RATIO: f64 = 1.2;
/// States from no load to stall, the nearer the closer to no load, where the efficiency has its peak.
const STATES: i32 = 48;
/// States of a drawn motor's curve.
const DRAWN_STATES: usize = 60;
const DIGITS: i32 = 5;

/// Curves, bands and marked states at each voltage.
#[derive(Clone, Debug, Serialize)]
pub struct OperatingTable {
    /// Voltage shown first, one of the grid.
    pub voltage_v: f64,
    /// Largest current seen in the captures.
    pub largest_current_a: Option<f64>,
    /// The grid, rising.
    pub voltages_v: Vec<f64>,
    /// Numbers at each of its voltages.
    pub at: Vec<AtVoltage>,
}

/// Numbers at one voltage.
#[derive(Clone, Debug, Serialize)]
pub struct AtVoltage {
    /// From no load to stall.
    pub curve: State<Vec<f64>>,
    /// Lower and upper bound of the drawn motors at the torques of the curve; absent where too few of them turn.
    pub band: Option<State<Vec<(f64, f64)>>>,
    /// No load, best efficiency, most power, stall.
    pub marks: State<Vec<f64>>,
    pub mark_bounds: Option<State<Vec<(f64, f64)>>>,
}

impl OperatingTable {
    /// Bands at `level`; `None` where the motor does not turn at the voltage shown first.
    pub fn new(
        estimate: &Motor,
        drawn: &[Motor],
        voltage_v: f64,
        largest_current_a: Option<f64>,
        level: f64,
    ) -> Option<OperatingTable> {
        estimate.terminal.no_load(voltage_v)?;
        let least_v = estimate.least_voltage_v();
        let grid = (-BELOW..=ABOVE).map(|k| match k {
            0 => voltage_v,
            k => least_v + (voltage_v - least_v) * RATIO.powi(k),
        });
        let (voltages_v, at) = grid
            .filter_map(|v| Some((v, AtVoltage::new(estimate, drawn, v, level)?)))
            .unzip();
        Some(OperatingTable {
            voltage_v,
            largest_current_a,
            voltages_v,
            at,
        })
    }
}

impl AtVoltage {
    fn new(estimate: &Motor, drawn: &[Motor], voltage_v: f64, level: f64) -> Option<AtVoltage> {
        let shares = (1..STATES).map(|k| (f64::from(k) / f64::from(STATES)).powi(2));
        let curve = estimate.curve_at(voltage_v, shares)?;
        let marks = estimate.marks(voltage_v)?;
        let drawn_curves: Vec<Vec<State>> = drawn
            .iter()
            .filter_map(|motor| motor.curve(voltage_v, DRAWN_STATES))
            .collect();
        let drawn_marks: Vec<[State; 4]> = drawn
            .iter()
            .filter_map(|motor| motor.marks(voltage_v))
            .collect();
        let band: Option<Vec<State<(f64, f64)>>> = curve
            .iter()
            .map(|state| spread(&drawn_curves, state.torque_nm, level))
            .collect();
        let known = |x: f64| significant(x.max(0.0), DIGITS);
        let both = |(lower, upper)| (significant(lower, DIGITS), significant(upper, DIGITS));
        let mark_bounds = band.is_some().then(|| {
            let of_mark = |mark| bounds(drawn_marks.iter().map(|marks| marks[mark]), level);
            State::columns((0..4).map(of_mark).map(|state| state.map(both)))
        });
        Some(AtVoltage {
            curve: State::columns(curve.into_iter().map(|state| state.map(known))),
            // The torque of a band is that of the curve.
            band: band.map(|band| State {
                torque_nm: Vec::new(),
                ..State::columns(band.into_iter().map(|state| state.map(both)))
            }),
            marks: State::columns(marks.map(|state| state.map(known))),
            mark_bounds,
        })
    }
}

impl Motor {
    /// Voltage below which friction holds the rotor: where the held rotor's torque is that of Coulomb friction.
    fn least_voltage_v(&self) -> f64 {
        let a = self.terminal.armature_reaction_per_a;
        let friction = self.terminal.friction_current_a;
        // (1 − a i) i = I_c, in the form without cancellation.
        let current_a = 2.0 * friction / (1.0 + (1.0 - 4.0 * a * friction).max(0.0).sqrt());
        self.terminal.held_voltage_v(current_a)
    }

    /// No load, best efficiency, most power, stall; `None` where the motor does not turn.
    fn marks(&self, voltage_v: f64) -> Option<[State; 4]> {
        let motor = &self.terminal;
        Some(
            [
                motor.no_load(voltage_v)?,
                motor.greatest(voltage_v, OperatingPoint::efficiency)?,
                motor.greatest(voltage_v, OperatingPoint::shaft_power_w)?,
                motor.rotor_held(voltage_v),
            ]
            .map(|point| self.running(point)),
        )
    }
}
