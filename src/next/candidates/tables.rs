//! Tables of readings that could come next, with two multimeters, a tachometer and a torque arm.

use super::candidate::Candidate;
use super::context::Context;
use crate::bench::{ReadingColumn, ReadingTable, TableKind};
use crate::drive::cautions::Caution;
use crate::fit::Addition;
use crate::motor::OperatingPoint;
use crate::quantity::units::Quantity;

/// Relative standard uncertainties of the meters: limits of 0.5 % for volts, 1 % for amperes, 0.1 % for the speed, 2 % for the torque, and a zero of
/// 0.2 % of the largest current (common practice, no source), each read as two standard deviations.
const VOLTS: f64 = 2.5e-3;
const AMPERES: f64 = 5e-3;
const SPEED: f64 = 0.5e-3;
const TORQUE: f64 = 1e-2;
const ZERO: f64 = 1e-3;

/// Rows of a table.
const ROWS: usize = 6;

/// Largest load of a load line and current of a held rotor, over the stall current.
const LARGEST_LOAD: f64 = 0.3;

const METERS: &str = "two multimeters (0.5 % V, 1 % A)";

/// The list, in no order of merit.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let motor = context.design.motor();
    let supply = context.machine.supply_v;
    let stall_a = motor.rotor_held(supply).current_a;
    let share = |row: usize| row as f64 / (ROWS - 1) as f64;
    let free: Vec<OperatingPoint> = (0..ROWS)
        .filter_map(|row| motor.no_load(supply * (0.3 + 0.7 * share(row))))
        .collect();
    let loaded: Vec<OperatingPoint> = (0..ROWS)
        .filter_map(|row| motor.under_load(supply, LARGEST_LOAD * stall_a * share(row)))
        .collect();
    let held: Vec<OperatingPoint> = (1..=ROWS)
        .map(|row| motor.rotor_held(LARGEST_LOAD * supply * row as f64 / ROWS as f64))
        .collect();
    let tables = [
        (
            "no_load_table",
            TableKind::NoLoad,
            free,
            format!("a no-load table: {ROWS} voltages up to the supply, with current and speed"),
            format!("{METERS} and a tachometer (0.1 %)"),
            Caution::TurningShaft,
        ),
        (
            "load_line",
            TableKind::LoadLine,
            loaded,
            format!(
                "a load line: {ROWS} loads up to a third of the stall torque, with current, speed and torque"
            ),
            format!("{METERS}, a tachometer (0.1 %), a brake with a torque arm (2 %)"),
            Caution::TurningShaft,
        ),
        (
            "held_rotor_table",
            TableKind::HeldRotor,
            held,
            format!(
                "a held-rotor table: {ROWS} currents up to a third of the stall current, with the torque"
            ),
            format!("{METERS} and a torque arm (2 %)"),
            Caution::LockedRotor,
        ),
    ];
    tables
        .into_iter()
        .filter(|(_, _, points, ..)| points.len() >= 2)
        .map(|(key, kind, points, title, needs, caution)| {
            let addition = Addition {
                tables: vec![table(context, kind, &points)],
                ..context.addition()
            };
            let how = format!(
                "docs/bench.md, section 8; kind = \"{}\" under [[tables]]",
                kind.name()
            );
            Candidate {
                cautions: vec![caution.text().into()],
                ..Candidate::new(key, title, addition)
            }
            .needing(needs)
            .how(how)
        })
        .collect()
}

fn table(context: &Context<'_>, kind: TableKind, points: &[OperatingPoint]) -> ReadingTable {
    let k = context.constant();
    let column = |quantity, of: &dyn Fn(&OperatingPoint) -> f64, gain: f64, zero: f64| {
        let values: Vec<f64> = points.iter().map(of).collect();
        let largest = values.iter().copied().fold(0.0, f64::max);
        ReadingColumn {
            quantity,
            values,
            gain_uncertainty: gain,
            zero_uncertainty: zero * largest,
            meter: None,
        }
    };
    let mut columns = vec![
        column(Quantity::Voltage, &|p| p.voltage_v, VOLTS, 0.0),
        column(Quantity::Current, &|p| p.current_a, AMPERES, ZERO),
    ];
    if kind != TableKind::HeldRotor {
        columns.push(column(Quantity::Speed, &|p| p.back_emf_v / k, SPEED, 0.0));
    }
    if kind != TableKind::NoLoad {
        columns.push(column(
            Quantity::Torque,
            &|p| p.torque_current_a * k,
            TORQUE,
            0.0,
        ));
    }
    let captures = &context.bench.captures;
    ReadingTable {
        name: kind.name().to_owned(),
        kind,
        columns,
        winding_temperature_c: captures.iter().find_map(|c| c.winding_temperature_c),
        warmed_k: None,
        file: None,
    }
}
