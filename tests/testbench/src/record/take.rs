//! Takes one capture: lays out its rows, prepares the motor, switches, records.

use super::run::Run;
use super::schedule::{Action, Event, Rows, Tape};
use super::shot::{Shot, ShotKind};
use super::steady::{chopped_speed, run_down_time, steady_running};
use super::wiring::{Wiring, chopping, contact_times, makes};
use crate::chance::Dice;
use crate::error::DrawError;
use crate::motor::{Circuit, Plant, Shaft, State};
use crate::series::series_above;
use std::f64::consts::TAU;

/// What a shot gives.
pub(crate) struct Recording {
    pub rows: Rows,
    pub tape: Tape,
    pub event_s: f64,
    pub contacts_s: Vec<f64>,
    pub steady: Option<(f64, f64)>,
    pub held_position_resistance: Option<f64>,
    pub winding_c_end: f64,
}

/// What the person knows of the motor on this bench when setting the scope.
struct Expected {
    tau_e: f64,
    tau_m: f64,
    /// Resistance of winding, source and shunt, Ω.
    resistance_ohm: f64,
    stall_a: f64,
    /// Speed and current when running freely.
    free: (f64, f64),
    turn_s: f64,
    disc_kg_m2: f64,
}

impl Expected {
    fn of(shot: &Shot, wiring: &Wiring<'_>, winding_c: f64) -> Result<Self, DrawError> {
        let (machine, rig) = (wiring.machine, wiring.rig);
        let supply = wiring.supply_loop();
        let resistance_ohm = machine.resistance_at(winding_c) + supply.resistance_ohm;
        let constant = machine.back_emf_constant_at(wiring.magnets_c);
        let stall_a = rig.supply_v / resistance_ohm;
        let stall_nm = constant * (stall_a - machine.contact_drop_v(stall_a) / resistance_ohm);
        let holding_nm = machine.breakaway_nm + machine.cogging_nm + machine.unbalance_nm;
        let stalls = || DrawError::NoStart {
            capture: shot.name.clone(),
        };
        if !shot.kind.held() && stall_nm <= 1.1 * holding_nm {
            return Err(stalls());
        }
        let free =
            steady_running(machine, &supply, winding_c, wiring.magnets_c).ok_or_else(stalls)?;
        Ok(Expected {
            tau_e: machine.armature_inductance_h / resistance_ohm,
            tau_m: machine.rotor_inertia_kg_m2 * resistance_ohm / (constant * constant),
            resistance_ohm,
            stall_a,
            free,
            turn_s: TAU / free.0,
            disc_kg_m2: if shot.kind == ShotKind::RunDownWithDisc {
                wiring.added_inertia_kg_m2
            } else {
                0.0
            },
        })
    }

    /// The span a person would choose, s.
    fn usual_span(&self, kind: ShotKind, wiring: &Wiring<'_>) -> f64 {
        let (machine, rig) = (wiring.machine, wiring.rig);
        let bounce_s = 1.2 * rig.bounce.window_s;
        match kind {
            ShotKind::Start => 6.0 * self.tau_m + 3.0 * self.tau_e + bounce_s,
            ShotKind::RunDown | ShotKind::RunDownWithDisc => {
                let inertia = machine.rotor_inertia_kg_m2 + self.disc_kg_m2;
                1.2 * run_down_time(machine, inertia, self.free.0)
            }
            ShotKind::Brake => {
                let supply_ohm = wiring.supply_loop().resistance_ohm;
                let short = self.resistance_ohm - supply_ohm + wiring.short_loop().resistance_ohm;
                6.0 * self.tau_m * short / self.resistance_ohm + 1.4 * rig.flight_s[1] + bounce_s
            }
            ShotKind::Locked => 10.0 * self.tau_e + bounce_s,
            ShotKind::LockedClean => 12.0 * self.tau_e,
            ShotKind::Steady => (30.0 * self.turn_s).max(20.0 * self.tau_e),
            ShotKind::Driven => 30.0 * self.turn_s,
            ShotKind::Pwm | ShotKind::PwmLocked => 12.0 / rig.chopper.frequency_hz,
            ShotKind::TurnOff => {
                let fall = libm::log1p(rig.supply_v / rig.diode.forward_v);
                let loop_ohm =
                    self.resistance_ohm - rig.source_resistance_ohm + rig.diode.slope_ohm;
                2.2 * machine.armature_inductance_h * fall / loop_ohm
            }
            ShotKind::TurnOffUnclamped => {
                8.0 * machine.armature_inductance_h * self.stall_a / rig.arc.spark_v[0]
            }
        }
    }

    fn rows(&self, shot: &Shot, wiring: &Wiring<'_>) -> Rows {
        let span = self.usual_span(shot.kind, wiring) * shot.span;
        let step_s = series_above(span / shot.rows as f64, &[1.0, 2.0, 4.0, 5.0, 8.0]);
        let count = (span / step_s).ceil();
        let mut before = shot.kind.before_trigger() * count;
        if shot.kind == ShotKind::Brake {
            // The opening, too, should be on the screen.
            before = before.max(1.3 * wiring.rig.flight_s[1] / step_s);
        }
        Rows {
            start_s: -before.round() * step_s,
            step_s,
            count: count as usize,
            time_base: wiring.time_base,
        }
    }
}

/// What the terminals see from settling to the end of the record.
struct Script {
    circuit: Circuit,
    settle_s: f64,
    while_settling: Vec<Event>,
    recorded: Vec<Event>,
    contacts_s: Vec<f64>,
}

