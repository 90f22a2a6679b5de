//! What the instruments of a capture make of voltage and current.

use super::capture_model::CaptureModel;
use super::gradient::{Component, Number};
use crate::fit::unknowns::Direction;
use nalgebra::DVector;

/// Gains and zeros of both channels, lag and delay of the current's.
pub struct Channels<S> {
    pub gain_v: S,
    pub zero_v: S,
    pub gain_i: S,
    pub zero_i: S,
    current_lag_s: Option<f64>,
    skew: Option<S>,
}

impl<S: Number> Channels<S> {
    /// Those of a capture at the unknowns `x`.
    pub fn of(model: &CaptureModel, x: &DVector<f64>) -> Self {
        let gain = |direction, component| S::exponential(model.local(x, direction), component);
        let zero = |direction, component| S::variable(model.local(x, direction), component);
        let skewed = !model.links.is_fixed(Direction::SKEW);
        Channels {
            gain_v: gain(Direction::VOLTAGE_GAIN, Component::VOLTAGE_GAIN),
            zero_v: zero(Direction::VOLTAGE_ZERO, Component::VOLTAGE_ZERO),
            gain_i: gain(Direction::CURRENT_GAIN, Component::CURRENT_GAIN),
            zero_i: zero(Direction::CURRENT_ZERO, Component::CURRENT_ZERO),
            current_lag_s: model
                .current_lag_s
                .map(|lag| lag * model.local(x, Direction::LAG).exp()),
            skew: skewed.then(|| zero(Direction::SKEW, Component::SKEW)),
        }
    }

    /// The mean current over a bin as its channel shows it, before gain and zero. `gained`: its change over the bin, A. `lagged`: what a slow
    /// probe showed at the bin's beginning.
    pub fn shown(&self, mean: S, gained: S, lagged: &mut S, width_s: f64) -> S {
        let mut shown = match self.current_lag_s {
            Some(lag_s) => through_lag(lag_s, mean, lagged, width_s),
            None => mean,
        };
        if let Some(skew) = self.skew {
            shown = shown - gained * (1.0 / width_s) * skew;
        }
        shown
    }
}

/// The mean current over a bin as a slow probe shows it.
fn through_lag<S: Number>(lag_s: f64, mean: S, lagged: &mut S, width_s: f64) -> S {
    let ratio = width_s / lag_s;
    let kept = (-ratio).exp();
    let share = (1.0 - kept) / ratio;
    let difference = *lagged - mean;
    *lagged = mean + difference * kept;
    lagged.add_derivative(Component::LAG, difference.value() * kept * ratio);
    let mut shown = mean + difference * share;
    shown.add_derivative(Component::LAG, difference.value() * (share - kept));
    shown
}
