//! Shunt, fuse, brake resistor and the supply's limit.

use crate::next::advice::series::{FUSES_A, SHUNTS_OHM, at_least, at_most, resistor_near};
use crate::next::assumptions::guess::{Basis, Guess};
use serde::Serialize;

/// Largest share of the motor's resistance, and largest drop at the inrush, for a shunt (docs/bench.md, section 4; common
/// practice, no source).
const LARGEST_SHUNT_SHARE: f64 = 1.0 / 20.0;
const LARGEST_SHUNT_DROP_V: f64 = 0.5;

/// A fuse carries a start of V/R over this: at four times its rating a time-lag link opens within 0.15 to 3 s (IEC 60127-2,
/// sheet 3; from memory), which a start of some tens of milliseconds does not reach and a stalled rotor does.
const INRUSH_OVER_RATING: f64 = 4.0;
/// It carries a second's step onto the held rotor of this many times its rating: at 2.1 times it holds for seconds to two minutes
/// (IEC 60127-2, sheet 3; from memory).
const HELD_OVER_RATING: f64 = 2.0;
/// Largest voltage drops of small time-lag links at their rating, by the largest rating to which each applies: A, V (IEC 60127-2,
/// sheet 3; from memory).
const LARGEST_DROPS: [(f64, f64); 4] = [(0.1, 3.5), (0.2, 2.5), (0.5, 1.3), (1.0, 0.3)];
/// Above this rating the list holds automotive blades, A, whose rated voltage is 32 V (ISO 8820-3; from memory).
const LARGEST_LINK_A: f64 = 10.0;
const BLADE_V: f64 = 32.0;
/// It stays above the running current by this.
const RATING_OVER_RUNNING: f64 = 1.5;

/// Current beyond which hand-operated switches and small relays weld (common practice, no source), A.
const LARGEST_SHORTED_A: f64 = 20.0;

/// Margin of the supply's current limit above the inrush.
const LIMIT_MARGIN: f64 = 1.3;

/// A shunt with what it has to stand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Shunt {
    pub resistance_ohm: f64,
    /// Of the motor's resistance.
    pub share_of_resistance: f64,
    pub drop_at_inrush_v: f64,
    /// I²R at the inrush and while running, W.
    pub power_at_inrush_w: f64,
    pub power_running_w: f64,
}

/// I²R, W.
pub fn power_w(current_a: f64, resistance_ohm: f64) -> f64 {
    current_a * current_a * resistance_ohm
}

/// The largest usual shunt that stays a small part of the motor; `None` where even the smallest is too much.
pub fn shunt(resistance_ohm: f64, inrush_a: f64, running_a: f64) -> Option<Shunt> {
    let most = (LARGEST_SHUNT_SHARE * resistance_ohm).min(LARGEST_SHUNT_DROP_V / inrush_a);
    let ohm = at_most(&SHUNTS_OHM, most)?;
    Some(Shunt {
        resistance_ohm: ohm,
        share_of_resistance: ohm / resistance_ohm,
        drop_at_inrush_v: inrush_a * ohm,
        power_at_inrush_w: power_w(inrush_a, ohm),
        power_running_w: power_w(running_a, ohm),
    })
}

/// What a fuse in the supply lead has to carry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    pub voltage_v: f64,
    /// Largest current of a start, for some tens of milliseconds, A.
    pub inrush_a: f64,
    pub running_a: f64,
    /// Current of a step onto the held rotor, for a second at most, A.
    pub held_a: f64,
}

/// A time-lag fuse in the supply lead.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fuse {
    pub rating_a: f64,
    pub resistance_ohm: Option<f64>,
}