impl Script {
    fn write(
        kind: ShotKind,
        wiring: &Wiring<'_>,
        expected: &Expected,
        rows: &Rows,
        event_s: f64,
        dice: &mut Dice,
    ) -> Self {
        let rig = wiring.rig;
        let supply = wiring.supply_loop();
        let single = |action| {
            vec![Event {
                at_s: event_s,
                action,
            }]
        };
        let mut script = Script {
            circuit: Circuit::Loop(supply),
            settle_s: 0.0,
            while_settling: Vec::new(),
            recorded: Vec::new(),
            contacts_s: vec![event_s],
        };
        let running_s = (2.0 * expected.tau_m)
            .max(20.0 * expected.tau_e)
            .max(2.0 * expected.turn_s);
        match kind {
            ShotKind::Start | ShotKind::Locked | ShotKind::LockedClean => {
                script.circuit = Circuit::Open;
                if kind != ShotKind::LockedClean {
                    script.contacts_s = contact_times(rig, event_s, dice);
                }
                script.recorded = makes(&script.contacts_s, supply);
            }
            ShotKind::RunDown | ShotKind::RunDownWithDisc => {
                script.settle_s = running_s;
                script.recorded = single(Action::Break);
            }
            ShotKind::Brake => {
                script.settle_s = running_s;
                let closings = contact_times(rig, event_s, dice);
                let opening_s = event_s - dice.uniform(rig.flight_s[0], rig.flight_s[1]);
                script.recorded = vec![Event {
                    at_s: opening_s,
                    action: Action::Break,
                }];
                script
                    .recorded
                    .extend(makes(&closings, wiring.short_loop()));
                script.contacts_s = vec![opening_s];
                script.contacts_s.extend(closings);
            }
            ShotKind::Steady => script.settle_s = running_s,
            ShotKind::Driven => {
                script.circuit = Circuit::Open;
                script.settle_s = expected.turn_s;
            }
            ShotKind::Pwm | ShotKind::PwmLocked => {
                let period = 1.0 / rig.chopper.frequency_hz;
                script.circuit = Circuit::Open;
                script.contacts_s.clear();
                script.settle_s = ((8.0 * expected.tau_e / period).ceil() + 4.0) * period;
                let (first_s, last_s) = (first_s(rows), rows.true_time(rows.count) + rows.step_s);
                (script.while_settling, script.recorded) =
                    chopping(wiring, first_s - script.settle_s, last_s)
                        .into_iter()
                        .partition(|event| event.at_s <= first_s);
            }
            ShotKind::TurnOff => {
                script.settle_s = 20.0 * expected.tau_e;
                script.recorded = single(Action::Freewheel(wiring.diode_loop()));
            }
            ShotKind::TurnOffUnclamped => {
                script.settle_s = 20.0 * expected.tau_e;
                script.recorded = single(Action::Break);
            }
        }
        script
    }
}

/// Recording begins one interval before the first row.
fn first_s(rows: &Rows) -> f64 {
    rows.true_time(0) - rows.step_s
}

/// Takes one capture.
///
/// # Errors
/// When the motor would not turn where it should.
pub(crate) fn take(
    shot: &Shot,
    wiring: &Wiring<'_>,
    winding_c: f64,
    dice: &mut Dice,
) -> Result<Recording, DrawError> {
    let (machine, kind) = (wiring.machine, shot.kind);
    let expected = Expected::of(shot, wiring, winding_c)?;
    let rows = expected.rows(shot, wiring);
    let shaft = match kind {
        ShotKind::Driven => Shaft::Driven,
        _ if kind.held() => Shaft::Held,
        _ => Shaft::Free,
    };
    let mut plant = Plant::new(
        machine,
        wiring.commutation,
        winding_c,
        wiring.magnets_c,
        shaft,
    );
    plant.inertia_kg_m2 += expected.disc_kg_m2;
    let resistance_start = plant.resistance_ohm;
    let mut state = State::at_rest(dice.uniform(0.0, TAU));
    let held_position_resistance = kind.held().then(|| wiring.commutation.at(state.theta).1);

    // The trigger level lies a little up the edge, and the sampling clock does not know of the event.
    let event_s = -dice.uniform(0.03, 0.09) * expected.tau_e.min(20.0 * rows.step_s)
        - dice.uniform(0.0, 1.0) * rows.step_s;
    let script = Script::write(kind, wiring, &expected, &rows, event_s, dice);
    match kind {
        ShotKind::Driven => (state.omega, state.direction) = (expected.free.0, 1.0),
        ShotKind::Pwm => {
            (state.omega, state.direction) = (chopped_speed(wiring, winding_c, dice), 1.0);
        }
        ShotKind::TurnOff | ShotKind::TurnOffUnclamped => state.current_a = expected.stall_a,
        ShotKind::RunDown | ShotKind::RunDownWithDisc | ShotKind::Brake | ShotKind::Steady => {
            (state.omega, state.current_a) = expected.free;
            state.direction = 1.0;
        }
        ShotKind::Start | ShotKind::Locked | ShotKind::LockedClean | ShotKind::PwmLocked => {}
    }
    state.eddy_a = state.current_a;

    let mut run = Run::new(
        &mut plant,
        wiring.rig,
        state,
        script.circuit,
        wiring.pickup(),
        dice,
    );
    let first_s = first_s(&rows);
    let means = run.settle(
        first_s - script.settle_s,
        first_s,
        &script.while_settling,
        dice,
    );
    run.rewarm(resistance_start);
    let tape = run.record(&script.recorded, &rows, wiring.averaged, dice);
    let relative = plant.resistance_ohm / machine.terminal_resistance_ohm;
    Ok(Recording {
        rows,
        tape,
        event_s,
        contacts_s: script.contacts_s,
        steady: (script.settle_s > 0.0 && !kind.held()).then_some(means),
        held_position_resistance,
        winding_c_end: 25.0 + (relative - 1.0) / machine.copper_per_k,
    })
}
