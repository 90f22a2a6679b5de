//! A motor's current by itself: fast samples, strong commutation ripple, no voltage channel; cut out of a longer record or seen through a coupling
//! capacitor, as sound cards, clamp meters and data loggers show it.

use crate::bench::Trace;
use crate::chance::Dice;
use std::f64::consts::TAU;

/// Samples in a second.
const RATE_HZ: f64 = 60e3;

/// What the motor does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurrentKind {
    Start,
    Steady,
    Brake,
    RunDown,
}

/// How the record lies over the event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coupling {
    /// The whole event with its zero.
    Direct,
    /// A start whose record begins after the contact has closed.
    Window,
    /// Through a high-pass filter.
    Capacitor,
}

/// A record of a current with its truth.
#[derive(Clone, Debug)]
pub struct CurrentRecord {
    pub kind: CurrentKind,
    pub coupling: Coupling,
    pub step_s: f64,
    pub current_a: Trace,
    /// True speed at each row, rad/s.
    pub speed_rad_s: Vec<f64>,
    /// Cycles of the commutation ripple in a revolution.
    pub cycles_per_revolution: u32,
}

/// The motor and what its current ripples by.
struct Motor {
    supply_v: f64,
    resistance_ohm: f64,
    inductance_h: f64,
    constant: f64,
    inertia: f64,
    coulomb_nm: f64,
    viscous: f64,
    no_load_a: f64,
    free_rad_s: f64,
    tau_m: f64,
    cycles: u32,
    /// Multiple of the angle, share of the current, phase.
    waves: Vec<(f64, f64, f64)>,
}

impl Motor {
    fn draw(dice: &mut Dice) -> Motor {
        let mut log = |low: f64, high: f64| low * libm::pow(high / low, dice.uniform(0.0, 1.0));
        let supply_v = log(5.0, 48.0);
        let stall_a = log(1.0, 60.0);
        let no_load_a = stall_a * log(0.04, 0.2);
        let tau_m = log(0.015, 0.12);
        let tau_e = log(0.2e-3, 2e-3).min(0.2 * tau_m);
        let free_rad_s = log(150.0, 1200.0);
        let resistance_ohm = supply_v / stall_a;
        let constant = (supply_v - resistance_ohm * no_load_a) / free_rad_s;
        let ripple = log(0.03, 0.15);
        let segments = [3, 5, 7, 8, 9, 10, 12, 13][dice.integer(0, 7) as usize];
        let cycles = if segments % 2 == 1 {
            2 * segments
        } else {
            segments
        };
        let shares = [
            (f64::from(cycles), 1.0),
            (2.0 * f64::from(cycles), dice.uniform(0.1, 0.4)),
            (3.0 * f64::from(cycles), dice.uniform(0.0, 0.2)),
            (1.0, dice.uniform(0.02, 0.2)),
            (2.0, dice.uniform(0.02, 0.2)),
        ];
        Motor {
            supply_v,
            resistance_ohm,
            inductance_h: tau_e * resistance_ohm,
            constant,
            inertia: tau_m * constant * constant / resistance_ohm,
            coulomb_nm: 0.7 * constant * no_load_a,
            viscous: 0.3 * constant * no_load_a / free_rad_s,
            no_load_a,
            free_rad_s,
            tau_m,
            cycles,
            waves: shares
                .map(|(order, share)| (order, ripple * share, dice.uniform(0.0, TAU)))
                .to_vec(),
        }
    }
}

