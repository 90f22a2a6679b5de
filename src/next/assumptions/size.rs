//! What can be guessed from a motor's rough size: copper, electrical time constant. All of it common practice, no source.

use crate::next::assumptions::guess::{Basis, Guess};
use std::f64::consts::PI;

/// Outer size as the person measured it, SI.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Size {
    /// Outer diameter in m.
    pub diameter_m: Option<f64>,
    /// Length without the shaft in m.
    pub length_m: Option<f64>,
    /// Mass in kg.
    pub mass_kg: Option<f64>,
}

/// A size that no motor of this kind has.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct SizeError(String);

/// Length over diameter of a can-shaped motor.
const LENGTH_OVER_DIAMETER: (f64, f64, f64) = (1.0, 1.5, 2.5);
/// Mass over outer volume, kg/m³: iron, magnets, copper and air.
const DENSITY: (f64, f64, f64) = (3000.0, 4000.0, 5500.0);
/// Copper's share of the motor's mass.
const COPPER_SHARE: (f64, f64, f64) = (0.05, 0.10, 0.20);
/// L/R over the square of the outer diameter, s/m².
const L_OVER_R_S_PER_M2: f64 = 0.5;
/// Factor within which that holds.
const L_OVER_R_FACTOR: f64 = 5.0;
/// L/R of a motor that fits in a hand, s (docs/bench.md, section 3).
const L_OVER_R_IN_HAND: (f64, f64, f64) = (0.1e-3, 0.6e-3, 2e-3);

impl Size {
    /// True when nothing was given.
    pub fn is_unknown(&self) -> bool {
        *self == Size::default()
    }

    /// Refuses what cannot be meant.
    ///
    /// # Errors
    /// [`SizeError`] with what was found and what is expected.
    pub fn check(&self) -> Result<(), SizeError> {
        let limits = [
            ("--diameter", self.diameter_m, 3e-3, 0.5, "mm", "36mm"),
            ("--length", self.length_m, 3e-3, 1.0, "mm", "57mm"),
            ("--mass", self.mass_kg, 2e-4, 100.0, "g", "220g"),
        ];
        for (option, value, low, high, unit, example) in limits {
            if let Some(v) = value.filter(|v| !(low..=high).contains(v)) {
                let [v, low, high] = [v, low, high].map(|x| (x * 1e9).round() / 1e6);
                return Err(SizeError(format!(
                    "{option} is {v} {unit}; expected {low} {unit} to {high} {unit}. Give the motor's body without shaft, e.g. {option} {example}"
                )));
            }
        }
        Ok(())
    }

    /// Mass of the motor, kg: given, or from its outer volume.
    pub fn mass_kg(&self) -> Option<Guess> {
        if let Some(mass) = self.mass_kg {
            return Some(Guess::given(mass));
        }
        let diameter = self.diameter_m?;
        let length = self.length_m.map_or_else(
            || Guess::range(LENGTH_OVER_DIAMETER).times(diameter),
            Guess::given,
        );
        let volume = length.times(0.25 * PI * diameter * diameter);
        Some(volume.product(Guess::range(DENSITY)).on(Basis::FromGuess))
    }

    /// Surface of the motor's body, m²; of a can of usual proportions where only its mass is given.
    pub fn surface_m2(&self) -> Option<Guess> {
        let (diameter, length) = match (self.diameter_m, self.mass_kg) {
            (Some(diameter), _) => (
                Guess::given(diameter),
                self.length_m.map_or_else(
                    || Guess::range(LENGTH_OVER_DIAMETER).times(diameter),
                    Guess::given,
                ),
            ),
            (None, Some(mass)) => {
                let volume = Guess::given(mass).over(Guess::range(DENSITY));
                let across = |v: f64| (4.0 * v / (PI * LENGTH_OVER_DIAMETER.1)).cbrt();
                let diameter = Guess {
                    value: across(volume.value),
                    low: across(volume.low),
                    high: across(volume.high),
                    basis: Basis::FromGuess,
                };
                (diameter, diameter.times(LENGTH_OVER_DIAMETER.1))
            }
            (None, None) => return None,
        };
        let around = diameter.product(length).times(PI);
        let ends = diameter.product(diameter).times(0.5 * PI);
        Some(Guess {
            value: around.value + ends.value,
            low: around.low + ends.low,
            high: around.high + ends.high,
            basis: around.basis,
        })
    }

    /// Mass of the winding's copper, kg.
    pub fn copper_kg(&self) -> Option<Guess> {
        Some(self.mass_kg()?.product(Guess::range(COPPER_SHARE)))
    }

    /// L/R, s: grows with the square of the size.
    pub fn electrical_time_constant_s(&self) -> Guess {
        let from_mass = || {
            // A can of usual proportions with that mass.
            let volume = self.mass_kg? / DENSITY.1;
            Some((4.0 * volume / (PI * LENGTH_OVER_DIAMETER.1)).cbrt())
        };
        match self.diameter_m.or_else(from_mass) {
            Some(d) => Guess::within_factor(L_OVER_R_S_PER_M2 * d * d, L_OVER_R_FACTOR),
            None => Guess::range(L_OVER_R_IN_HAND),
        }
    }
}

/// Copper in a rotor of inertia J, kg, for a fitted motor whose size nobody gave: a rotor of density 5000 kg/m³ and length 2.4
/// times its radius, a quarter of it copper. The fifth root of J makes little of a wrong shape; a pulley on the shaft, or an
/// ironless rotor, makes more, hence a factor of four.
pub fn copper_from_inertia_kg(inertia_kg_m2: f64) -> Guess {
    const ROTOR_DENSITY: f64 = 5000.0;
    const LENGTH_OVER_RADIUS: f64 = 2.4;
    const COPPER_OF_ROTOR: f64 = 0.25;
    // J = ½ m r², m = ρ π r² · 2.4 r.
    let radius = (2.0 * inertia_kg_m2 / (ROTOR_DENSITY * PI * LENGTH_OVER_RADIUS)).powf(1.0 / 5.0);
    let mass = ROTOR_DENSITY * PI * LENGTH_OVER_RADIUS * radius.powi(3);
    Guess::within_factor(COPPER_OF_ROTOR * mass, 4.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// 36 mm by 57 mm: π/4 · 0.036² · 0.057 = 58.02 cm³, at 4000 kg/m³ 232 g, a tenth of it copper.
    #[test]
    fn val_copper_of_a_motor_of_36_by_57_mm() {
        let size = Size {
            diameter_m: Some(0.036),
            length_m: Some(0.057),
            mass_kg: None,
        };
        assert_relative_eq!(size.mass_kg().unwrap().value, 0.232078, max_relative = 1e-4);
        let copper = size.copper_kg().unwrap();
        assert_relative_eq!(copper.value, 0.0232078, max_relative = 1e-4);
        assert!(copper.low < 0.01 && copper.high > 0.05);
    }

    #[test]
    fn a_size_in_metres_typed_as_millimetres_is_refused() {
        let size = Size {
            diameter_m: Some(36.0),
            ..Size::default()
        };
        let message = size.check().unwrap_err().to_string();
        assert!(
            message.contains("36000 mm") && message.contains("3 mm to 500 mm"),
            "{message}"
        );
    }

    #[test]
    fn copper_from_inertia_is_of_the_right_size() {
        // 6.4e-6 kg m2, a rotor of some 22 mm: tens of grams of copper at most, grams at least.
        let copper = copper_from_inertia_kg(6.4e-6);
        assert!(copper.low > 1e-3 && copper.high < 0.2, "{copper:?}");
    }
}
