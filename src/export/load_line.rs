//! What a motor does at a voltage, as tables: along its torque-speed line, and over voltage and torque. Middle and interval of each
//! value by Monte Carlo over what the motor file leaves possible (JCGM 101:2008, 7), the winding at the temperature of R.

use super::columns::number;
use super::{ExportError, table};
use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::MotorFile;
use crate::motor_file::draw::{Population, SEED, TRIALS};
use crate::stats::monte_carlo::Outcomes;
use polars::prelude::*;

/// Level of the intervals.
const LEVEL: f64 = 0.95;
/// Rows of the torque-speed line.
const SPEEDS: usize = 41;
/// Voltages and torques of the map.
const VOLTAGES: usize = 8;
const TORQUES: usize = 24;
/// Share of the drawn motors that may be without a value (friction and load hold them) before the cell stays empty.
const MOST_UNDEFINED: f64 = 0.005;

/// A drawn motor and its K.
type Drawn = (TerminalParameters, f64);

fn drawn(file: &MotorFile, format: &'static str) -> Result<Vec<Drawn>, ExportError> {
    let needs = |source| ExportError::Needs { format, source };
    let motors = Population::new(file)
        .and_then(|population| population.draws(TRIALS, SEED))
        .map_err(needs)?;
    Ok(motors
        .iter()
        .filter_map(|motor| {
            let k = motor.mechanical().ok()?.back_emf_constant_v_s_per_rad;
            Some((motor.terminal().ok()?, k))
        })
        .collect())
}

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

/// Middle and bounds of a quantity over the drawn motors in each row, three columns; `None` of a motor is a point it does not have.
fn columns(quantity: Quantity, rows: &[Vec<Option<(OperatingPoint, f64)>>]) -> [Column; 3] {
    let (heading, of) = quantity;
    let summaries: Vec<_> = rows
        .iter()
        .map(|motors| {
            let values = motors
                .iter()
                .map(|motor| motor.map_or(f64::NAN, |(point, k)| of(&point, k)));
            let outcomes = Outcomes::new(values).ok()?;
            let few = outcomes.undefined as f64 <= MOST_UNDEFINED * motors.len() as f64;
            few.then(|| outcomes.summary(LEVEL).ok()).flatten()
        })
        .collect();
    let column = |suffix: &str, of: fn(&crate::stats::monte_carlo::Summary) -> f64| {
        let name = format!("{heading}{suffix}");
        number(
            &name,
            summaries.iter().map(|summary| summary.as_ref().map(of)),
        )
    };
    [
        column("", |summary| summary.value),
        column("_lower", |summary| summary.lower),
        column("_upper", |summary| summary.upper),
    ]
}

/// Torque, current, power and efficiency at speeds from standstill to no load at `supply_v`, with their 95 % intervals, as CSV.
///
/// # Errors
/// [`ExportError::Needs`], [`ExportError::WouldNotTurn`], [`ExportError::Table`].
pub fn torque_speed(file: &MotorFile, supply_v: f64) -> Result<Vec<u8>, ExportError> {
    let format = "the torque-speed table";
    let estimate = super::Instance::estimate(file, format)?;
    let top = estimate
        .terminal
        .no_load(supply_v)
        .ok_or(ExportError::WouldNotTurn { supply_v })?
        .speed_rad_s(estimate.mechanical.back_emf_constant_v_s_per_rad);
    let motors = drawn(file, format)?;
    let speeds: Vec<f64> = (0..SPEEDS)
        .map(|n| top * n as f64 / (SPEEDS - 1) as f64)
        .collect();
    let rows: Vec<Vec<_>> = speeds
        .iter()
        .map(|speed| {
            let at = |(motor, k): &Drawn| Some((motor.at_back_emf(supply_v, k * speed), *k));
            motors.iter().map(at).collect()
        })
        .collect();
    let mut all = vec![
        number("voltage_v", speeds.iter().map(|_| Some(supply_v))),
        number("speed_rad_s", speeds.iter().map(|speed| Some(*speed))),
        number(
            "speed_rpm",
            speeds
                .iter()
                .map(|speed| Some(speed * 30.0 / std::f64::consts::PI)),
        ),
    ];
    all.extend(
        QUANTITIES[1..]
            .iter()
            .flat_map(|quantity| columns(*quantity, &rows)),
    );
    Ok(table::csv(&DataFrame::new(SPEEDS, all)?)?)
}

/// Speed, current, power and efficiency over voltages up to `supply_v` and torques up to that of the held rotor there, as CSV; a cell is
/// empty where friction and load hold the rotor.
///
/// # Errors
/// As [`torque_speed`].
pub fn efficiency_map(file: &MotorFile, supply_v: f64) -> Result<Vec<u8>, ExportError> {
    let format = "the efficiency map";
    let estimate = super::Instance::estimate(file, format)?;
    estimate
        .terminal
        .no_load(supply_v)
        .ok_or(ExportError::WouldNotTurn { supply_v })?;
    let stall_nm = estimate
        .terminal
        .rotor_held(supply_v)
        .torque_nm(estimate.mechanical.back_emf_constant_v_s_per_rad);
    let motors = drawn(file, format)?;
    let mut points = Vec::new();
    for n in 1..=VOLTAGES {
        let voltage_v = supply_v * n as f64 / VOLTAGES as f64;
        for m in 0..TORQUES {
            points.push((voltage_v, stall_nm * m as f64 / TORQUES as f64));
        }
    }
    let rows: Vec<Vec<_>> = points
        .iter()
        .map(|&(voltage_v, torque_nm)| {
            let at = |(motor, k): &Drawn| Some((motor.under_load(voltage_v, torque_nm / k)?, *k));
            motors.iter().map(at).collect()
        })
        .collect();
    let mut all = vec![
        number(
            "voltage_v",
            points.iter().map(|(voltage_v, _)| Some(*voltage_v)),
        ),
        number(
            "torque_nm",
            points.iter().map(|(_, torque_nm)| Some(*torque_nm)),
        ),
    ];
    let kept = QUANTITIES
        .iter()
        .filter(|(heading, _)| *heading != "torque_nm");
    all.extend(kept.flat_map(|quantity| columns(*quantity, &rows)));
    Ok(table::csv(&DataFrame::new(points.len(), all)?)?)
}
