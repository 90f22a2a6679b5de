//! What a step depends on, and numbers that carry their partial derivatives by it.

use crate::motor::constants::CONSTANTS;
use crate::motor::state::StateVariable;
use crate::motor::{Dual, Real};

/// What a step depends on: the variables of the state, the voltage, and the constants in the order of [`Constants::each`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    Current,
    BackEmf,
    EddyCurrent,
    Voltage,
    Resistance,
    Inductance,
    Capacitance,
    FrictionCurrent,
    ViscousConductance,
    Windage,
    BrushDrop,
    BrushScale,
    Saturation,
    Reaction,
    EddyShare,
    EddyResistance,
}

impl Input {
    /// Place of the first constant.
    pub const FIRST_CONSTANT: usize = Input::Resistance as usize;
    pub const COUNT: usize = Input::FIRST_CONSTANT + CONSTANTS;
}

impl From<StateVariable> for Input {
    #[inline(always)]
    fn from(variable: StateVariable) -> Self {
        match variable {
            StateVariable::Current => Input::Current,
            StateVariable::BackEmf => Input::BackEmf,
            StateVariable::EddyCurrent => Input::EddyCurrent,
        }
    }
}

/// A number with its partial derivatives by every [`Input`].
pub type ByInputs = Dual<{ Input::COUNT }>;

/// A number of a step: plain, or with its partial derivatives by every [`Input`].
pub trait StepNumber: Real {
    /// A value with those of its partial derivatives that are not zero everywhere.
    fn of_inputs<const K: usize>(value: f64, partials: [(Input, f64); K]) -> Self;
    /// Adds `factor` times the derivatives of `other` and leaves the value: one term of a chain rule.
    fn add_derivatives(&mut self, factor: f64, other: &Self);
    /// Adds `first + factor · second`, in an order that is each kind's own, so that its last bit stays what it was.
    fn add_in_turn(&mut self, first: &Self, factor: f64, second: &Self);
}

impl StepNumber for f64 {
    #[inline(always)]
    fn of_inputs<const K: usize>(value: f64, _: [(Input, f64); K]) -> Self {
        value
    }

    #[inline(always)]
    fn add_derivatives(&mut self, _: f64, _: &Self) {}

    #[inline(always)]
    fn add_in_turn(&mut self, first: &Self, factor: f64, second: &Self) {
        *self = *self + first + factor * second;
    }
}

impl StepNumber for ByInputs {
    #[inline(always)]
    fn of_inputs<const K: usize>(value: f64, partials: [(Input, f64); K]) -> Self {
        let mut gradient = [0.0; Input::COUNT];
        for (input, partial) in partials {
            gradient[input as usize] += partial;
        }
        Dual { value, gradient }
    }

    #[inline(always)]
    fn add_derivatives(&mut self, factor: f64, other: &Self) {
        for (sum, partial) in self.gradient.iter_mut().zip(&other.gradient) {
            *sum += factor * partial;
        }
    }

    #[inline(always)]
    fn add_in_turn(&mut self, first: &Self, factor: f64, second: &Self) {
        self.value += first.value + factor * second.value;
        for (k, sum) in self.gradient.iter_mut().enumerate() {
            *sum += first.gradient[k] + factor * second.gradient[k];
        }
    }
}
