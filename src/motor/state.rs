//! The state of the motor seen from its terminals.

use super::Real;

/// Current, back-EMF, and the current in the screened share of the inductance.
#[derive(Clone, Copy, Debug)]
pub struct State<S> {
    /// i, A.
    pub current: S,
    /// e = Kω, V.
    pub back_emf: S,
    /// Current through the screened share of the inductance, A; equal to `current` when nothing changes.
    pub eddy_current: S,
}

impl<S: Real> State<S> {
    /// A current and a back-EMF with which nothing changes in the screened share of the inductance.
    pub fn at(current: S, back_emf: S) -> Self {
        State {
            current,
            back_emf,
            eddy_current: current,
        }
    }

    /// Rotor still, no current.
    pub fn rest() -> Self {
        State::at(0.0.into(), 0.0.into())
    }

    /// Without derivatives.
    #[inline(always)]
    pub fn values(&self) -> State<f64> {
        State {
            current: self.current.value(),
            back_emf: self.back_emf.value(),
            eddy_current: self.eddy_current.value(),
        }
    }
}

/// One of the variables that make up a state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum StateVariable {
    Current,
    BackEmf,
    EddyCurrent,
}

impl StateVariable {
    /// That variable of a state.
    #[inline(always)]
    pub fn of<S>(self, state: &mut State<S>) -> &mut S {
        match self {
            StateVariable::Current => &mut state.current,
            StateVariable::BackEmf => &mut state.back_emf,
            StateVariable::EddyCurrent => &mut state.eddy_current,
        }
    }
}
