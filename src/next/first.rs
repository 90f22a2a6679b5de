//! The first captures of a motor of which only supply, ohmmeter reading and size are known.

use crate::bench::{Bench, BrushKind, Reading};
use crate::next::advice::protection::{self, Fuse, Shunt, brake_resistor_ohm};
use crate::next::advice::source::{Capacitor, rotor_f};
use crate::next::advice::{self, Advice, Hold, fuse, hold};
use crate::next::assumptions::guess::{Basis, Guess};
use crate::next::assumptions::machine::{Machine, UNKNOWN_BRUSHES_HIGH, behind_reading};
use crate::next::assumptions::size::Size;
use crate::next::text::numbers::{amount, span};
use serde::Serialize;

/// What is known before anything is captured, SI.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// The motor's name.
    pub name: Option<String>,
    /// Supply voltage in V.
    pub supply_v: f64,
    /// Terminal resistance in Ω, where an ohmmeter gave it.
    pub resistance_ohm: Option<Guess>,
    /// Whether four wires, or a current and a voltage, gave it: below 1 Ω only such a value is taken.
    pub four_wire: bool,
    /// Outer size.
    pub size: Size,
    /// Commutator segments, where counted.
    pub segments: Option<u32>,
    /// True when there is a tachometer.
    pub tachometer: bool,
}

/// A proposal for the first captures.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FirstPlan {
    /// The motor's name.
    pub motor: Option<String>,
    /// What is known or guessed of the motor.
    pub machine: Machine,
    /// V/R at the supply, and at the voltage of the captures.
    pub inrush_a: Option<Guess>,
    /// Inrush at the working voltage in A.
    pub working_inrush_a: Option<Guess>,
    /// The shunt to use.
    pub shunt: Option<Shunt>,
    /// A time-lag fuse for the supply lead.
    pub fuse: Option<Fuse>,
    /// A capacitor that would hold the supply's voltage in a start.
    pub capacitor: Option<Capacitor>,
    /// Least setting of the supply's current limit, A.
    pub supply_limit_a: Option<f64>,
    /// Limits of a held rotor.
    pub hold: Hold,
    /// Resistor to brake through, Ω; absent where a plain short will do.
    pub brake_resistor_ohm: Option<f64>,
    /// The captures to make, in order.
    pub captures: Vec<Advice>,
    /// What is unknown, and what would give it.
    pub lost: Vec<String>,
}

/// R behind the ohmmeter readings of a sheet: their range with the meter's accuracy, and the contact of the brushes.
pub fn resistance_of(bench: &Bench) -> Option<Guess> {
    bench.readings.iter().find_map(|reading| {
        let Reading::Ohmmeter {
            readings_ohm,
            leads_ohm,
            relative_uncertainty,
            ..
        } = reading
        else {
            return None;
        };
        let leads = leads_ohm.map_or(0.0, |l| l.value);
        let n = readings_ohm.len() as f64;
        let mean = readings_ohm.iter().sum::<f64>() / n - leads;
        let lowest = readings_ohm.iter().copied().fold(f64::INFINITY, f64::min) - leads;
        let highest = readings_ohm.iter().copied().fold(0.0, f64::max) - leads;
        let excess = match bench.motor.brushes {
            Some(BrushKind::Metal) => 0.02,
            Some(BrushKind::MetalCarbon) => 0.15,
            Some(BrushKind::Carbon) | None => UNKNOWN_BRUSHES_HIGH,
        };
        let meter = 2.0 * relative_uncertainty;
        (mean > 0.0 && lowest > 0.0).then_some(Guess {
            value: mean,
            low: lowest * (1.0 - meter) * (1.0 - excess),
            high: highest * (1.0 + meter),
            basis: Basis::FromGuess,
        })
    })
}

/// R behind one reading that the person gave.
pub fn resistance_given(ohm: f64) -> Guess {
    behind_reading(ohm, UNKNOWN_BRUSHES_HIGH)
}

/// Resistance below which leads and contacts of an ordinary ohmmeter (0.1 to 0.3 Ω) spoil its reading, Ω (common practice, no
/// source).
const FOUR_WIRES_BELOW_OHM: f64 = 1.0;

