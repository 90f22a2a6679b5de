//! Components in which the prediction of a capture is differentiated, and the unknowns behind each.

use crate::fit::unknowns::{Direction, Entry, UNEVENNESS};
use crate::motor::{Dual, Simulated};
use std::ops::{Index, IndexMut};

/// A setting of a capture with its derivatives by [`Direction`].
pub type Setting = Dual<{ Direction::COUNT }>;

/// A number of a prediction with its derivatives by [`Component`].
pub type Local = Dual<{ Component::COUNT }>;

/// One component of the gradient of a prediction: the twelve constants of the motor first, then what a channel, a beginning or a wave of a
/// capture does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Component(usize);

impl Component {
    pub const VOLTAGE_GAIN: Self = Self(12);
    pub const VOLTAGE_ZERO: Self = Self(13);
    pub const CURRENT_GAIN: Self = Self(14);
    pub const CURRENT_ZERO: Self = Self(15);
    pub const EMF: [Self; 2] = [Self(16), Self(17)];
    pub const CURRENT: [Self; 3] = [Self(18), Self(19), Self(20)];
    const FIRST_WAVE: usize = 21;
    pub const LAG: Self = Self(29);
    pub const SKEW: Self = Self(30);
    pub const HEAT: Self = Self(31);
    /// How many there are.
    pub const COUNT: usize = 32;

    /// Cosine (even) or sine (odd) of a wave of the back-EMF constant over a turn.
    pub const fn wave(number: usize) -> Self {
        Self(Self::FIRST_WAVE + number)
    }

    /// Those that stand for one direction of the settings, with that direction.
    pub fn of_directions() -> impl Iterator<Item = (Self, Direction)> {
        let single = [
            (Self::VOLTAGE_GAIN, Direction::VOLTAGE_GAIN),
            (Self::VOLTAGE_ZERO, Direction::VOLTAGE_ZERO),
            (Self::CURRENT_GAIN, Direction::CURRENT_GAIN),
            (Self::CURRENT_ZERO, Direction::CURRENT_ZERO),
            (Self::EMF[0], Direction::EMF[0]),
            (Self::EMF[1], Direction::EMF[1]),
            (Self::CURRENT[0], Direction::CURRENT[0]),
            (Self::CURRENT[1], Direction::CURRENT[1]),
            (Self::CURRENT[2], Direction::CURRENT[2]),
            (Self::LAG, Direction::LAG),
            (Self::SKEW, Direction::SKEW),
            (Self::HEAT, Direction::HEAT),
        ];
        let waves = (0..UNEVENNESS).map(|k| (Self::wave(k), Direction::wave(k)));
        single.into_iter().chain(waves)
    }
}

/// For each component the entries of the unknowns that it moves with, and by how much; nothing without derivatives.
#[derive(Clone, Debug, Default)]
pub struct Slopes(Vec<Vec<(Entry, f64)>>);

impl Slopes {
    /// No component moves with anything yet.
    pub fn of_nothing() -> Self {
        Slopes(vec![Vec::new(); Component::COUNT])
    }

    /// The entries of each component, in the order of a gradient.
    pub fn each(&self) -> impl Iterator<Item = &[(Entry, f64)]> {
        self.0.iter().map(Vec::as_slice)
    }

    /// The same, to be changed.
    pub fn each_mut(&mut self) -> impl Iterator<Item = &mut Vec<(Entry, f64)>> {
        self.0.iter_mut()
    }

    /// By how much each component moves along a step of the unknowns.
    pub fn along(&self, step: &impl Index<Entry, Output = f64>) -> [f64; Component::COUNT] {
        let mut moved = [0.0; Component::COUNT];
        for (component, links) in moved.iter_mut().zip(&self.0) {
            *component = links.iter().map(|&(entry, by)| by * step[entry]).sum();
        }
        moved
    }
}

impl Index<Component> for Slopes {
    type Output = Vec<(Entry, f64)>;

    fn index(&self, component: Component) -> &Self::Output {
        &self.0[component.0]
    }
}

impl IndexMut<Component> for Slopes {
    fn index_mut(&mut self, component: Component) -> &mut Self::Output {
        &mut self.0[component.0]
    }
}

/// A setting that is its own direction.
pub fn setting(value: f64, direction: Direction) -> Setting {
    Setting::variable(value, direction.index())
}

/// The exponential of a setting that is its own direction.
pub fn exponential_setting(log_value: f64, direction: Direction) -> Setting {
    let value = log_value.exp();
    let mut out = Setting::from(value);
    out.gradient[direction.index()] = value;
    out
}

/// A number of a prediction: with its derivatives by component, or without any.
pub trait Number: Simulated {
    /// A value that is its own component.
    fn variable(value: f64, component: Component) -> Self;
    /// Adds to the derivative by a component.
    fn add_derivative(&mut self, component: Component, by: f64);
    /// Derivatives by component; none of a plain number.
    fn gradient(&self) -> &[f64];

    /// The exponential of a value that is its own component.
    fn exponential(value: f64, component: Component) -> Self {
        let mut out = Self::from(value.exp());
        out.add_derivative(component, value.exp());
        out
    }
}

impl Number for Local {
    fn variable(value: f64, component: Component) -> Self {
        Local::variable(value, component.0)
    }

    fn add_derivative(&mut self, component: Component, by: f64) {
        self.gradient[component.0] += by;
    }

    fn gradient(&self) -> &[f64] {
        &self.gradient
    }
}

impl Number for f64 {
    fn variable(value: f64, _: Component) -> Self {
        value
    }

    fn add_derivative(&mut self, _: Component, _: f64) {}

    fn gradient(&self) -> &[f64] {
        &[]
    }
}
