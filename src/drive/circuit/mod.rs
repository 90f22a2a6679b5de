//! Circuits in closed form: [`chopper`]: one period of PWM. [`clamp`]: decay of the current at turn-off.

pub mod chopper;
pub mod clamp;
