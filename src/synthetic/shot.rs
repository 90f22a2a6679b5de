//! One capture: what is switched, when, over which span, and how the scope is set for it.

use super::SyntheticError;
use super::chance::Dice;
use super::commutation::Commutation;
use super::machine::Machine;
use super::plant::{Circuit, Loop, Plant, Shaft, State};
use super::rig::{CurrentSensor, Rig};
use super::run::{Action, Event, Pickup, Rows, Run, Tape};
use super::screen::series_above;
use crate::bench::Role;
use std::f64::consts::TAU;

/// What the person does in a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum ShotKind {
    Start,
    RunDown,
    /// Run-down with the disc of the rig on the shaft.
    RunDownWithDisc,
    Brake,
    /// Step onto a held rotor through the switch, bounce and all.
    Locked,
    /// Step onto a held rotor through a transistor: one clean make.
    LockedClean,
    Steady,
    Pwm,
    PwmLocked,
    /// The held motor's current left to the clamp diode.
    TurnOff,
    /// The held motor's lead opened with nothing across it.
    TurnOffUnclamped,
    /// Terminals open, shaft driven at the motor's free-running speed.
    Driven,
}

impl ShotKind {
    /// Role in the bench; none for a driven record, which becomes a reading.
    pub fn role(self) -> Option<Role> {
        Some(match self {
            ShotKind::Start => Role::Start,
            ShotKind::RunDown | ShotKind::RunDownWithDisc => Role::RunDown,
            ShotKind::Brake => Role::Brake,
            ShotKind::Locked | ShotKind::LockedClean => Role::LockedRotor,
            ShotKind::Steady => Role::Steady,
            ShotKind::Pwm => Role::Pwm,
            ShotKind::PwmLocked => Role::PwmLocked,
            ShotKind::TurnOff | ShotKind::TurnOffUnclamped => Role::TurnOff,
            ShotKind::Driven => return None,
        })
    }

    fn held(self) -> bool {
        matches!(
            self,
            ShotKind::Locked
                | ShotKind::LockedClean
                | ShotKind::PwmLocked
                | ShotKind::TurnOff
                | ShotKind::TurnOffUnclamped
        )
    }

    /// Share of the rows before the trigger.
    fn before_trigger(self) -> f64 {
        match self {
            ShotKind::Steady | ShotKind::Driven => 0.0,
            ShotKind::RunDown | ShotKind::RunDownWithDisc => 0.08,
            ShotKind::Brake => 0.15,
            _ => 0.1,
        }
    }
}

/// One capture of the plan.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Shot {
    pub name: String,
    pub kind: ShotKind,
    /// Rows asked for; up to a third fewer where the sampling interval is rounded up.
    pub rows: usize,
    /// Share of the usual span: below 1 the record ends early.
    pub span: f64,
    /// False where no voltage channel was connected.
    pub voltage_recorded: bool,
}

impl Shot {
    /// A capture of about 10 000 rows over the usual span with the voltage recorded.
    pub fn new(name: &str, kind: ShotKind) -> Self {
        Shot {
            name: name.to_owned(),
            kind,
            rows: 10_000,
            span: 1.0,
            voltage_recorded: true,
        }
    }
}

/// The rig as it is on this bench.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wiring<'a> {
    pub rig: &'a Rig,
    /// True resistance of the shunt, 0 for a clamp.
    pub shunt_ohm: f64,
    pub time_base: f64,
    pub skew_s: f64,
    pub added_inertia_kg_m2: f64,
}

/// What a shot gave.
pub(crate) struct Shown {
    pub rows: Rows,
    pub tape: Tape,
    pub event_s: f64,
    pub contacts_s: Vec<f64>,
    pub steady: Option<(f64, f64)>,
    pub held_position_resistance: Option<f64>,
    pub winding_c_end: f64,
}

