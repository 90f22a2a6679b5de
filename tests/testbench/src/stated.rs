//! A number with its uncertainty, as a person states it.

/// A stated value with its standard uncertainty, in the unit its name gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    pub value: f64,
    pub standard_uncertainty: f64,
}
