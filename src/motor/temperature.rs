//! Resistance of copper and flux of magnets against temperature.

/// Temperature at which a copper winding's resistance extrapolates to zero is −234.5 °C for annealed copper
/// (winding temperature by resistance, rotating-machine and product-safety standards; IEC 60034-1, 8.6.2 rounds to 235).
pub const COPPER_INFERRED_ZERO_C: f64 = -234.5;

/// Reference temperature of every reported parameter, °C.
pub const REFERENCE_C: f64 = 25.0;

/// Ratio of a copper winding's resistance at `to_c` to that at `from_c`: (k + T₂)/(k + T₁) with k = 234.5 °C.
pub fn copper_ratio(from_c: f64, to_c: f64) -> f64 {
    (to_c - COPPER_INFERRED_ZERO_C) / (from_c - COPPER_INFERRED_ZERO_C)
}

/// The same of a winding of which a share of the resistance does not change with its temperature: brushes and their contact.
pub fn winding_ratio(from_c: f64, to_c: f64, other_share: f64) -> f64 {
    1.0 + (copper_ratio(from_c, to_c) - 1.0) * (1.0 - other_share)
}

/// Relative change of copper resistance per kelvin at `at_c`, 1/K.
pub fn copper_coefficient_per_k(at_c: f64) -> f64 {
    1.0 / (at_c - COPPER_INFERRED_ZERO_C)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn val_copper_20_to_75_c() {
        // Annealed copper, k = 234.5 °C: 1.216110 (standards' rule R2/R1 = (k + T2)/(k + T1)).
        assert_abs_diff_eq!(copper_ratio(20.0, 75.0), 1.216110, epsilon = 5e-7);
    }

    #[test]
    fn val_copper_coefficient_at_20_c() {
        // IEC 60028:1925: 0.00393 /K at 20 °C; 1/254.5 = 0.00392927.
        assert_abs_diff_eq!(copper_coefficient_per_k(20.0), 0.00392927, epsilon = 5e-9);
        // The same brought to 25 °C: 0.00385427 (coefficient conversion of the Modelica Standard Library, from 0.00393).
        assert_abs_diff_eq!(copper_coefficient_per_k(25.0), 0.00385427, epsilon = 1e-6);
    }

    #[test]
    fn val_temperature_rise_from_resistance() {
        // R 1.000 Ω at 25 °C, 1.2500 Ω at the end: rise 64.875 K.
        assert_abs_diff_eq!(copper_ratio(25.0, 25.0 + 64.875), 1.25, epsilon = 1e-12);
    }

    #[test]
    fn a_fifth_of_carbon_takes_a_fifth_of_the_rise() {
        // 25 to 80 °C: copper 55/259.5 = 21.19 %, of four fifths 16.96 %, 3.5 % less of the hot resistance.
        assert_abs_diff_eq!(winding_ratio(25.0, 80.0, 0.0), 1.211946, epsilon = 1e-6);
        assert_abs_diff_eq!(winding_ratio(25.0, 80.0, 0.2), 1.169557, epsilon = 1e-6);
        assert_abs_diff_eq!(winding_ratio(25.0, 25.0, 0.2), 1.0, epsilon = 1e-15);
    }

    #[test]
    fn val_cable_table() {
        // IEC 60228 annex factors bring a reading at T to 20 °C; the table uses 250/(230 + T), within 0.5 % of this rule.
        for (t, factor) in [
            (5.0, 1.064),
            (10.0, 1.042),
            (30.0, 0.962),
            (50.0, 0.893),
            (75.0, 0.820),
            (100.0, 0.758),
        ] {
            assert_abs_diff_eq!(copper_ratio(t, 20.0), factor, epsilon = 0.005 * factor);
        }
    }
}
