//! Directions in which a capture's settings can move, and the lanes in which its prediction is differentiated.

use crate::motor::{Dual, Real};

/// Directions in which a capture's settings can move.
pub const DIRECTIONS: usize = 29 + UNEVENNESS;
/// Cosine and sine of the first four waves of the back-EMF constant over a turn.
pub const UNEVENNESS: usize = 8;
/// A setting with its derivatives.
pub type Setting = Dual<DIRECTIONS>;
/// Lanes in which one capture's prediction is differentiated: the twelve constants of the model, then [`lane`].
pub const LANES: usize = 32;
/// A number with its derivatives in the lanes of one capture.
pub type Local = Dual<LANES>;

/// A number of a prediction: with its derivatives in the lanes of a capture, or without any.
pub trait Number: Real {
    /// A value that is its own lane.
    fn in_lane(value: f64, lane: usize) -> Self;
    /// Adds to the derivative in a lane.
    fn lean(&mut self, lane: usize, by: f64);
    /// Derivatives by lane; none of a plain number.
    fn by_lane(&self) -> &[f64];
}

impl Number for Local {
    fn in_lane(value: f64, lane: usize) -> Self {
        Local::variable(value, lane)
    }

    fn lean(&mut self, lane: usize, by: f64) {
        self.gradient[lane] += by;
    }

    fn by_lane(&self) -> &[f64] {
        &self.gradient
    }
}

impl Number for f64 {
    fn in_lane(value: f64, _: usize) -> Self {
        value
    }

    fn lean(&mut self, _: usize, _: f64) {}

    fn by_lane(&self) -> &[f64] {
        &[]
    }
}

/// Lanes after those of the constants.
pub mod lane {
    pub const VOLTAGE_GAIN: usize = 12;
    pub const VOLTAGE_ZERO: usize = 13;
    pub const CURRENT_GAIN: usize = 14;
    pub const CURRENT_ZERO: usize = 15;
    pub const EMF: [usize; 2] = [16, 17];
    pub const CURRENT: [usize; 3] = [18, 19, 20];
    /// The first of [`super::UNEVENNESS`].
    pub const UNEVENNESS: usize = 21;
    pub const LAG: usize = 29;
    pub const SKEW: usize = 30;
    pub const HEAT: usize = 31;
    /// With the direction that each stands for.
    pub const OF_DIRECTIONS: [(usize, usize); 12] = {
        use super::direction as d;
        [
            (VOLTAGE_GAIN, d::VOLTAGE_GAIN),
            (VOLTAGE_ZERO, d::VOLTAGE_ZERO),
            (CURRENT_GAIN, d::CURRENT_GAIN),
            (CURRENT_ZERO, d::CURRENT_ZERO),
            (EMF[0], d::EMF[0]),
            (EMF[1], d::EMF[1]),
            (CURRENT[0], d::CURRENT[0]),
            (CURRENT[1], d::CURRENT[1]),
            (CURRENT[2], d::CURRENT[2]),
            (LAG, d::LAG),
            (SKEW, d::SKEW),
            (HEAT, d::HEAT),
        ]
    };
}

/// Names of the directions; each maps to none, one or several entries of the parameter vector.
pub mod direction {
    pub const RESISTANCE: usize = 0;
    pub const INDUCTANCE: usize = 1;
    pub const CAPACITANCE: usize = 2;
    pub const FRICTION: usize = 3;
    pub const VISCOUS: usize = 4;
    pub const WINDAGE: usize = 5;
    pub const BRUSH_DROP: usize = 6;
    pub const BRUSH_SCALE: usize = 7;
    pub const VOLTAGE_GAIN: usize = 8;
    pub const VOLTAGE_ZERO: usize = 9;
    pub const CURRENT_GAIN: usize = 10;
    pub const CURRENT_ZERO: usize = 11;
    pub const SHUNT: usize = 12;
    pub const POSITION: usize = 13;
    pub const SATURATION: usize = 14;
    pub const REACTION: usize = 15;
    pub const EDDY_SHARE: usize = 16;
    pub const EDDY_RESISTANCE: usize = 17;
    pub const LOOP: usize = 18;
    /// Two unknown back-EMFs.
    pub const EMF: [usize; 2] = [19, 20];
    /// Three unknown currents.
    pub const CURRENT: [usize; 3] = [21, 22, 23];
    /// ln K, where a known inertia or torque in newton metres makes the terminals see it.
    pub const CONSTANT: usize = 24;
    /// Relative error of that inertia or torque.
    pub const ATTACHED: usize = 25;
    /// ln of the current probe's time constant over its stated one.
    pub const LAG: usize = 26;
    /// Delay of the current channel.
    pub const SKEW: usize = 27;
    /// Inverse of the winding's heat capacity.
    pub const HEAT: usize = 28;
    /// The first of [`super::UNEVENNESS`].
    pub const UNEVENNESS: usize = 29;
}
