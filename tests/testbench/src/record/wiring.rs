//! The circuits of a bench, and when their contacts close and open.

use super::pickup::Pickup;
use super::schedule::{Action, Event};
use super::shot::ShotKind;
use crate::chance::Dice;
use crate::motor::{Commutation, Loop, Machine};
use crate::rig::{CurrentSensor, Rig};

/// Motor and rig as they are on this bench.
#[derive(Clone, Copy)]
pub(crate) struct Wiring<'a> {
    pub machine: &'a Machine,
    pub commutation: &'a Commutation,
    pub rig: &'a Rig,
    /// True resistance of the shunt, 0 for a clamp.
    pub shunt_ohm: f64,
    pub time_base: f64,
    pub skew_s: f64,
    pub added_inertia_kg_m2: f64,
    pub magnets_c: f64,
    /// Rows are means over their intervals.
    pub averaged: bool,
}

impl Wiring<'_> {
    pub fn supply_loop(&self) -> Loop {
        let (machine, rig) = (self.machine, self.rig);
        let total = machine.terminal_resistance_ohm + rig.source_resistance_ohm + self.shunt_ohm;
        Loop {
            source_v: rig.supply_v,
            resistance_ohm: rig.source_resistance_ohm + self.shunt_ohm,
            inductance_h: rig.lead_inductance_h,
            // Damping 1/sqrt(2) of the current against the integrator.
            limit: rig
                .current_limit_a
                .map(|limit| (limit, total * total / (2.0 * machine.armature_inductance_h))),
        }
    }

    pub fn short_loop(&self) -> Loop {
        Loop {
            source_v: 0.0,
            resistance_ohm: self.rig.short_resistance_ohm + self.shunt_ohm,
            inductance_h: self.rig.lead_inductance_h,
            limit: None,
        }
    }

    pub fn diode_loop(&self) -> Loop {
        Loop {
            source_v: -self.rig.diode.forward_v,
            resistance_ohm: self.rig.diode.slope_ohm + self.shunt_ohm,
            inductance_h: self.rig.lead_inductance_h,
            limit: None,
        }
    }

    pub fn chopper_loop(&self) -> Loop {
        let supply = self.supply_loop();
        Loop {
            resistance_ohm: supply.resistance_ohm + self.rig.chopper.switch_ohm,
            ..supply
        }
    }

    /// Resistance of the loop outside the motor.
    pub fn loop_resistance_ohm(&self, kind: ShotKind) -> f64 {
        let outside = match kind {
            ShotKind::Brake => self.rig.short_resistance_ohm,
            _ => self.rig.source_resistance_ohm,
        };
        outside + self.shunt_ohm
    }

    pub fn pickup(&self) -> Pickup {
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

/// Times of a contact that makes `first_s`, bounces and stays: closings and openings alternate, closing first and last.
pub(crate) fn contact_times(rig: &Rig, first_s: f64, dice: &mut Dice) -> Vec<f64> {
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

pub(crate) fn makes(times: &[f64], outside: Loop) -> Vec<Event> {
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

pub(crate) fn chopping(wiring: &Wiring<'_>, from_s: f64, until_s: f64) -> Vec<Event> {
    let chopper = wiring.rig.chopper;
    let period = 1.0 / chopper.frequency_hz;
    let mut events = Vec::new();
    let mut cycle = (from_s / period).ceil();
    while cycle * period < until_s {
        events.push(Event {
            at_s: cycle * period,
            action: Action::Close(wiring.chopper_loop()),
        });
        events.push(Event {
            at_s: (cycle + chopper.duty) * period,
            action: Action::Freewheel(wiring.diode_loop()),
        });
        cycle += 1.0;
    }
    events
}