/// Works the proposal out.
pub fn first_plan(known: &Known) -> FirstPlan {
    let supply = known.supply_v;
    let too_low = |r: &Guess| r.value < FOUR_WIRES_BELOW_OHM && !known.four_wire;
    let resistance_ohm = known.resistance_ohm.filter(|r| !too_low(r));
    let machine = Machine::guessed(supply, resistance_ohm, &known.size, known.segments);
    let working = machine.working_v;
    let inrush = machine.stall_a(working);
    let running = machine.running_a.map_or(0.0, |i| i.value);
    let brake_ohm = resistance_ohm
        .and_then(|r| brake_resistor_ohm(r.value, machine.running_emf_v * working / supply));
    let mut captures = vec![
        advice::start(&machine, working),
        advice::run_down(&machine, working),
        advice::brake(&machine, working, brake_ohm.unwrap_or(0.0)),
        advice::locked(&machine),
    ];
    if known.tachometer {
        captures.push(advice::steady(&machine, working, true));
    }
    FirstPlan {
        motor: known.name.clone(),
        inrush_a: machine.stall_a(supply),
        working_inrush_a: inrush,
        shunt: resistance_ohm
            .zip(inrush)
            .and_then(|(r, i)| protection::shunt(r.value, i.value, running)),
        fuse: fuse(&machine).flatten(),
        capacitor: resistance_ohm
            .map(|r| Capacitor::holding(working, rotor_f(machine.mechanical_time_constant_s, r))),
        supply_limit_a: inrush.map(protection::supply_limit_a),
        hold: hold(&machine),
        brake_resistor_ohm: brake_ohm,
        captures,
        lost: lost(known, &machine),
        machine,
    }
}

fn lost(known: &Known, machine: &Machine) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(r) = known
        .resistance_ohm
        .filter(|_| machine.resistance_ohm.is_none())
    {
        out.push(format!(
            "an ordinary ohmmeter cannot measure {}: its leads and contacts alone are 0.1 to 0.3 Ω, so the reading is not used. Measure with four wires, or \
             pass a known current of about an ampere through the held rotor and divide the voltage at the tabs by it; then --resistance with --four-wire. \
             A starter or another series motor has so low a resistance, too: it has no magnets, runs away without load, and is no motor for this program",
            amount(r.value, "Ω")
        ));
    } else if known.resistance_ohm.is_none() {
        out.push(
            "no ohmmeter reading: inrush, braking current, shunt, fuse, supply limit and the current ranges are unknown, and so is whether a switch can carry the current. Read it first (docs/bench.md, section 8): six rotor positions, leads shorted and taken off; then --resistance 3.2ohm"
                .into(),
        );
    }
    if known.size.is_unknown() {
        out.push(
            "no size: the copper's mass is not guessed, so the time that a held rotor may be on is unknown and its voltage is kept at a tenth of the supply; L/R is only known to lie within what fits in a hand. Give --diameter (and --length), or --mass"
                .into(),
        );
    }
    if !known.tachometer {
        let count = match known.segments {
            Some(_) => "the counted segments give the number of cycles in a turn",
            None => "count the commutator segments if a slot allows (--segments N)",
        };
        out.push(format!(
            "no tachometer (--tachometer if you have one): the speed, and with it K, inertia and friction in mechanical units, has to come from the ripple of the run-down; {count}"
        ));
    }
    if machine.working_v < machine.supply_v {
        out.push(format!(
            "the inrush at the full {} is beyond a hobby bench: everything below is for {} instead, where it is {}. For the full voltage work with a licensed or trained person",
            amount(machine.supply_v, "V"),
            amount(machine.working_v, "V"),
            span(machine.stall_a(machine.working_v), "A")
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_large_inrush_makes_the_captures_start_lower() {
        let plan = first_plan(&Known {
            supply_v: 48.0,
            resistance_ohm: Some(resistance_given(0.35)),
            four_wire: true,
            ..Known::default()
        });
        // 60 A · 0.35 Ω = 21 V, set as 20 V.
        assert_relative_eq!(plan.machine.working_v, 20.0);
        assert_relative_eq!(
            plan.inrush_a.unwrap().value,
            137.142_857,
            max_relative = 1e-6
        );
        assert_relative_eq!(plan.captures[0].voltage_v, 20.0);
        assert!(
            plan.lost.iter().any(|l| l.contains("licensed")),
            "{:?}",
            plan.lost
        );
    }

    #[test]
    fn below_an_ohm_two_wires_are_no_basis() {
        let known = Known {
            supply_v: 24.0,
            resistance_ohm: Some(resistance_given(0.35)),
            ..Known::default()
        };
        let plan = first_plan(&known);
        assert!(plan.inrush_a.is_none() && plan.capacitor.is_none());
        assert!(plan.lost[0].contains("--four-wire"), "{:?}", plan.lost);
        assert!(plan.lost[0].contains("series motor"), "{:?}", plan.lost);
    }
}
