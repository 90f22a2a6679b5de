//! No-load and stall values at a voltage, by Monte Carlo over what the file leaves possible (JCGM 101:2008, 5 and 7): they bend with their
//! inputs, so distributions are propagated, not moments.

use super::{DrawError, ParameterSet, Population};
use crate::motor_file::{MotorFile, OperatingPoint, OperatingPoints, ParameterName as Name};
use crate::stats::adaptive::{LEAST, Plan, until_stable};
use crate::stats::monte_carlo::Outcomes;
use rayon::prelude::*;

/// Monte Carlo draws for a table: ends of a 95 % interval are then known to 1 % of its width.
pub const TRIALS: usize = 10_000;
/// Most Monte Carlo draws for a number that needs no simulation: twice the standard deviation of a bound at 95 % is then 3 % of its standard
/// uncertainty, so that numbers whose first digits are up to 16 are stable to two (JCGM 101:2008, 7.9), the others to one.
const MOST_TRIALS: usize = 30_000;
/// Seed of the drawn motors where none is given.
pub const SEED: u64 = 1;
/// Share of motors that may be without a quantity (friction holds them) before it is not reported.
const MOST_UNDEFINED: f64 = 0.005;
/// Relative standard uncertainty above which a quantity counts as not determined.
const LARGEST_RELATIVE: f64 = 0.5;

/// As many trials as made the steady states of `file` stable, so that every command gives the same numbers for the same question; an adaptive
/// number where it has none.
pub fn plan(file: Option<&MotorFile>, level: f64) -> Plan {
    let of_file = file.and_then(|file| file.operating.as_ref());
    let of_file = of_file.map(|points| (points.trials as usize).clamp(LEAST, MOST_TRIALS));
    Plan {
        level,
        bounds: true,
        least: of_file.unwrap_or(LEAST),
        most: of_file.unwrap_or(MOST_TRIALS),
    }
}

/// No-load and stall values on `voltage_v` (V), the winding as warm as R's temperature says, intervals at `level`. Absent is what needs a
/// parameter of which nothing is known, what is known to less than half of itself, what some of the motors drawn do not have, and what lies
/// beside that of the motor that fits best.
pub fn operating_points(file: &MotorFile, voltage_v: f64, level: f64) -> Option<OperatingPoints> {
    let population = Population::new(file).ok()?;
    let mut motors = population.motors(SEED).ok()?;
    let trials = until_stable(plan(None, level), |places| {
        let drawn = motors.by_ref().take(places.len());
        let drawn: Vec<ParameterSet> = drawn.collect::<Result<_, _>>()?;
        let each = drawn.par_iter().map(|motor| of_one(motor, voltage_v));
        let each: Vec<[f64; 4]> = each.collect();
        let column = |k: usize| each.iter().map(|one| one[k]).collect();
        Ok::<_, DrawError>((0..4).map(column).collect())
    });
    let trials = trials.ok()?;
    // Where draws stay away from the motor that fits best, what is open weighs more than what is known.
    let best = of_one(&ParameterSet::estimate(file), voltage_v);
    let point = |column: usize, unit: &str| {
        let outcomes = Outcomes::new(trials.columns[column].iter().copied()).ok()?;
        if outcomes.undefined as f64 > MOST_UNDEFINED * trials.draws as f64 {
            return None;
        }
        let found = outcomes.summary(level).ok()?;
        let vague = found.standard_uncertainty > LARGEST_RELATIVE * found.value;
        let beside = [found.lower - best[column], best[column] - found.upper];
        let apart = beside.iter().any(|by| *by > found.standard_uncertainty);
        (!vague && !apart && found.value > 0.0).then(|| OperatingPoint {
            value: found.value,
            unit: unit.to_owned(),
            standard_uncertainty: found.standard_uncertainty,
            lower: found.lower,
            upper: found.upper,
        })
    };
    // The motors drawn have a resistance even where nothing is said of it.
    let held = |column, unit| {
        file.value(Name::TerminalResistance)
            .and_then(|_| point(column, unit))
    };
    let points = OperatingPoints {
        voltage_v,
        level,
        trials: trials.draws as u64,
        seed: Some(SEED),
        stable_digits: Some(trials.stable_digits),
        no_load_speed: point(0, "rad/s"),
        no_load_current: point(1, "A"),
        stall_torque: held(2, "N.m"),
        stall_current: held(3, "A"),
    };
    let some = points.known().next().is_some();
    some.then_some(points)
}

/// No-load speed and current, stall torque and current of one motor; NaN for what it does not have.
fn of_one(motor: &ParameterSet, voltage_v: f64) -> [f64; 4] {
    let k = motor.value(Name::BackEmfConstant).unwrap_or(f64::NAN);
    let (speed, current) = motor
        .steady()
        .ok()
        .and_then(|motor| motor.no_load(voltage_v))
        .map_or((f64::NAN, f64::NAN), |free| {
            (free.speed_rad_s(k), free.current_a)
        });
    let (torque, held_a) = motor.steady().map_or((f64::NAN, f64::NAN), |motor| {
        let held = motor.rotor_held(voltage_v);
        (held.torque_nm(k), held.current_a)
    });
    [speed, current, torque, held_a]
}
