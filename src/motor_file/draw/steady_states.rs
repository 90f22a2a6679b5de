//! No-load and stall values at a voltage, by Monte Carlo over what the file leaves possible (JCGM 101:2008, 5 and 7): they bend with their
//! inputs, so distributions are propagated, not moments.

use super::{ParameterSet, Population};
use crate::motor_file::{MotorFile, ParameterName as Name};
use crate::stats::monte_carlo::{Outcomes, Summary};

/// Motors drawn: ends of a 95 % interval are then known to 1 % of its width.
pub const TRIALS: usize = 10_000;
/// Seed of the drawn motors where none is given.
pub const SEED: u64 = 1;
/// Share of motors that may be without a quantity (friction holds them) before it is not reported.
const MOST_UNDEFINED: f64 = 0.005;
/// Relative standard uncertainty above which a quantity counts as not determined.
const LARGEST_RELATIVE: f64 = 0.5;

/// No-load and stall values; absent: what needs a parameter of which nothing is known, what is known to less than half of itself, what
/// some of the motors drawn do not have, and what lies beside that of the best motor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SteadyStates {
    /// rad/s.
    pub no_load_speed: Option<Summary>,
    /// A.
    pub no_load_current: Option<Summary>,
    /// N·m.
    pub stall_torque: Option<Summary>,
    /// A.
    pub stall_current: Option<Summary>,
}

/// The steady states on `voltage_v` (V), the winding as warm as R's temperature says, intervals at `level`.
pub fn steady_states(file: &MotorFile, voltage_v: f64, level: f64) -> SteadyStates {
    let motors = Population::new(file).and_then(|population| population.draws(TRIALS, SEED));
    let Ok(motors) = motors else {
        return SteadyStates::default();
    };
    let each: Vec<[f64; 4]> = motors
        .iter()
        .map(|motor| of_one(motor, voltage_v))
        .collect();
    // Where draws stay away from the motor that fits best, what is open weighs more than what is known.
    let best = of_one(&ParameterSet::estimate(file), voltage_v);
    let summary = |column: usize| {
        let outcomes = Outcomes::new(each.iter().map(|one| one[column])).ok()?;
        if outcomes.undefined as f64 > MOST_UNDEFINED * TRIALS as f64 {
            return None;
        }
        let found = outcomes.summary(level).ok()?;
        let vague = found.standard_uncertainty > LARGEST_RELATIVE * found.value;
        let beside = [found.lower - best[column], best[column] - found.upper];
        let apart = beside.iter().any(|by| *by > found.standard_uncertainty);
        (!vague && !apart && found.value > 0.0).then_some(found)
    };
    // The motors drawn have a resistance even where nothing is said of it.
    let held = |column| {
        file.value(Name::TerminalResistance)
            .and_then(|_| summary(column))
    };
    SteadyStates {
        no_load_speed: summary(0),
        no_load_current: summary(1),
        stall_torque: held(2),
        stall_current: held(3),
    }
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