impl Fuse {
    /// The smallest that carries everything planned; `None` above the list of what is sold for that voltage.
    pub fn carrying(load: &Load) -> Option<Self> {
        let least = (load.inrush_a / INRUSH_OVER_RATING)
            .max(RATING_OVER_RUNNING * load.running_a)
            .max(load.held_a / HELD_OVER_RATING);
        let rating_a = at_least(&FUSES_A, least)?;
        let blade = rating_a > LARGEST_LINK_A;
        (!blade || load.voltage_v <= BLADE_V).then(|| Fuse {
            rating_a,
            resistance_ohm: LARGEST_DROPS
                .iter()
                .find(|(up_to_a, _)| rating_a <= *up_to_a)
                .map(|(_, drop_v)| drop_v / rating_a),
        })
    }
}

/// Setting of the supply's current limit above which it does not shape a start, A.
pub fn supply_limit_a(inrush: Guess) -> f64 {
    LIMIT_MARGIN * inrush.high
}

/// Resistor to brake through, Ω; `None` where a plain short will do.
pub fn brake_resistor_ohm(resistance_ohm: f64, emf_v: f64) -> Option<f64> {
    if emf_v / resistance_ohm <= LARGEST_SHORTED_A {
        return None;
    }
    // Enough to come down to half of the limit, and not below the motor's own resistance.
    let wanted = (2.0 * emf_v / LARGEST_SHORTED_A - resistance_ohm).max(resistance_ohm);
    Some(resistor_near(wanted))
}

/// Energy that the resistor of a brake takes up at most, J: its share of ½ C_m E².
pub fn brake_energy_j(capacitance_f: Guess, emf_v: f64, resistor_share: f64) -> Guess {
    let basis = match capacitance_f.basis {
        Basis::Guess => Basis::FromGuess,
        other => other,
    };
    capacitance_f
        .times(0.5 * emf_v * emf_v * resistor_share)
        .on(basis)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 24 V across 3.2 Ω: 7.5 A. A twentieth of 3.2 Ω is 160 mΩ, 0.5 V over 7.5 A 66.7 mΩ: 50 mΩ, 1.5625 % of R, 0.375 V,
    /// 7.5² · 0.05 = 2.8125 W, at 0.3 A 4.5 mW.
    #[test]
    fn val_shunt_of_a_24_v_motor_of_3_2_ohm() {
        let s = shunt(3.2, 7.5, 0.3).unwrap();
        assert_relative_eq!(s.resistance_ohm, 0.05);
        assert_relative_eq!(s.share_of_resistance, 0.015625);
        assert_relative_eq!(s.drop_at_inrush_v, 0.375);
        assert_relative_eq!(s.power_at_inrush_w, 2.8125);
        assert_relative_eq!(s.power_running_w, 0.0045);
        let load = Load {
            voltage_v: 24.0,
            inrush_a: 7.5,
            running_a: 0.3,
            held_a: 2.0,
        };
        let fuse = Fuse::carrying(&load).unwrap();
        assert_eq!((fuse.rating_a, fuse.resistance_ohm), (2.0, None));
        // A step of 5 A for a second needs 2.5 A, whatever the start.
        let held = Fuse::carrying(&Load {
            held_a: 5.0,
            ..load
        });
        assert_eq!(held.unwrap().rating_a, 2.5);
        assert_eq!(brake_resistor_ohm(3.2, 23.0), None);
    }

    #[test]
    fn no_blade_above_its_voltage_and_a_small_link_states_its_resistance() {
        let load = |voltage_v: f64, inrush_a: f64| Load {
            voltage_v,
            inrush_a,
            running_a: 0.0,
            held_a: 0.0,
        };
        assert_eq!(Fuse::carrying(&load(24.0, 50.0)).unwrap().rating_a, 15.0);
        assert!(Fuse::carrying(&load(48.0, 50.0)).is_none());
        let small = Fuse::carrying(&load(6.0, 0.38)).unwrap();
        assert_eq!(small.rating_a, 0.1);
        assert_relative_eq!(small.resistance_ohm.unwrap(), 35.0);
    }

    #[test]
    fn a_large_motor_brakes_through_a_resistor() {
        let ohm = brake_resistor_ohm(0.3, 24.0).unwrap();
        assert!(24.0 / (0.3 + ohm) < 20.0, "{ohm}");
    }
}
