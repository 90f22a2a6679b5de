//! One unit, and values to and from SI.

use super::quantity::Quantity;

/// One unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// As printed, e.g. `mN·m/A`.
    pub text: &'static str,
    /// What it measures.
    pub quantity: Quantity,
    /// SI value of one unit.
    pub factor: f64,
    /// True when the unit gives the reciprocal of the quantity (`rpm/V` for K): SI value = factor / number.
    pub reciprocal: bool,
}

impl Unit {
    /// Number in this unit to SI (°C stays °C).
    pub fn to_si(&self, number: f64) -> f64 {
        if self.reciprocal {
            self.factor / number
        } else {
            number * self.factor
        }
    }

    /// SI to the number in this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        if self.reciprocal {
            self.factor / si
        } else {
            si / self.factor
        }
    }

    /// Standard uncertainty in SI to this unit, first order, at the SI value `si`.
    pub fn uncertainty_from_si(&self, si: f64, uncertainty_si: f64) -> f64 {
        if self.reciprocal {
            self.factor / (si * si) * uncertainty_si
        } else {
            uncertainty_si / self.factor
        }
    }
}
