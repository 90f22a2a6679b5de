//! Directions in which the settings of a capture can move, and the unknowns that move them.

use super::entry::Entry;
use std::ops::Index;

/// Cosine and sine of the first four waves of the back-EMF constant over a turn.
pub const UNEVENNESS: usize = 8;

/// One direction in which the settings of a capture can move; it follows none, one or several entries of the unknowns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Direction(usize);

impl Direction {
    pub const RESISTANCE: Self = Self(0);
    pub const INDUCTANCE: Self = Self(1);
    pub const CAPACITANCE: Self = Self(2);
    pub const FRICTION: Self = Self(3);
    pub const VISCOUS: Self = Self(4);
    pub const WINDAGE: Self = Self(5);
    pub const BRUSH_DROP: Self = Self(6);
    pub const BRUSH_SCALE: Self = Self(7);
    pub const VOLTAGE_GAIN: Self = Self(8);
    pub const VOLTAGE_ZERO: Self = Self(9);
    pub const CURRENT_GAIN: Self = Self(10);
    pub const CURRENT_ZERO: Self = Self(11);
    pub const SHUNT: Self = Self(12);
    pub const POSITION: Self = Self(13);
    pub const SATURATION: Self = Self(14);
    pub const REACTION: Self = Self(15);
    pub const EDDY_SHARE: Self = Self(16);
    pub const EDDY_RESISTANCE: Self = Self(17);
    pub const LOOP: Self = Self(18);
    /// Two unknown back-EMFs.
    pub const EMF: [Self; 2] = [Self(19), Self(20)];
    /// Three unknown currents.
    pub const CURRENT: [Self; 3] = [Self(21), Self(22), Self(23)];
    /// ln K, where a known inertia or torque in newton metres makes the terminals see it.
    pub const CONSTANT: Self = Self(24);
    /// Relative error of that inertia or torque.
    pub const ATTACHED: Self = Self(25);
    /// ln of the current probe's time constant over its stated one.
    pub const LAG: Self = Self(26);
    /// Delay of the current channel.
    pub const SKEW: Self = Self(27);
    /// Inverse of the winding's heat capacity.
    pub const HEAT: Self = Self(28);
    /// Departure of the inductance at the rotor's position.
    pub const INDUCTANCE_POSITION: Self = Self(29);
    const FIRST_WAVE: usize = 30;
    /// How many there are.
    pub const COUNT: usize = Self::FIRST_WAVE + UNEVENNESS;

    /// Cosine (even) or sine (odd) of a wave of the back-EMF constant over a turn.
    pub const fn wave(number: usize) -> Self {
        Self(Self::FIRST_WAVE + number)
    }

    /// Place in a gradient by direction.
    pub fn index(self) -> usize {
        self.0
    }
}

/// For each direction the entries of the unknowns that it moves with, and by how much.
#[derive(Clone, Debug)]
pub struct Links(Vec<Vec<(Entry, f64)>>);

impl Default for Links {
    fn default() -> Self {
        Links(vec![Vec::new(); Direction::COUNT])
    }
}

impl Links {
    /// Lets a direction follow one more entry.
    pub fn add(&mut self, direction: Direction, entry: Entry) {
        self.0[direction.0].push((entry, 1.0));
    }

    /// Lets a direction follow no entry.
    pub fn clear(&mut self, direction: Direction) {
        self.0[direction.0].clear();
    }

    /// Whether a direction follows no entry.
    pub fn is_fixed(&self, direction: Direction) -> bool {
        self.0[direction.0].is_empty()
    }

    /// The entries of each direction, in the order of [`Direction::index`].
    pub fn each(&self) -> impl Iterator<Item = &[(Entry, f64)]> {
        self.0.iter().map(Vec::as_slice)
    }
}

impl Index<Direction> for Links {
    type Output = Vec<(Entry, f64)>;

    fn index(&self, direction: Direction) -> &Self::Output {
        &self.0[direction.0]
    }
}