impl Wiring<'_> {
    pub fn supply_loop(&self, machine: &Machine) -> Loop {
        let rig = self.rig;
        let total = machine.terminal_resistance_ohm + rig.source_resistance_ohm + self.shunt_ohm;
        Loop {
            source_v: rig.supply_v,
            resistance_ohm: rig.source_resistance_ohm + self.shunt_ohm,
            inductance_h: rig.lead_inductance_h,
            // Damping 1/sqrt(2) of the current against the integrator.
            limit: rig.current_limit_a.map(|limit| {
                (
                    limit,
                    total * total / (2.0 * machine.armature_inductance_h),
                )
            }),
        }
    }

    fn short_loop(&self) -> Loop {
        Loop {
            source_v: 0.0,
            resistance_ohm: self.rig.short_resistance_ohm + self.shunt_ohm,
            inductance_h: self.rig.lead_inductance_h,
            limit: None,
        }
    }

    fn diode_loop(&self) -> Loop {
        Loop {
            source_v: -self.rig.diode.forward_v,
            resistance_ohm: self.rig.diode.slope_ohm + self.shunt_ohm,
            inductance_h: self.rig.lead_inductance_h,
            limit: None,
        }
    }

    fn chopper_loop(&self, machine: &Machine) -> Loop {
        let supply = self.supply_loop(machine);
        Loop {
            resistance_ohm: supply.resistance_ohm + self.rig.chopper.switch_ohm,
            ..supply
        }
    }

    fn pickup(&self) -> Pickup {
        match self.rig.sensor {
            CurrentSensor::Shunt {
                inside_voltage_channel,
                ..
            } => Pickup {
                inside_ohm: if inside_voltage_channel {
                    self.shunt_ohm
                } else {
                    0.0
                },
                bandwidth_hz: None,
                skew_s: self.skew_s,
            },
            CurrentSensor::Clamp { bandwidth_hz, .. } => Pickup {
                inside_ohm: 0.0,
                bandwidth_hz: Some(bandwidth_hz),
                skew_s: self.skew_s,
            },
        }
    }
}

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
        torque / (constant * (1.0 - machine.armature_reaction_per_a * first))
    };
    let spare = |omega: f64| {
        let current = current_at(omega);
        let emf = constant * (1.0 - machine.armature_reaction_per_a * current) * omega;
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

/// Times of a contact that makes `first_s`, bounces and stays: closings and openings alternate, closing first and last.
fn contact_times(rig: &Rig, first_s: f64, dice: &mut Dice) -> Vec<f64> {
    let makes = dice.integer(rig.bounce.makes[0].max(1), rig.bounce.makes[1]) as usize;
    // Cuts of the window at random, kept 3 % of it apart.
    let count = 2 * (makes - 1);
    let mut cuts: Vec<f64> = (0..count).map(|_| dice.uniform(0.0, 1.0)).collect();
    cuts.sort_by(f64::total_cmp);
    let apart = 0.03;
    let shrink = 1.0 - apart * count as f64;
    let window = rig.bounce.window_s * dice.uniform(0.4, 1.0);
    let mut times = vec![first_s];
    for (index, cut) in cuts.iter().enumerate() {
        let place = cut * shrink + apart * (index + 1) as f64;
        times.push(first_s + window * place);
    }
    times
}

fn makes(times: &[f64], outside: Loop) -> Vec<Event> {
    times
        .iter()
        .enumerate()
        .map(|(index, &at_s)| Event {
            at_s,
            action: if index % 2 == 0 {
                Action::Close(outside)
            } else {
                Action::Break
            },
        })
        .collect()
}

fn chopping(wiring: &Wiring<'_>, machine: &Machine, from_s: f64, until_s: f64) -> Vec<Event> {
    let chopper = wiring.rig.chopper;
    let period = 1.0 / chopper.frequency_hz;
    let mut events = Vec::new();
    let mut cycle = (from_s / period).ceil();
    while cycle * period < until_s {
        events.push(Event {
            at_s: cycle * period,
            action: Action::Close(wiring.chopper_loop(machine)),
        });
        events.push(Event {
            at_s: (cycle + chopper.duty) * period,
            action: Action::Freewheel(wiring.diode_loop()),
        });
        cycle += 1.0;
    }
    events
}

/// Takes one capture.
///
/// # Errors
/// When the motor would not turn where it should.
pub(crate) fn take(
    shot: &Shot,
    machine: &Machine,
    commutation: &Commutation,
    wiring: &Wiring<'_>,
    winding_c: f64,
    magnets_c: f64,
    averaged: bool,
    dice: &mut Dice,
) -> Result<Shown, SyntheticError> {
    let rig = wiring.rig;
    let kind = shot.kind;
    let supply = wiring.supply_loop(machine);
    let resistance = machine.resistance_at(winding_c) + supply.resistance_ohm;
    let constant = machine.back_emf_constant_at(magnets_c);
    let tau_e = machine.armature_inductance_h / resistance;
    let tau_m = machine.rotor_inertia_kg_m2 * resistance / (constant * constant);
    let stall_a = rig.supply_v / resistance;
    if !kind.held()
        && constant * (stall_a - machine.contact_drop_v(stall_a) / resistance)
            <= 1.1 * (machine.breakaway_nm + machine.cogging_nm + machine.unbalance_nm)
    {
        return Err(SyntheticError::NoStart {
            capture: shot.name.clone(),
        });
    }
    let free = steady_running(machine, &supply, winding_c, magnets_c).ok_or_else(|| {
        SyntheticError::NoStart {
            capture: shot.name.clone(),
        }
    })?;

    let disc_kg_m2 = if kind == ShotKind::RunDownWithDisc {
        wiring.added_inertia_kg_m2
    } else {
        0.0
    };
    let turn_s = TAU / free.0;
    let chopper_span = 12.0 / rig.chopper.frequency_hz;
    let usual_span = match kind {
        ShotKind::Start => 6.0 * tau_m + 3.0 * tau_e + 1.2 * rig.bounce.window_s,
        ShotKind::RunDown | ShotKind::RunDownWithDisc => {
            1.2 * run_down_time(machine, machine.rotor_inertia_kg_m2 + disc_kg_m2, free.0)
        }
        ShotKind::Brake => {
            let short = machine.resistance_at(winding_c) + wiring.short_loop().resistance_ohm;
            6.0 * tau_m * short / resistance + 1.2 * rig.flight_s[1] + 1.2 * rig.bounce.window_s
        }
        ShotKind::Locked => 10.0 * tau_e + 1.3 * rig.bounce.window_s,
        ShotKind::LockedClean => 12.0 * tau_e,
        ShotKind::Steady => (30.0 * turn_s).max(20.0 * tau_e),
        ShotKind::Driven => 30.0 * turn_s,
        ShotKind::Pwm | ShotKind::PwmLocked => chopper_span,
        ShotKind::TurnOff => {
            let fall = libm::log1p(rig.supply_v / rig.diode.forward_v);
            2.2 * machine.armature_inductance_h * fall
                / (resistance - rig.source_resistance_ohm + rig.diode.slope_ohm)
        }
        ShotKind::TurnOffUnclamped => {
            8.0 * machine.armature_inductance_h * stall_a / rig.arc.spark_v[0]
        }
    };
    let span = usual_span * shot.span;
    let step_s = series_above(span / shot.rows as f64, &[1.0, 2.0, 4.0, 5.0, 8.0]);
    let count = (span / step_s).ceil() as usize;
    let rows = Rows {
        start_s: -(kind.before_trigger() * count as f64).round() * step_s,
        step_s,
        count,
        time_base: wiring.time_base,
    };
    let first_s = rows.true_time(0) - step_s;
    let last_s = rows.true_time(count) + step_s;

    let shaft = match kind {
        ShotKind::Driven => Shaft::Driven,
        _ if kind.held() => Shaft::Held,
        _ => Shaft::Free,
    };
    let mut plant = Plant::new(machine, commutation, winding_c, magnets_c, shaft);
    plant.inertia_kg_m2 += disc_kg_m2;
    let resistance_start = plant.resistance_ohm;
    let mut state = State::at_rest(dice.uniform(0.0, TAU));
    let held_position_resistance = kind.held().then(|| commutation.at(state.theta).1);

    // The trigger level lies a little up the edge, and the sampling clock does not know of the event.
    let event_s =
        -dice.uniform(0.03, 0.09) * tau_e.min(20.0 * step_s) - dice.uniform(0.0, 1.0) * step_s;
    let mut contacts_s = vec![event_s];
    let settle_mechanical_s = (2.0 * tau_m).max(20.0 * tau_e).max(2.0 * turn_s);
    let (circuit, settle_s, settle_events, events) = match kind {
        ShotKind::Start | ShotKind::Locked => {
            contacts_s = contact_times(rig, event_s, dice);
            let events = makes(&contacts_s, supply);
            (Circuit::Open, 0.0, Vec::new(), events)
        }
        ShotKind::LockedClean => {
            let events = makes(&contacts_s, supply);
            (Circuit::Open, 0.0, Vec::new(), events)
        }
        ShotKind::RunDown | ShotKind::RunDownWithDisc => (
            Circuit::Loop(supply),
            settle_mechanical_s,
            Vec::new(),
            vec![Event {
                at_s: event_s,
                action: Action::Break,
            }],
        ),
        ShotKind::Brake => {
            let closings = contact_times(rig, event_s, dice);
            let flight = dice.uniform(rig.flight_s[0], rig.flight_s[1]);
            let mut events = vec![Event {
                at_s: event_s - flight,
                action: Action::Break,
            }];
            events.extend(makes(&closings, wiring.short_loop()));
            contacts_s = vec![event_s - flight];
            contacts_s.extend(closings);
            (
                Circuit::Loop(supply),
                settle_mechanical_s,
                Vec::new(),
                events,
            )
        }
        ShotKind::Steady => (
            Circuit::Loop(supply),
            settle_mechanical_s,
            Vec::new(),
            Vec::new(),
        ),
        ShotKind::Driven => (Circuit::Open, turn_s, Vec::new(), Vec::new()),
        ShotKind::Pwm | ShotKind::PwmLocked => {
            let period = 1.0 / rig.chopper.frequency_hz;
            let settle = ((8.0 * tau_e / period).ceil() + 4.0) * period;
            contacts_s.clear();
            let (before, after) = chopping(wiring, machine, first_s - settle, last_s)
                .into_iter()
                .partition(|event| event.at_s <= first_s);
            (Circuit::Open, settle, before, after)
        }
        ShotKind::TurnOff | ShotKind::TurnOffUnclamped => (
            Circuit::Loop(supply),
            20.0 * tau_e,
            Vec::new(),
            vec![Event {
                at_s: event_s,
                action: if kind == ShotKind::TurnOff {
                    Action::Freewheel(wiring.diode_loop())
                } else {
                    Action::Break
                },
            }],
        ),
    };
    match kind {
        ShotKind::Driven => {
            state.omega = free.0;
            state.direction = 1.0;
        }
        ShotKind::Pwm => {
            state.omega = chopped_speed(machine, wiring, winding_c, magnets_c, dice);
            state.direction = 1.0;
        }
        ShotKind::TurnOff | ShotKind::TurnOffUnclamped => state.current_a = stall_a,
        ShotKind::RunDown | ShotKind::RunDownWithDisc | ShotKind::Brake | ShotKind::Steady => {
            (state.omega, state.current_a) = free;
            state.eddy_a = state.current_a;
            state.direction = 1.0;
        }
        _ => {}
    }
    if kind.held() {
        state.eddy_a = state.current_a;
    }
    let mut run = Run::new(&mut plant, rig, state, circuit, wiring.pickup(), dice);
    let steady = if settle_s > 0.0 {
        let means = run.settle(first_s - settle_s, first_s, &settle_events, dice);
        run.rewarm(resistance_start);
        (!kind.held()).then_some(means)
    } else {
        run.now_s = first_s;
        None
    };
    let tape = run.record(&events, &rows, averaged, dice);
    let winding_c_end = 25.0
        + (plant.resistance_ohm / machine.terminal_resistance_ohm - 1.0) / machine.copper_per_k;
    Ok(Shown {
        rows,
        tape,
        event_s,
        contacts_s,
        steady,
        held_position_resistance,
        winding_c_end,
    })
}

/// Speed at which the chopped motor neither gains nor loses, from the torque at held speed over whole cycles.
fn chopped_speed(
    machine: &Machine,
    wiring: &Wiring<'_>,
    winding_c: f64,
    magnets_c: f64,
    dice: &mut Dice,
) -> f64 {
    let mut even = machine.clone();
    even.commutator.emf_ripple = 0.0;
    even.commutator.unevenness = 0.0;
    even.commutator.resistance_variation = 0.0;
    even.commutator.brush_noise = 0.0;
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
        let events = chopping(wiring, machine, 0.0, settle + 4.0 * period);
        let mut run = Run::new(
            &mut plant,
            wiring.rig,
            state,
            Circuit::Open,
            wiring.pickup(),
            dice,
        );
        run.settle(0.0, settle, &events, dice);
        let before = run.plant.books;
        let rest: Vec<Event> = events.into_iter().filter(|e| e.at_s > settle).collect();
        run.settle(settle, settle + 4.0 * period, &rest, dice);
        let after = run.plant.books;
        let gained = after.torque_j - before.torque_j - (after.friction_j - before.friction_j);
        if gained > 0.0 {
            low = omega;
        } else {
            high = omega;
        }
    }
    low
}
