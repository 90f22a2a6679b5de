//! The source of a bench: which voltage may be worked on, and when a capacitor across its output helps.

use crate::next::advice::protection::power_w;
use crate::next::assumptions::guess::Guess;
use serde::Serialize;

/// Direct voltage up to which a bare terminal may be touched in a dry place, V: 60 V without ripple (IEC 61140; from memory).
pub const TOUCHABLE_V: f64 = 60.0;

/// Why no captures are proposed at this voltage; `None` where it may be touched.
pub fn refusal(supply_v: f64) -> Option<String> {
    (supply_v > TOUCHABLE_V).then(|| {
        format!(
            "no captures are proposed at {supply_v:.0} V: above {TOUCHABLE_V:.0} V DC a bare terminal can kill (IEC 61140), and what this program \
             proposes has bare terminals. A person trained for it, under the local code, does this work. R, L and J/K² do not depend on the \
             supply: --supply 48V gives a plan that may be touched"
        )
    })
}

/// A capacitor across the supply's output, for one that cannot give the inrush.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Capacitor {
    /// Capacitance that holds the voltage within 10 % in F.
    pub capacitance_f: f64,
    pub energy_j: f64,
    /// Resistor that stays across it, Ω.
    pub bleeder_ohm: f64,
    pub bleeder_w: f64,
    /// Time after which it has a hundredth of its voltage in s.
    pub discharge_s: f64,
}

/// Largest capacitor that is common on a bench, F (common practice, no source).
const LARGEST_F: f64 = 22e-3;
/// Time constant of capacitor and bleeder, s (common practice, no source).
const BLEEDING_S: f64 = 5.0;

impl Capacitor {
    /// For a start at `voltage_v`, given the equivalent capacitance J/K² of the rotor, F.
    ///
    /// The worst supply gives nothing in a start: then capacitor and rotor share the charge, and the voltage falls to
    /// V·C/(C + J/K²), which is 0.9 V for C = 9 J/K².
    pub fn holding(voltage_v: f64, rotor_f: f64) -> Self {
        let capacitance_f = 9.0 * rotor_f;
        let bleeder_ohm = BLEEDING_S / capacitance_f;
        Capacitor {
            capacitance_f,
            energy_j: 0.5 * capacitance_f * voltage_v * voltage_v,
            bleeder_ohm,
            bleeder_w: power_w(voltage_v / bleeder_ohm, bleeder_ohm),
            discharge_s: BLEEDING_S * 100f64.ln(),
        }
    }

    /// Whether such a one is at hand.
    pub fn is_common(&self) -> bool {
        self.capacitance_f <= LARGEST_F
    }
}

/// The equivalent capacitance of a rotor, F, from the mechanical time constant (s) and the resistance (Ω).
pub fn rotor_f(mechanical_time_constant_s: Guess, resistance_ohm: Guess) -> f64 {
    mechanical_time_constant_s.value / resistance_ohm.value
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Two capacitors that share a charge: 9 mF at 12 V and an empty one of 1 mF have 108 mC and 10.8 V together.
    #[test]
    fn val_nine_times_the_rotor_holds_nine_tenths() {
        let c = Capacitor::holding(12.0, 1e-3);
        assert_relative_eq!(c.capacitance_f, 9e-3);
        assert_relative_eq!(12.0 * c.capacitance_f / (c.capacitance_f + 1e-3), 10.8);
        // ½ · 9 mF · 144 V² = 0.648 J; 5 s / 9 mF = 555.6 Ω, 144 V² / 555.6 Ω = 0.2592 W.
        assert_relative_eq!(c.energy_j, 0.648);
        assert_relative_eq!(c.bleeder_w, 0.2592, max_relative = 1e-9);
        assert!(c.is_common());
        assert!(!Capacitor::holding(24.0, 6e-3).is_common());
    }

    #[test]
    fn above_sixty_volts_nothing_is_proposed() {
        assert!(refusal(60.0).is_none());
        let reason = refusal(325.0).unwrap();
        assert!(
            reason.contains("325 V") && reason.contains("trained"),
            "{reason}"
        );
    }
}
