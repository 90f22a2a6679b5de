//! What is supposed of the speed before the ripple of a current is read.

/// Supposed trajectory of the speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpeedShape<'a> {
    /// Steady running.
    Constant,
    /// From rest at `start_s` towards a final speed: `g = 1 - exp(-(t - start)/τ)`, τ found; among those near `like`, a rough trajectory as
    /// long as the data, where there is one.
    RiseFromRest {
        /// Time at which the shape begins.
        start_s: f64,
        /// Speed at each row whose shape this one has, where known.
        like: Option<&'a [f64]>,
    },
    /// Towards rest from the first row on: `g = (1 + c) exp(-t/τ) - c`, τ and c found, likewise.
    DecayToRest {
        /// Speed at each row whose shape this one has, where known.
        like: Option<&'a [f64]>,
    },
    /// Proportional to these values, as long as the data.
    Given(&'a [f64]),
}
