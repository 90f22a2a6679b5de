//! What is known or guessed of a motor before its next capture.

use crate::fit::{ExperimentDesign, Reported, Status};
use crate::next::advice::series::settable_down;
use crate::next::assumptions::guess::{Basis, Guess};
use crate::next::assumptions::size::{Size, copper_from_inertia_kg};
use crate::next::rig::Rig;
use crate::quantity::units::RPM;
use serde::Serialize;
use std::f64::consts::TAU;

/// Guesses for small motors without load (common practice, no source): mechanical time constant, s; no-load current over V/R;
/// free-running speed, rad/s.
const MECHANICAL_S: (f64, f64, f64) = (5e-3, 20e-3, 200e-3);
const NO_LOAD_SHARE: (f64, f64, f64) = (0.01, 0.04, 0.15);
const SPEED_RPM: (f64, f64, f64) = (2000.0, 5000.0, 15000.0);
/// Share of the supply voltage that the back-EMF of a freely running motor reaches.
const EMF_SHARE: f64 = 0.95;
/// An ohmmeter may read high by this, since its milliamperes do not break the film under a carbon brush, and low by less
/// (common practice, no source).
const METER_HIGH: f64 = 0.30;
const METER_LOW: f64 = 0.05;

/// SI.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Machine {
    pub supply_v: f64,
    /// At which captures are proposed: the supply, or less where its inrush would be too much.
    pub working_v: f64,
    pub resistance_ohm: Option<Guess>,
    /// L/R in s.
    pub electrical_time_constant_s: Guess,
    /// R·C_m in s.
    pub mechanical_time_constant_s: Guess,
    /// While running freely on the supply.
    pub running_a: Option<Guess>,
    /// Back-EMF without load at the supply in V.
    pub running_emf_v: f64,
    /// Speed without load in rad/s.
    pub speed_rad_s: Guess,
    /// From full speed to standstill, terminals open.
    pub run_down_s: Guess,
    pub copper_kg: Option<Guess>,
    pub segments: Option<u32>,
}

/// Inrush beyond which the first captures are made at a lower voltage (common practice, no source), A.
const LARGEST_INRUSH_A: f64 = 60.0;

/// Range of the true resistance behind an ohmmeter's reading.
pub fn behind_reading(reading_ohm: f64, high_share: f64) -> Guess {
    // The range is a guess, though the reading is not.
    Guess {
        value: reading_ohm,
        low: reading_ohm * (1.0 - high_share),
        high: reading_ohm * (1.0 + METER_LOW),
        basis: Basis::FromGuess,
    }
}

/// Share by which the meter may read high where nothing is known of the brushes.
pub const UNKNOWN_BRUSHES_HIGH: f64 = METER_HIGH;

impl Machine {
    /// Before any capture.
    pub fn guessed(
        supply_v: f64,
        resistance_ohm: Option<Guess>,
        size: &Size,
        segments: Option<u32>,
    ) -> Self {
        let share = Guess::range(NO_LOAD_SHARE);
        let mechanical = Guess::range(MECHANICAL_S);
        // Friction alone takes C_m V/I₀ = τ_m (V/R)/I₀; the range is no product of both ends, which never meet.
        let run_down = mechanical.times(1.0 / share.value);
        let bearable = resistance_ohm.map_or(f64::INFINITY, |r| LARGEST_INRUSH_A * r.value);
        Machine {
            supply_v,
            working_v: if bearable < supply_v {
                settable_down(bearable)
            } else {
                supply_v
            },
            resistance_ohm,
            electrical_time_constant_s: size.electrical_time_constant_s(),
            mechanical_time_constant_s: mechanical,
            running_a: resistance_ohm.map(|r| Guess::given(supply_v).over(r).product(share)),
            running_emf_v: EMF_SHARE * supply_v,
            speed_rad_s: Guess::range(SPEED_RPM).times(RPM),
            run_down_s: run_down.on(Basis::FromGuess),
            copper_kg: size.copper_kg(),
            segments,
        }
    }

    /// From a fit; what it leaves open is guessed from the size.
    pub fn fitted(
        supply_v: f64,
        design: &ExperimentDesign<'_>,
        rig: &Rig<'_>,
        size: &Size,
        segments: Option<u32>,
    ) -> Self {
        let reported = design.reported();
        let measured = |name: &str| of(reported, name);
        let running = rig.running(supply_v);
        let constant = measured("back_emf_constant");
        let sharp = |value: f64| Guess::given(value).on(Basis::Measured);
        let motor = design.motor();
        let copper_kg = size
            .copper_kg()
            .or_else(|| Some(copper_from_inertia_kg(measured("rotor_inertia")?.value)));
        Machine {
            supply_v,
            working_v: supply_v,
            resistance_ohm: Some(
                measured("terminal_resistance")
                    .unwrap_or_else(|| Guess::within_factor(motor.terminal_resistance_ohm, 1.5)),
            ),
            electrical_time_constant_s: measured("electrical_time_constant")
                .unwrap_or_else(|| size.electrical_time_constant_s()),
            mechanical_time_constant_s: measured("mechanical_time_constant")
                .unwrap_or_else(|| Guess::range(MECHANICAL_S)),
            running_a: Some(sharp(running.current)),
            running_emf_v: running.back_emf,
            speed_rad_s: constant.map_or_else(
                || Guess::range(SPEED_RPM).times(RPM),
                |k| sharp(running.back_emf).over(k),
            ),
            run_down_s: sharp(rig.run_down_s(running.back_emf, 0.02, 0.0)),
            copper_kg,
            segments,
        }
    }

    /// Current of a held rotor, or of one that starts, on `voltage_v`.
    pub fn stall_a(&self, voltage_v: f64) -> Option<Guess> {
        Some(Guess::given(voltage_v).over(self.resistance_ohm?))
    }

    /// Highest frequency of commutation ripple to be expected, Hz.
    pub fn ripple_hz(&self) -> f64 {
        let cycles = match self.segments {
            Some(s) if s % 2 == 1 => 2.0 * f64::from(s),
            Some(s) => f64::from(s),
            None => UNKNOWN_CYCLES,
        };
        self.speed_rad_s.high / TAU * cycles
    }
}

/// Ripple cycles a turn where the segments were not counted: most small motors have fewer (common practice, no source).
const UNKNOWN_CYCLES: f64 = 26.0;

fn of(reported: &[Reported], name: &str) -> Option<Guess> {
    let r = reported.iter().find(|r| r.name == name)?;
    let at = r
        .estimate
        .filter(|at| r.status == Status::Measured && at.value > 0.0)?;
    Some(Guess {
        value: at.value,
        low: at.lower.max(0.1 * at.value),
        high: at.upper,
        basis: Basis::Measured,
    })
}
