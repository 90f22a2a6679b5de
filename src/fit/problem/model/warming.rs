//! The winding's own warming within a capture: R(t) = R (1 + α Q/C) with Q the loss in it so far and C its heat capacity. R is
//! that at the capture's beginning. All heat stays in the copper, as it does for the first seconds.

use crate::bench::Capture;
use crate::fit::unknowns::resistance_per_kelvin;
use crate::motor::Real;

/// How a capture's current warms the winding.
#[derive(Clone, Copy, Debug)]
pub struct Warming {
    /// Relative change of its resistance per kelvin at the capture's temperature, 1/K.
    per_kelvin: f64,
    /// Share of the winding in the resistance of the loop.
    share: f64,
}

impl Warming {
    /// `share`: what the winding has of the loop's resistance.
    pub(crate) fn of(capture: &Capture, share: f64) -> Self {
        Warming {
            per_kelvin: resistance_per_kelvin(capture),
            share,
        }
    }

    /// Relative rise of the winding's resistance with its temperature, from that at the beginning.
    pub(crate) fn rise(&self, kelvin: f64) -> f64 {
        self.per_kelvin * kelvin
    }
}

/// Heat in the winding while a capture is followed.
pub struct Heat<S> {
    warming: Warming,
    /// 1/C, K/J.
    per_capacity: S,
    /// ∫ i² dt so far, A²·s.
    charge: S,
    /// Change of the current over the last bin per second, A/s.
    slope: f64,
}

impl<S: Real> Heat<S> {
    /// None yet. `per_capacity`: 1/C, K/J.
    pub(crate) fn none_yet(warming: Warming, per_capacity: S) -> Self {
        Heat {
            warming,
            per_capacity,
            charge: 0.0.into(),
            slope: 0.0,
        }
    }

    /// Voltage that the resistance's rise takes over the next bin, V, from the loop's resistance and the current at its beginning.
    pub(crate) fn drop_v(&self, resistance: S, current: S, width_s: f64) -> S {
        let middle = current + 0.5 * self.slope * width_s;
        self.rise(resistance) * resistance * middle
    }

    /// Relative rise of the loop's resistance, from that at the beginning.
    fn rise(&self, resistance: S) -> S {
        let of_loop = self.warming.share * self.warming.share * self.warming.per_kelvin;
        resistance * self.charge * self.per_capacity * of_loop
    }

    /// The winding's temperature over that at the beginning, K.
    pub(crate) fn kelvin(&self, resistance_ohm: f64) -> f64 {
        self.warming.share * resistance_ohm * self.charge.value() * self.per_capacity.value()
    }

    /// Takes in a bin with its mean current, and the current's slope at its end.
    pub(crate) fn take(&mut self, mean: S, gained_a: f64, width_s: f64) {
        self.charge += mean * mean * width_s;
        self.slope = gained_a / width_s;
    }
}
