//! How fast a held rotor's winding warms: all heat stays in the copper, as it does for the first seconds.
//!
//! `Δt = m c ΔT / P` with P = V²/R, the whole of it taken for the winding: brushes and leads take a part, so the winding is at
//! most so warm. What is known of m is a guess, and the low end of it is what protects the motor.

use crate::next::assumptions::guess::Guess;

/// Specific heat of copper at 25 °C, J/(kg·K): 385 (CRC Handbook of Chemistry and Physics, heat capacity of the elements;
/// from memory).
pub const COPPER_J_PER_KG_K: f64 = 385.0;

/// Rise at which a measurement begins to suffer: ten kelvin are 3.9 % of copper's resistance, K.
pub const RISE_FOR_MEASURING_K: f64 = 10.0;

/// Rise from room temperature to about 105 °C, which the least class of enamelled wire still withstands (IEC 60085, class A;
/// from memory), K.
pub const RISE_TO_DAMAGE_K: f64 = 80.0;

/// Seconds in which `voltage_v` on a held rotor warms the copper by `rise_k`.
pub fn seconds(copper_kg: Guess, resistance_ohm: Guess, voltage_v: f64, rise_k: f64) -> Guess {
    copper_kg
        .times(COPPER_J_PER_KG_K * rise_k)
        .product(resistance_ohm)
        .times(1.0 / (voltage_v * voltage_v))
}

/// Highest voltage at which a held rotor takes `hold_s` seconds to warm by `rise_k`, by the low ends of mass and resistance.
pub fn voltage_for(copper_kg: Guess, resistance_ohm: Guess, hold_s: f64, rise_k: f64) -> f64 {
    (copper_kg.low * COPPER_J_PER_KG_K * rise_k * resistance_ohm.low / hold_s).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 20 g of copper take 0.02 · 385 = 7.7 J/K; 6 V across 3 Ω are 12 W, so 10 K take 77 J / 12 W = 6.4167 s.
    #[test]
    fn val_ten_kelvin_of_twenty_grams_at_twelve_watts() {
        let t = seconds(Guess::given(0.02), Guess::given(3.0), 6.0, 10.0);
        assert_relative_eq!(t.value, 6.416_667, max_relative = 1e-6);
        let v = voltage_for(Guess::given(0.02), Guess::given(3.0), t.value, 10.0);
        assert_relative_eq!(v, 6.0, max_relative = 1e-12);
    }
}
