//! What a motor does at a voltage, as tables: along its torque-speed line, and over voltage and torque. Middle and interval of each
//! value by Monte Carlo over what the motor file leaves possible (JCGM 101:2008, 7), the winding at the temperature of R.

use super::columns::number;
use super::table;
use crate::export::{ExportError, Instance};
use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::MotorFile;
use crate::motor_file::draw::{ParameterSet, Population, SEED, TRIALS};
use crate::stats::monte_carlo::{Outcomes, Summary};
use polars::prelude::*;
use std::f64::consts::PI;

/// Level of the intervals.
const LEVEL: f64 = 0.95;
/// Rows of the torque-speed line.
const SPEEDS: usize = 41;
/// Voltages and torques of the map.
const VOLTAGES: usize = 8;
const TORQUES: usize = 24;
/// Share of the drawn motors that may be without a value (friction and load hold them) before the cell stays empty.
const MOST_UNDEFINED: f64 = 0.005;

/// A quantity of an operating point, and the heading of its columns.
type Quantity = (&'static str, fn(&OperatingPoint, f64) -> f64);

const QUANTITIES: [Quantity; 6] = [
    ("speed_rad_s", |point, k| point.speed_rad_s(k)),
    ("torque_nm", |point, k| point.torque_nm(k)),
    ("current_a", |point, _| point.current_a),
    ("electrical_power_w", |point, _| {
        point.voltage_v * point.current_a
    }),
    ("shaft_power_w", |point, _| point.shaft_power_w()),
    ("efficiency", |point, _| point.efficiency().max(0.0)),
];

/// A motor that turns at a supply, as the estimate has it.
struct Turning {
    machine: TerminalParameters,
    k: f64,
    top_rad_s: f64,
}

impl Turning {
    fn new(file: &MotorFile, format: &'static str, supply_v: f64) -> Result<Self, ExportError> {
        let estimate = Instance::estimate(file, format)?;
        let k = estimate.mechanical.back_emf_constant_v_s_per_rad;
        let free = estimate.terminal.no_load(supply_v);
        let free = free.ok_or(ExportError::WouldNotTurn { supply_v })?;
        Ok(Turning {
            machine: estimate.terminal,
            k,
            top_rad_s: free.speed_rad_s(k),
        })
    }
}

/// `heads`, then middle and bounds of each quantity over the drawn motors, as CSV; `at`: operating point of a motor with its K in a row,
/// `None` where it has none.
fn csv(
    file: &MotorFile,
    format: &'static str,
    mut heads: Vec<Column>,
    quantities: &[Quantity],
    at: impl Fn(&TerminalParameters, f64, usize) -> Option<OperatingPoint>,
) -> Result<Vec<u8>, ExportError> {
    let needs = |source| ExportError::Needs { format, source };
    let motors = Population::new(file)
        .and_then(|population| population.draws(TRIALS, SEED))
        .map_err(needs)?;
    let known = |motor: &ParameterSet| {
        let k = motor.mechanical().ok()?.back_emf_constant_v_s_per_rad;
        Some((motor.terminal().ok()?, k))
    };
    let motors: Vec<(TerminalParameters, f64)> = motors.iter().filter_map(known).collect();
    let height = heads.first().map_or(0, Column::len);
    let rows: Vec<Vec<_>> = (0..height)
        .map(|row| motors.iter().map(|(motor, k)| at(motor, *k, row)).collect())
        .collect();
    for (heading, of) in quantities {
        let summary = |points: &Vec<Option<OperatingPoint>>| {
            let each = points.iter().zip(&motors);
            let each = each.map(|(point, (_, k))| point.map_or(f64::NAN, |point| of(&point, *k)));
            let outcomes = Outcomes::new(each).ok()?;
            let few = outcomes.undefined as f64 <= MOST_UNDEFINED * motors.len() as f64;
            few.then(|| outcomes.summary(LEVEL).ok()).flatten()
        };
        let summaries: Vec<Option<Summary>> = rows.iter().map(summary).collect();
        let ends = |s: &Summary| [s.value, s.lower, s.upper];
        for (place, suffix) in ["", "_lower", "_upper"].into_iter().enumerate() {
            let cells = summaries.iter().map(|s| s.as_ref().map(|s| ends(s)[place]));
            heads.push(number(&format!("{heading}{suffix}"), cells));
        }
    }
    Ok(table::csv(&DataFrame::new(height, heads)?)?)
}

/// Torque, current, power and efficiency at speeds from standstill to no load at `supply_v`, with their 95 % intervals, as CSV.
///
/// # Errors
/// [`ExportError::Needs`], [`ExportError::WouldNotTurn`], [`ExportError::Table`].
pub fn torque_speed(file: &MotorFile, supply_v: f64) -> Result<Vec<u8>, ExportError> {
    let format = "the torque-speed table";
    let top_rad_s = Turning::new(file, format, supply_v)?.top_rad_s;
    let speed = |row: usize| top_rad_s * row as f64 / (SPEEDS - 1) as f64;
    let speeds = || (0..SPEEDS).map(speed);
    let heads = vec![
        number("voltage_v", speeds().map(|_| Some(supply_v))),
        number("speed_rad_s", speeds().map(Some)),
        number("speed_rpm", speeds().map(|s| Some(s * 30.0 / PI))),
    ];
    csv(file, format, heads, &QUANTITIES[1..], |motor, k, row| {
        Some(motor.at_back_emf(supply_v, k * speed(row)))
    })
}

/// Speed, current, power and efficiency over voltages up to `supply_v` and torques up to that of the held rotor there, as CSV; a cell is
/// empty where friction and load hold the rotor.
///
/// # Errors
/// As [`torque_speed`].
pub fn efficiency_map(file: &MotorFile, supply_v: f64) -> Result<Vec<u8>, ExportError> {
    let format = "the efficiency map";
    let turning = Turning::new(file, format, supply_v)?;
    let stall_nm = turning.machine.rotor_held(supply_v).torque_nm(turning.k);
    let voltage_v = |row: usize| supply_v * (row / TORQUES + 1) as f64 / VOLTAGES as f64;
    let torque_nm = |row: usize| stall_nm * (row % TORQUES) as f64 / TORQUES as f64;
    let rows = || 0..VOLTAGES * TORQUES;
    let heads = vec![
        number("voltage_v", rows().map(|row| Some(voltage_v(row)))),
        number("torque_nm", rows().map(|row| Some(torque_nm(row)))),
    ];
    let [speed, _, others @ ..] = QUANTITIES;
    let quantities: Vec<Quantity> = [speed].into_iter().chain(others).collect();
    csv(file, format, heads, &quantities, |motor, k, row| {
        motor.under_load(voltage_v(row), torque_nm(row) / k)
    })
}
