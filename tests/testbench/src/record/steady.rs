//! Where the simulated motor settles: free running, chopped running, and how long friction takes to stop it.

use super::run::Run;
use super::schedule::Event;
use super::wiring::{Wiring, chopping};
use crate::chance::Dice;
use crate::motor::{Circuit, Commutation, Loop, Machine, Plant, Shaft, State};

/// Speed and current at which `machine` runs steadily in `outside`, means over a turn; `None` where it stalls.
pub(crate) fn steady_running(
    machine: &Machine,
    outside: &Loop,
    winding_c: f64,
    magnets_c: f64,
) -> Option<(f64, f64)> {
    let constant = machine.back_emf_constant_at(magnets_c);
    let resistance = machine.resistance_at(winding_c) + outside.resistance_ohm;
    let current_at = |omega: f64| {
        let torque = machine.running_friction_nm(omega);
        let first = torque / constant;
        torque / (constant * machine.flux_share(first))
    };
    let spare = |omega: f64| {
        let current = current_at(omega);
        let emf = constant * machine.flux_share(current) * omega;
        outside.source_v - resistance * current - machine.contact_drop_v(current) - emf
    };
    let (mut low, mut high) = (0.0, outside.source_v / constant);
    if spare(low) <= 0.0 {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if spare(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some((low, current_at(low)))
}

/// Time in which friction alone stops the rotor from `omega`, s.
pub(crate) fn run_down_time(machine: &Machine, inertia: f64, omega: f64) -> f64 {
    const PARTS: usize = 200;
    let part = omega / PARTS as f64;
    (0..PARTS)
        .map(|k| inertia * part / machine.running_friction_nm((k as f64 + 0.5) * part))
        .sum()
}

/// Speed at which the chopped motor neither gains nor loses, from the torque at held speed over whole cycles.
pub(crate) fn chopped_speed(wiring: &Wiring<'_>, winding_c: f64, dice: &mut Dice) -> f64 {
    let (machine, magnets_c) = (wiring.machine, wiring.magnets_c);
    let mut even = machine.clone();
    even.commutator.emf_ripple = 0.0;
    even.commutator.unevenness = 0.0;
    even.commutator.resistance_variation = 0.0;
    even.commutator.brush_noise = 0.0;
    even.inductance_variation = 0.0;
    let commutation = Commutation::draw(&even, dice);
    let period = 1.0 / wiring.rig.chopper.frequency_hz;
    let tau_e = machine.armature_inductance_h / machine.resistance_at(winding_c);
    let settle = ((6.0 * tau_e / period).ceil() + 2.0) * period;
    let (mut low, mut high) = (
        0.0,
        wiring.rig.supply_v / machine.back_emf_constant_at(magnets_c),
    );
    for _ in 0..22 {
        let omega = 0.5 * (low + high);
        let mut plant = Plant::new(&even, &commutation, winding_c, magnets_c, Shaft::Driven);
        let mut state = State::at_rest(0.0);
        (state.omega, state.direction) = (omega, 1.0);
        let events = chopping(wiring, 0.0, settle + 4.0 * period);
        let mut run = Run::new(
            &mut plant,
            wiring.rig,
            state,
            Circuit::Open,
            wiring.pickup(),
            dice,
        );
        run.settle(0.0, settle, &events, dice);
        let before = run.plant.balance;
        let rest: Vec<Event> = events.into_iter().filter(|e| e.at_s > settle).collect();
        run.settle(settle, settle + 4.0 * period, &rest, dice);
        let after = run.plant.balance;
        let gained = after.torque_j - before.torque_j - (after.friction_j - before.friction_j);
        if gained > 0.0 {
            low = omega;
        } else {
            high = omega;
        }
    }
    low
}