/// Draws a record; the same seed gives the same numbers on every machine.
pub fn draw_current(kind: CurrentKind, coupling: Coupling, seed: u64) -> CurrentRecord {
    let mut dice = Dice::new(seed, &format!("{kind:?} {coupling:?}"));
    let motor = Motor::draw(&mut dice);
    let event_s = dice.uniform(0.02, 0.08);
    let length_s = match kind {
        CurrentKind::Start => {
            event_s + motor.tau_m * dice.uniform(5.0, 8.0) + dice.uniform(0.1, 0.6)
        }
        CurrentKind::Steady => dice.uniform(0.25, 1.0),
        CurrentKind::Brake => event_s + motor.tau_m * dice.uniform(5.0, 8.0),
        CurrentKind::RunDown => event_s * dice.uniform(3.0, 6.0),
    };
    let (mut current, mut speed_rad_s) = course(&motor, kind, event_s, length_s);
    if coupling == Coupling::Window {
        let from = ((event_s + motor.tau_m * dice.uniform(0.3, 1.5)) * RATE_HZ) as usize;
        current.drain(..from);
        speed_rad_s.drain(..from);
    }
    if coupling == Coupling::Capacitor {
        let keep = libm::exp(-1.0 / (RATE_HZ * 0.03 * libm::pow(30.0, dice.uniform(0.0, 1.0))));
        // Whatever flowed long enough before has charged the capacitor.
        let mut charged = if kind == CurrentKind::Start {
            0.0
        } else {
            motor.no_load_a
        };
        for value in &mut current {
            charged = keep * charged + (1.0 - keep) * *value;
            *value -= charged;
        }
    }
    CurrentRecord {
        kind,
        coupling,
        step_s: 1.0 / RATE_HZ,
        current_a: shown(&current, &motor, &mut dice),
        speed_rad_s,
        cycles_per_revolution: motor.cycles,
    }
}

/// Current with its ripple, A, and speed, rad/s, row by row.
fn course(motor: &Motor, kind: CurrentKind, event_s: f64, length_s: f64) -> (Vec<f64>, Vec<f64>) {
    const STEPS: usize = 4;
    let step_s = 1.0 / (RATE_HZ * STEPS as f64);
    let running = kind != CurrentKind::Start;
    let (mut current, mut omega, mut theta) = match running {
        true => (motor.no_load_a, motor.free_rad_s, 0.0),
        false => (0.0, 0.0, 0.0),
    };
    let rows = (length_s * RATE_HZ) as usize;
    let mut out = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    for row in 0..rows {
        let happened = row as f64 / RATE_HZ >= event_s;
        let (source_v, closed) = match kind {
            CurrentKind::Steady => (motor.supply_v, true),
            CurrentKind::Start => (motor.supply_v, happened),
            CurrentKind::Brake => (if happened { 0.0 } else { motor.supply_v }, true),
            CurrentKind::RunDown => (motor.supply_v, !happened),
        };
        for _ in 0..STEPS {
            let back_emf = motor.constant * omega;
            current = match closed {
                true => {
                    current
                        + step_s / motor.inductance_h
                            * (source_v - motor.resistance_ohm * current - back_emf)
                }
                false => 0.0,
            };
            let drive = motor.constant * current;
            let friction = motor.coulomb_nm + motor.viscous * omega;
            omega = (omega + step_s / motor.inertia * (drive - friction)).max(0.0);
            theta += omega * step_s;
        }
        let ripple: f64 = motor
            .waves
            .iter()
            .map(|(order, share, phase)| share * libm::cos(order * theta + phase))
            .sum();
        // A rotor that stands does not ripple.
        let turning = (omega / (0.02 * motor.free_rad_s)).min(1.0);
        out.0.push(current * (1.0 + turning * ripple));
        out.1.push(omega);
    }
    out
}

/// As a converter shows it, with noise.
fn shown(current: &[f64], motor: &Motor, dice: &mut Dice) -> Trace {
    let (low, high) = current
        .iter()
        .fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(*v), h.max(*v)));
    let bits = dice.integer(8, 12) as i32;
    let step = 1.1 * (high - low) / libm::pow(2.0, f64::from(bits));
    let noise = motor.no_load_a * 0.01 * libm::pow(20.0, dice.uniform(0.0, 1.0));
    Trace {
        values: current
            .iter()
            .map(|v| step * libm::round((v + noise * dice.normal()) / step))
            .collect(),
        step,
        clipped: vec![false; current.len()],
    }
}
