//! The states in which stretches of a capture begin, as unknowns.

use super::direction::{Direction, Links};
use super::layout::{Layout, Parameter, Slot};
use crate::fit::data::{Bin, Leg, LegKind};

/// Share of V/R above which a motor about to be switched off counts as held: one that turns under load takes less than half
/// of it at its best power, one that runs freely far less.
const STALLED_SHARE: f64 = 0.65;

/// Whether the rotor stands still in the leg with which a turn-off begins.
pub fn stands_still(legs: &[Leg], resistance_ohm: f64) -> bool {
    let Some(first) = legs.first().filter(|l| l.kind == LegKind::Connected) else {
        return false;
    };
    let mean = |of: fn(&Bin) -> f64| {
        let values = first.bins.iter().map(of).filter(|v| v.is_finite());
        let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        sum / count
    };
    let (voltage, current) = (mean(|b| b.voltage_v), mean(|b| b.current_a));
    current.abs() * resistance_ohm > STALLED_SHARE * voltage.abs()
}

/// Back-EMFs and currents with which stretches begin.
pub fn add_unknown_states(
    legs: &[Leg],
    index: usize,
    held: bool,
    layout: &mut Layout,
    links: &mut Links,
) {
    let mut known = held || matches!(legs.first().map(|l| l.kind), Some(LegKind::Rest));
    let (mut emfs, mut currents) = (0, 0);
    for (number, leg) in legs.iter().enumerate() {
        match leg.kind {
            LegKind::Rest => known = true,
            LegKind::Lost => known = held,
            LegKind::Carried => {}
            LegKind::Connected | LegKind::Open => {
                if !known && emfs < Direction::EMF.len() {
                    let parameter = Parameter::free(
                        Slot::InitialEmf {
                            capture: index,
                            piece: emfs,
                        },
                        emf_guess(legs, number),
                    );
                    links.add(Direction::EMF[emfs], layout.add(parameter));
                    emfs += 1;
                    known = true;
                }
                if leg.kind == LegKind::Connected && currents < Direction::CURRENT.len() {
                    let seen = leg
                        .bins
                        .iter()
                        .find(|b| b.current_a.is_finite())
                        .map_or(0.0, |b| b.current_a);
                    let parameter = Parameter::free(
                        Slot::InitialCurrent {
                            capture: index,
                            piece: currents,
                        },
                        seen,
                    );
                    links.add(Direction::CURRENT[currents], layout.add(parameter));
                    currents += 1;
                }
            }
        }
    }
}

/// The back-EMF nearest to leg `number` that the record shows: open-terminal voltage, else terminal voltage.
fn emf_guess(legs: &[Leg], number: usize) -> f64 {
    let first_voltage = |leg: &Leg| leg.bins.iter().map(|b| b.voltage_v).find(|v| v.is_finite());
    legs[number..]
        .iter()
        .filter(|l| l.kind == LegKind::Open)
        .find_map(first_voltage)
        .or_else(|| first_voltage(&legs[number]).map(|v| 0.95 * v))
        .unwrap_or(0.0)
}
